"""Whole sheets with headings in each language of the table, as mills write them (our own headings)."""

import pytest
from tests.adopt.test_import_sheets import charge_of, sheet
from tests.minimal import minimal_mill

from kilnfolio.cli import main
from kilnfolio.records.sheet_words import roles

BOARDS = (
    "S1;S1a;131,2;80,6;4210;2026-06-01 06:50;T. Wexcombe",
    "S1;S1b;128,9;79,5;;;T. Wexcombe",
    "S2;S2a;124,7;79,9;3985;2026-06-01 06:55;T. Wexcombe",
    "S2;S2b;126,1;80,3;;;T. Wexcombe",
)
ROUNDS = (
    "2026-06-02;07:10;S1;4098;R. Tessaly",
    "2026-06-02;07:10;S2;3889;R. Tessaly",
    "2026-06-03;07:05;S1;3992;R. Tessaly",
    "2026-06-03;07:05;S2;3797;R. Tessaly",
)
SURVEY = ("P1;door;8,1", "P1;back;8,4", "P2;door;7,8")
#: Headings of the three sheets above. "Norwegian and Danish" are one language of the table.
HEADINGS = {
    "English": (
        "Board;Section;Green (g);Oven-dry (g);Board mass (g);Date;Cut by",
        "Date;Time;Board;Mass (g);By",
        "Pack;Position;MC %",
    ),
    "French": (
        "Planche;Éprouvette;Masse humide (g);Masse anhydre (g);Masse planche (g);Date;Par",
        "Date;Heure;Planche;Poids (g);Opérateur",
        "Paquet;Emplacement;Humidité %",
    ),
    "German": (
        "Brett;Abschnitt;Nassgewicht (g);Darrgewicht (g);Brettgewicht (g);Datum;Von",
        "Datum;Uhrzeit;Brett;Gewicht (g);Prüfer",
        "Paket;Lage;Holzfeuchte %",
    ),
    "Swedish": (
        "Bräda;Provbit;Råvikt (g);Torrvikt (g);Brädans vikt (g);Datum;Av",
        "Datum;Tid;Bräda;Vikt (g);Signatur",
        "Paket;Plats;Fuktkvot %",
    ),
    "Norwegian": (
        "Bord;Skive;Råvekt (g);Tørrvekt (g);Startvekt (g);Dato;Av",
        "Dato;Klokkeslett;Bord;Vekt (g);Av",
        "Pakke;Plass;Trefukt %",
    ),
    "Danish": (
        "Bræt;Skive;Råvægt (g);Tørvægt (g);Startvægt (g);Dato;Af",
        "Dato;Klokken;Bræt;Vægt (g);Af",
        "Pakke;Plads;Træfugt %",
    ),
    "Dutch": (
        "Plank;Schijf;Natgewicht (g);Drooggewicht (g);Begingewicht (g);Datum;Door",
        "Datum;Tijd;Plank;Gewicht (g);Door",
        "Pak;Plaats;Vochtgehalte %",
    ),
    "Finnish": (
        "Lauta;Kiekko;Märkäpaino (g);Kuivapaino (g);Alkupaino (g);Päivä;Tekijä",
        "Pvm;Kello;Lauta;Paino (g);Tekijä",
        "Nippu;Sijainti;Kosteus %",
    ),
    "Spanish": (
        "Tabla;Probeta;Peso húmedo (g);Peso seco (g);Peso inicial (g);Fecha;Operador",
        "Fecha;Hora;Tabla;Peso (g);Operador",
        "Paquete;Posición;Humedad %",
    ),
    "Italian": (
        "Tavola;Provino;Peso umido (g);Peso secco (g);Peso iniziale (g);Data;Operatore",
        "Data;Ora;Tavola;Peso (g);Operatore",
        "Pacco;Posizione;Umidità %",
    ),
    "Polish": (
        "Deska;Próbka;Masa mokra (g);Masa sucha (g);Masa początkowa (g);Data;Kto",
        "Data;Godzina;Deska;Waga (g);Kto",
        "Pakiet;Pozycja;Wilgotność %",
    ),
}


def test_every_language_of_the_table_has_its_sheets():
    known = {language for role in roles().values() for language in role.words}
    assert known == set(HEADINGS) - {"Norwegian", "Danish"} | {"Norwegian and Danish"}


@pytest.mark.parametrize("language", HEADINGS)
def test_boards_rounds_and_survey_are_read_without_an_option_for_columns(language, tmp_path):
    mill = minimal_mill(
        tmp_path / "mill",
        charge=lambda one: [one.pop(key) for key in ("boards", "weighings", "survey")],
    )
    said = ["--charge", "C1", "--decimal", ","]
    more = ["--at", "2026-06-07T11:00", "--by", "A. N. Other", "--method", "oven-dry sections"]
    for kind, heading, rows, own in zip(
        ("boards", "weighings", "survey"),
        HEADINGS[language],
        (BOARDS, ROUNDS, SURVEY),
        ([], [], more),
        strict=True,
    ):
        path = sheet(tmp_path, "\n".join((heading, *rows)) + "\n")
        assert main(["import", kind, str(path), str(mill), *said, *own]) == 0, kind
    charge = charge_of(mill)
    first, second = charge.boards
    assert [(one.green.value, one.oven_dry.value) for one in first.sections] == [
        (131.2, 80.6),
        (128.9, 79.5),
    ]
    assert (first.green_mass.value, second.green_mass.value) == (4210.0, 3985.0)
    assert (f"{first.weighed_at:%Y-%m-%d %H:%M}", first.by) == ("2026-06-01 06:50", "T. Wexcombe")
    assert [
        (f"{one.at:%d %H:%M}", one.by, [mass.value for mass in one.masses.values()])
        for one in charge.weighings
    ] == [
        ("02 07:10", "R. Tessaly", [4098.0, 3889.0]),
        ("03 07:05", "R. Tessaly", [3992.0, 3797.0]),
    ]
    assert [(one.pack, one.position, one.mc.value) for one in charge.survey.readings] == [
        ("P1", "door", 8.1),
        ("P1", "back", 8.4),
        ("P2", "door", 7.8),
    ]
