"""What leaves the mill: a mark in every field of every record, and the editions searched for the
marks.

The mill is written with its own mark in every field of free text, in every name by which records
refer to each other, in the people and reasons of the ledger and in comments, and with figures that
occur nowhere else. The editions are then searched file by file: names, pages, data, drawings,
comments, pictures, and the text, catalogue and attachments of each PDF.
"""

from __future__ import annotations

import csv
import functools
import io
import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from xml.etree import ElementTree as ET

import pikepdf
import pypdf
import pytest
import yaml
from PIL import Image, PngImagePlugin
from playwright.sync_api import expect
from pydantic import BaseModel
from tests.minimal import BOARDS, FILES, LIBRARY, minimal_mill, minimal_records
from tests.pdf_reading import read_pages
from tests.trust.sealing import labelled_mill

from kilnfolio.cli import main
from kilnfolio.pipeline.build import build_site
from kilnfolio.pipeline.built import EDITIONS
from kilnfolio.records.charge import Charge
from kilnfolio.records.earlier import CHARGES as EARLIER
from kilnfolio.records.earlier import INSPECTED as EARLIER_INSPECTED
from kilnfolio.records.earlier import READINGS as EARLIER_READINGS
from kilnfolio.records.kinds import RECORD_KINDS
from kilnfolio.site.editions import CUSTOMER_FIELDS
from kilnfolio.site.static import VERIFIER

#: A brand and prices contain no free text: only file names, colours and prices, in fixed forms.
MODELS: dict[str, type[BaseModel]] = {
    kind.name: kind.model for kind in RECORD_KINDS.values() if kind.name not in ("brand", "prices")
}
#: The paths of the kinds of record that the smallest mill lacks.
PATHS = FILES | {
    "order": "content/orders/O1.yaml",
    "instrument": "content/instruments/pins.yaml",
    "prices": "content/prices.yaml",
    "notation": "schedules/notations/t-number-letter-number.yaml",
}
MARK = re.compile(r"zqx\d+zq")
#: Names by which records refer to each other; each gets a mark wherever it occurs.
NAMES = (
    "k1",
    "k2",
    "red-oak-4-4",
    "two-bulbs",
    "C1",
    "C2",
    "db",
    "wb",
    "pins",
    "S1",
    "S2",
    "S3",
    "S1a",
    "S1b",
    "S2a",
    "S2b",
    "S3a",
    "S3b",
    "door",
    "middle",
    "back",
    "DB",
    "WB",
    "time",
    "bulbs.csv",
    "I1",
)
NAMED_BY = {
    "id",
    "kiln",
    "kilns",
    "schedule",
    "charge",
    "profile",
    "file",
    "instrument",
    "position",
    "positions",
    "heading",
    "number",
}
#: Fields that take no free text: read by rule, citations of published books, or on the list.
BY_RULE = {
    "format",
    "time_zone",
    "language",
    "records_address",
    "source",
    "species",
    "field",
    "new",
    "energy_tariff",
    "finding",
    "wording",
    "unit",
    "Scope.region",
    "LoggerProfile.ignored",
    "LoggerProfile.missing",
    "LoggerProfile.ignored_rows",
    "Schedule.notation",
}
#: Figures that occur nowhere else, by what they are: as entered and as a page would print them.
FIGURES = {
    "a set-point of the schedule": r"50[.](37|4)|122[.]7",
    "the kiln's capacity": r"61[.]83",
    "the volume of the charge": r"38[.]91",
    "the energy used": r"91[  ,]?730",
    "a board's mass": r"\b2[  ,]?410\b",
    "the day of a weighing": r"\b3 June 2026|2026-06-03",
    "when drying began": r"\b1 June 2026|2026-06-01",
}


#: Text fields that are not tried, each with its reason.
NOT_TRIED = {
    "Lot.gtin",  # digits alone, and customers read it
    "Lot.id",
    "Notation.id",
    "OpenOrder.id",
    "Species.id",
    "Pack.number",  # names of letters, digits and hyphens, which files and addresses are made of
    "SignedWording.by",  # it needs digits that only one of the program's translations has
    "TimeColumn.time_heading",  # a heading of the export
}


def _noted(charge: dict[str, Any]) -> None:
    charge["notes"] = "x"
    charge["energy"] = "91730 kWh"
    for stock in charge["stock"]:
        stock["volume"] = "38.91 m³"
        stock["intake"] = [{"number": "I1", "supplier": "x", "claim": "x"}]
    charge["stacking"] = {"by": "x", "on": "2026-05-30", "top_weight": "x"}
    charge["events"] = [{"at": "2026-06-02T10:00", "kind": "inspection", "by": "x", "note": "x"}]
    charge["step_changes"][0]["reason"] = "x"
    charge["waivers"] = [
        {"check": "flat-trace", "reason": "x", "by": "x", "at": "2026-06-08T09:00"}
    ]
    charge["boards"][0]["position"] = "door"
    charge["boards"][0]["resections"] = [
        {
            "at": "2026-06-04T07:30",
            "by": "x",
            "board_mass": "2280 g",
            "sections": [
                {"id": "S1c", "green": "112.0 g", "oven_dry": "98.0 g"},
                {"id": "S1d", "green": "112.1 g", "oven_dry": "98.0 g"},
            ],
        }
    ]
    charge["answers"] = [
        {
            "finding": "flat-trace",
            "kind": "accepted because",
            "reason": "x",
            "by": "x",
            "at": "2026-06-08T09:00",
        }
    ]
    charge["stops"] = [
        {"start": "2026-06-02T10:00", "end": "2026-06-02T10:30", "cause": "x", "by": "x"}
    ]
    charge["hand_readings"] = [
        {"at": "2026-06-02T09:00", "by": "x", "dry_bulb": "50 °C", "wet_bulb": "41 °C"}
    ]
    charge["meter_readings"] = [{"at": "2026-06-02T09:00", "by": "x", "reading": "5 kWh"}]
    charge["mc_rounds"] = [{"at": "2026-06-02T09:00", "by": "x", "mc": {"S1": "18 %"}}]
    charge["stress"] = {
        "at": "2026-06-07T10:00",
        "by": "x",
        "method": "slice gap",
        "gaps": ["0.5 mm"],
        "limit": "2 mm",
    }
    places = [{"position": "x", "pieces": 1, "of": 25}]
    charge["defects"] = [
        {"defect": "surface-checks", "pieces": 1, "of": 50, "note": "x", "places": places}
    ]
    charge["signatures"][0]["role"] = "x"
    charge["corrections"] = [
        {
            "field": "target_mc",
            "old": "11 %",
            "new": "12 %",
            "reason": "x",
            "by": "x",
            "at": "2026-06-08T09:00",
        }
    ]


def _claiming(charge: dict[str, Any]) -> dict[str, Any]:
    """Return a second charge, which fails its claims and so is never sealed."""
    charge |= {"id": "C2", "kiln": "k2"}
    for reading in charge["survey"]["readings"]:
        reading["pack"] = "P2"
    charge["heat_treatment"] = {
        "claim": "x",
        "threshold": "56 °C",
        "minutes": 30,
        "probes": [
            {"channel": "core-1", "thickness": "27 mm", "position": "a place", "sealed": True}
        ],
        "reviewed": {"by": "x", "on": "2026-06-08", "role": "x"},
    }
    charge["equalizing"] = {
        "start": "2026-06-06T20:00",
        "end": "2026-06-07T08:00",
        "dry_bulb": "55 °C",
        "emc": "9 %",
        "by": "x",
    }
    return charge


def _planned(schedule: dict[str, Any]) -> None:
    schedule["steps"][0] |= {"dry_bulb": "50.37 °C", "name": "x"}
    schedule |= {"notes": "x", "governs": "x"}
    schedule["modifications"] = [{"what": "x", "why": "x"}]
    schedule["for_stock"]["sort"] = "x"
    schedule["changes"] = [{"revision": 1, "on": "2026-01-05", "by": "x", "what": "x"}]


def _grown(species: dict[str, Any]) -> None:
    known = {"source": "common practice", "status": "memory"}
    species |= {
        "notes": "x",
        "also_called": ["x", "y"],
        "durability": [known | {"words": "x"}],
        "kiln_codes": [known | {"thickness": "x", "code": "x"}],
        "drying_notes": [known | {"note": "x"}],
        "prone_to": [known | {"defect": "surface-checks", "note": "x"}],
        "hazards": [known | {"dust": "x", "skin": "x"}],
        "ceiling_while_wet": known | {"dry_bulb": "60 °C", "while_above": "40 %", "sort": "x"},
        "meter_correction": known | {"base_species": "x", "slope": 1.0},
    }
    species["drying_notes"][0]["signed_off"] = {"by": "x", "on": "2026-01-05", "role": "x"}


def _built(kiln: dict[str, Any]) -> None:
    kiln |= {"notes": "x", "capacity": "61.83 m³"}
    kiln["instruments"][0]["resolution"] = "x"


#: Optional free text that the smallest mill leaves out, added so that it is tried too.
ADDED: dict[str, Any] = {
    "mill": lambda mill: mill.update(about="x") or mill["contact"].update(phone="x"),
    "kiln": _built,
    "lot": {
        "notes": "x",
        "customer": {"name": "x", "order_number": "x"},
        "claim": "x",
        "width": "x",
        "length": "x",
        "order": {
            "target_mc": "12 %",
            "rule": "band",
            "lowest": "10 %",
            "highest": "14 %",
            "share": "90 %",
            "stress": "x",
        },
    },
    "charge": _noted,
    "schedule": _planned,
    "species": _grown,
}


INSTRUMENT = {
    "format": 1,
    "id": "pins",
    "kind": "resistance meter",
    "instrument": "pins",
    "kilns": ["k1"],
    "repeats": [{"on": "2026-03-02", "piece": "x", "mc": ["12.1 %", "12.4 %"]}],
    "oven_pairs": [
        {"on": "2026-03-02", "species": "quercus-rubra", "meter": "12.1 %", "oven": "12.6 %"}
    ],
    "notes": "x",
}
ORDER = {
    "format": 1,
    "id": "O1",
    "customer": "x",
    "species": "quercus-rubra",
    "thickness": "4/4",
    "target_mc": "12 %",
    "due": "2026-10-26",
    "notes": "x",
}


#: A row of the mill's own list of earlier charges, with names and figures that occur nowhere else.
LISTED = (
    "charge,kiln,species,thickness,supplier,started,ended,target_mc,final_mc\n"
    "LISTED-7,{kiln},quercus-rubra,4/4,Listed Sawmill,2023-05-17,2023-06-11,8,8.37\n"
)
LISTED_READINGS = "charge,position,mc\nLISTED-7,listed bay,8.43\n"
LISTED_PACKS = "charge,position,examined,bow\nLISTED-7,listed bay,797,43\n"
LISTED_MARKS = r"LISTED-7|Listed Sawmill|listed bay|\b8[.]37|\b8[.]43|17 May 2023|2023-05-17"

#: Prices that occur nowhere else.
PRICES = {"format": 1, "kiln_day": "93.17 CAD/day", "handling": "31.29 CAD/m³"}


class Marks:
    """The marks in a mill's text, and which of them may leave the mill."""

    def __init__(self, say: Callable[[str], str] = lambda _key: "") -> None:
        self.say = say
        """What is said before the mark in a field of free words, by the field's key."""
        self.where: dict[str, str] = {}
        self.tried: set[str] = set()
        """The fields that marks stand in, by the model that has them."""
        self.allowed: set[str] = set()
        self.names = {name: self.new(f"the name {name}") for name in NAMES}

    def new(self, where: str, *, may: bool = False) -> str:
        mark = f"zqx{len(self.where)}zq"
        self.where[mark] = where
        if may:
            self.allowed.add(mark)
        return mark

    def plant(self, value: Any, model: type[BaseModel] | None, path: str, *, open_: bool) -> Any:
        """Return a plain value with marks in place of free text and names."""
        if isinstance(value, dict):
            return {
                self.names[key] if key in BOARDS else key: self._field(
                    key, item, model, path, open_=open_
                )
                for key, item in value.items()
            }
        if isinstance(value, list):
            return [self.plant(item, model, path, open_=open_) for item in value]
        return value

    def _field(
        self, key: str, item: Any, model: type[BaseModel] | None, path: str, *, open_: bool
    ) -> Any:
        if model is not None and key not in model.model_fields:  # a name in a mapping
            return self.plant(item, model, path, open_=open_)
        inner = _model_of(model, key)
        home = _home(model, key)
        may = open_ and model is not None and key in CUSTOMER_FIELDS.get(model, frozenset())
        here = f"{path}.{key}"
        if key in NAMED_BY:
            if isinstance(item, list):
                self.tried |= {home} if item[0] in self.names else set()
                return [self.names.get(name, name) for name in item]
            if item in self.names:
                self.tried.add(home)
                return self.names[item]
        if not {key, home} & (BY_RULE | NAMED_BY - {"position"}) and _is_words(model, key):
            self.tried.add(home)
            if isinstance(item, str) and not re.match("%[YmdH]", item):
                return f"{self.say(key)} {self.new(here, may=may)}".strip()
            if isinstance(item, list) and all(isinstance(word, str) for word in item):
                return [f"{self.say(key)} {self.new(here, may=may)}".strip() for _ in item]
        return self.plant(item, inner, here, open_=may)


def _is_words(model: type[BaseModel] | None, key: str) -> bool:
    """Return whether a field takes any text, rather than a quantity, a date or a fixed choice."""
    if model is None or key not in model.model_fields:
        return False
    told = str(model.model_fields[key].annotation)
    return (
        "str" in told
        and "Literal" not in told
        and "_matching" not in told
        and not any(name in told for name in ("quantities.", "datetime", "dict["))
    )


def _home(model: type[BaseModel] | None, key: str) -> str:
    """Return a field by the model that defines it, as in Signature.by."""
    return next(
        (
            f"{one.__name__}.{key}"
            for one in reversed(model.__mro__ if model else ())
            if key in vars(one).get("__annotations__", {})
        ),
        key,
    )


def _fields_of_words(model: type[BaseModel], seen: set[type[BaseModel]]) -> set[str]:
    """Return the text fields of a record and of all its parts."""
    if model in seen:
        return set()
    seen.add(model)
    found = {_home(model, key) for key in model.model_fields if _is_words(model, key)}
    return found.union(
        *(
            _fields_of_words(part, seen)
            for key in model.model_fields
            for part in _models_of(model, key)
        )
    )


def _model_of(model: type[BaseModel] | None, key: str) -> type[BaseModel] | None:
    """Return the model of a field's parts."""
    return next(iter(_models_of(model, key)), None)


def _models_of(model: type[BaseModel] | None, key: str) -> list[type[BaseModel]]:
    if model is None or key not in model.model_fields:
        return []
    found: list[type[BaseModel]] = []

    def look(annotation: Any) -> None:
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            found.append(annotation)
        for part in getattr(annotation, "__args__", ()):
            look(part)

    look(model.model_fields[key].annotation)
    return found


@dataclass(frozen=True, eq=False)
class Planted:
    """A mill full of marks, sealed and built."""

    root: Path
    marks: Marks

    def edition(self, name: str) -> Path:
        return self.root / "site" / name

    @functools.cache  # noqa: B019  the fixture keeps one of these
    def text(self, name: str, *, geometry: bool = True) -> str:
        """Return everything that can be read out of an edition, read once; see `searched`."""
        return searched(self.edition(name), geometry=geometry)

    def found(self, name: str) -> set[str]:
        """Return where the marks occur in the records that an edition contains."""
        return {self.marks.where[mark] for mark in MARK.findall(self.text(name))}


def write_marked(root: Path, say: Callable[[str], str] = lambda _key: "") -> Marks:
    """Write the small mill with marks; files are named after their content."""
    notation = (LIBRARY / "notations/t-number-letter-number.yaml").read_text("utf-8")
    minimal_mill(
        root,
        files={
            PATHS["order"]: ORDER,
            PATHS["instrument"]: INSTRUMENT,
            PATHS["notation"]: notation,
            PATHS["prices"]: PRICES,
        },
        **ADDED,
    )
    marks = Marks(say)
    for noun, model in MODELS.items():
        path = root / PATHS[noun]
        record = marks.plant(
            yaml.load(path.read_text("utf-8"), yaml.CSafeLoader), model, noun, open_=True
        )
        path.unlink()
        name = marks.names.get(path.parent.name if noun == "charge" else path.stem)
        if name:
            path = (
                path.parent.with_name(name) / path.name
                if noun == "charge"
                else path.with_name(f"{name}.yaml")
            )
        path.parent.mkdir(parents=True, exist_ok=True)
        comment = marks.new(f"a comment in {noun}")
        path.write_text(
            f"# {comment}\n" + yaml.safe_dump(record, allow_unicode=True, sort_keys=False), "utf-8"
        )
    kiln = yaml.load(
        (root / f"content/kilns/{marks.names['k1']}.yaml").read_text("utf-8"), yaml.CSafeLoader
    )
    kiln["id"] = marks.names["k2"]
    (root / f"content/kilns/{kiln['id']}.yaml").write_text(yaml.safe_dump(kiln), "utf-8")
    (root / EARLIER).parent.mkdir()
    (root / EARLIER).write_text(LISTED.format(kiln=kiln["id"]), "utf-8")
    (root / EARLIER_READINGS).write_text(LISTED_READINGS, "utf-8")
    (root / EARLIER_INSPECTED).write_text(LISTED_PACKS, "utf-8")
    second = minimal_records()["charge"]
    ADDED["charge"](second)
    second = marks.plant(_claiming(second), Charge, "charge", open_=True)
    path = root / "content/charges/2026" / marks.names["C2"] / "charge.yaml"
    path.parent.mkdir()
    path.write_text(yaml.safe_dump(second, allow_unicode=True, sort_keys=False), "utf-8")
    log = root / FILES["log"]
    headings = ",".join(marks.names[heading] for heading in ("time", "DB", "WB"))
    moved = log.parent.with_name(marks.names["C1"]) / marks.names["bulbs.csv"]
    moved.write_text(log.read_text().replace("time,DB,WB", headings, 1))
    (path.parent / moved.name).write_text(moved.read_text())
    log.unlink()
    log.parent.rmdir()
    return marks


@pytest.fixture(scope="module")
def planted(tmp_path_factory) -> Planted:
    from tests.archive.sealing import SEALED_AT, key
    from tests.reviewed import reviewed_mill

    from kilnfolio.archive.seal import amend, seal
    from kilnfolio.archive.tokens import make_token_key
    from kilnfolio.site.sealed import enter_lot

    root = tmp_path_factory.mktemp("marked")
    marks = write_marked(root)
    make_token_key(root / "keys/lot-addresses.key")
    charge = marks.names["C1"]
    record = root / "content/charges/2026" / charge / "charge.yaml"
    for again in (False, True):
        by, reason = marks.new("the ledger's by"), marks.new("the ledger's reason")
        if again:
            record.write_text(record.read_text("utf-8") + f"# {marks.new('a comment')}\n", "utf-8")
        reviewed = reviewed_mill(root)
        dossier = reviewed.dossiers[charge]
        if again:
            amend(reviewed.folder, dossier, by, key(), SEALED_AT, reason)
        else:
            seal(reviewed.folder, dossier, by, key(), SEALED_AT)
            enter_lot(reviewed.folder, "L1", by, key(), SEALED_AT)
    build_site(root, root / "site", workers=1)
    return Planted(root, marks)


#: The coordinates of a drawing's lines, which may be any number.
GEOMETRY = re.compile(
    r' (?:d|x|y|width|height|viewBox|points|data-(?:left|top|foot|width))="[^"]*"'
)


def searched(edition: Path, *, geometry: bool = True) -> str:
    """Return everything that can be read out of an edition.

    Without `geometry`, the positions of lines and letters are left out, so that a figure is
    searched for only in the text.
    """
    parts: list[str] = []
    for path in sorted(edition.rglob("*")):
        parts.append(path.relative_to(edition).as_posix())
        if path.suffix == ".pdf":
            parts += _of_pdf(path, geometry=geometry)
        elif path.suffix == ".png":
            with Image.open(path) as picture:
                parts += [str(picture.info), str(dict(picture.getexif()))]
        elif path.is_file() and path.suffix != ".woff2":
            parts.append(path.read_bytes().decode("utf-8", "replace"))
    whole = "\n".join(parts)
    if not geometry:
        whole = GEOMETRY.sub("", whole)
    return whole + "\n" + re.sub(r"\s+", "", whole)  # also a mark broken over two lines


def _of_pdf(path: Path, *, geometry: bool = True) -> list[str]:
    reader = pypdf.PdfReader(path)
    found = [page.text for page in read_pages(path)]
    found += [str(value) for value in (reader.metadata or {}).values()]
    with pikepdf.open(path) as pdf:
        found.append(str(pdf.open_metadata()))
        found += [str(item) for item in pdf.objects if isinstance(item, pikepdf.String)]
        for item in pdf.objects:
            if (
                isinstance(item, pikepdf.Stream)
                and item.get("/Subtype") != "/Image"
                and (geometry or "/Type" in item)
            ):  # a page's own stream has no type
                found.append(item.read_bytes().decode("latin-1"))
        for name, attached in pdf.attachments.items():
            found += [
                name,
                str(attached.description),
                attached.get_file().read_bytes().decode("utf-8", "replace"),
            ]
    return found


def test_marks_were_planted_in_every_kind_of_record(planted):
    places = planted.marks.where.values()
    assert {path.partition(".")[0] for path in places} >= set(MODELS)
    assert len(planted.marks.where) > 90


def test_every_text_field_of_every_kind_of_record_is_tried_or_excused(planted):
    """A new field of a record or of any part of one is tried, or a reason is given here."""
    seen: set[type[BaseModel]] = set()
    words = set().union(*(_fields_of_words(model, seen) for model in MODELS.values()))
    by_rule = {field for field in words if {field, field.partition(".")[2]} & BY_RULE}
    assert words - by_rule - planted.marks.tried == NOT_TRIED


def test_only_listed_fields_reach_the_customer(planted):
    allowed = {planted.marks.where[mark] for mark in planted.marks.allowed}
    found = planted.found("customer")
    # a working on a customer's page names the publication of its formula
    assert found - allowed <= {"sources.publications.short"}
    # the search does find marks: those that may leave are in the pages and in the PDF
    assert {"mill.name", "lot.product", "lot.claim", "species.trade_name"} <= found
    [record] = planted.edition("customer").rglob("*.pdf")
    assert MARK.findall(_of_pdf(record)[0])


def test_neither_customers_nor_their_orders_reach_the_auditor(planted):
    found = planted.found("auditor")
    assert {place for place in found if place.startswith(("lot.customer", "lot.notes"))} == set()
    assert {"charge.notes", "charge.stock.intake.supplier", "the ledger's by"} <= found


def test_what_the_customer_may_not_see_does_appear_in_the_mill_edition(planted):
    """The marks are printed where they are allowed, so their absence elsewhere means something."""
    found = planted.found("mill")
    assert {
        "lot.customer.name",
        "lot.notes",
        "charge.notes",
        "kiln.notes",
        "schedule.title",
        "the name C1",
        "the name k1",
        "the ledger's by",
        "charge.stock.intake.supplier",
        "charge.waivers.reason",
    } <= found
    assert not any(place.startswith("a comment") for place in found)


@pytest.mark.parametrize("price", [r"93[.]17", r"31[.]29"])
def test_prices_stay_in_the_mill_edition(planted, price):
    for edition in ("customer", "auditor"):
        assert not re.search(price, planted.text(edition, geometry=False)), edition
        assert not list(planted.edition(edition).rglob("prices.yaml*"))
    assert re.search(price, planted.text("mill", geometry=False))


def test_the_list_of_earlier_charges_stays_in_the_mill_edition(planted):
    for edition in ("customer", "auditor"):
        text = planted.text(edition, geometry=False)
        assert not re.search(LISTED_MARKS, text), edition


@pytest.mark.parametrize("figure", FIGURES)
def test_no_figure_of_the_mill_reaches_the_customer(planted, figure):
    assert not re.search(FIGURES[figure], planted.text("customer", geometry=False))
    assert re.search(FIGURES[figure], planted.text("mill", geometry=False))


@pytest.mark.parametrize("edition", ["mill", "customer", "auditor"])
def test_no_key_leaves_the_mill(planted, edition):
    secret = (planted.root / "keys/lot-addresses.key").read_text().split()[-1]
    text = planted.text(edition)
    assert secret not in text
    assert "PRIVATE KEY" not in text


def test_no_list_of_lots_leaves_the_mill(planted):
    edition = planted.edition("customer")
    assert sorted(path.name for path in edition.iterdir() if path.is_file()) == [
        "lot-record.schema.json"
    ]
    assert len([path for path in edition.iterdir() if path.is_dir()]) == 2  # assets and one lot


# --- the search itself ----------------------------------------------------------------------------

LEAK = "zqx99999zq"


def _in_pdf(change: Any) -> Any:
    def leak(lot: Path) -> None:
        with pikepdf.open(lot / "record.pdf", allow_overwriting_input=True) as pdf:
            change(pdf)
            pdf.save()

    return leak


def _in_page(old: str, new: str) -> Any:
    def leak(lot: Path) -> None:
        path = lot / "index.html"
        text = path.read_text("utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), "utf-8")

    return leak


def _in_xmp(pdf: pikepdf.Pdf) -> None:
    with pdf.open_metadata() as metadata:
        metadata["dc:rights"] = LEAK


def _in_record(lot: Path) -> None:
    path = lot / "record.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {"supplier": LEAK}))


def _in_picture(lot: Path) -> None:
    words = PngImagePlugin.PngInfo()
    words.add_text("Comment", LEAK, zip=True)
    Image.new("RGB", (2, 2)).save(lot / "picture.png", pnginfo=words)


@pytest.mark.parametrize(
    "leak",
    [
        pytest.param(_in_page("<body", f"<!-- {LEAK} --><body"), id="comment"),
        pytest.param(_in_page("</svg>", f"<metadata>{LEAK}</metadata></svg>"), id="drawing"),
        pytest.param(_in_page("<main", f'<main data-x="{LEAK}"'), id="attribute"),
        pytest.param(_in_page("</main>", f"<p>{LEAK[:6]}\n{LEAK[6:]}</p></main>"), id="two lines"),
        pytest.param(_in_record, id="data"),
        pytest.param(lambda lot: (lot / f"{LEAK}.txt").touch(), id="file name"),
        pytest.param(_in_picture, id="picture"),
        pytest.param(_in_pdf(lambda pdf: pdf.docinfo.update({"/Subject": LEAK})), id="PDF info"),
        pytest.param(_in_pdf(_in_xmp), id="PDF metadata"),
        pytest.param(
            _in_pdf(lambda pdf: pdf.attachments.update({"x.bin": LEAK.encode()})),
            id="PDF attachment",
        ),
        pytest.param(
            _in_pdf(lambda pdf: pdf.Root.update({"/X": pdf.make_indirect(LEAK)})), id="PDF object"
        ),
    ],
)
def test_a_leak_is_noticed_wherever_it_is(planted, tmp_path, leak):
    import shutil

    edition = shutil.copytree(planted.edition("customer"), tmp_path / "customer")
    assert LEAK not in searched(edition)
    leak(next(edition.glob("*/index.html")).parent)
    assert LEAK in searched(edition)


# --- hostile words --------------------------------------------------------------------------------

#: Short enough for a name.
HOSTILE = (
    '=1+1</pre><script>alert(1)</script>"><img src=x onerror=alert(2)><svg onload=alert(3)>'
    "{{ 7 * 191 }}"
)
#: Longer text is used where a record accepts it.
LONGER = HOSTILE + (
    " {% include '/etc/passwd' %} ${7*191} ../../../../etc/passwd "
    "javascript:alert(4) &lt;script&gt; ]]><!-- ' onmouseover='x "
    "\\u003cscript\\u003e =HYPERLINK(1) [marked](javascript:alert(5)) **bold** "
    "![](http://127.0.0.1:9/x) <file:///etc/passwd> " + "x" * 300
)


@pytest.mark.parametrize("noun", ["mill", "kiln", "lot", "species", "schedule"])
def test_an_over_long_name_is_refused_with_its_place(tmp_path, noun):
    from kilnfolio.records.problems import RecordProblems

    key = {"lot": "product", "species": "trade_name", "schedule": "title"}.get(noun, "name")
    with pytest.raises(RecordProblems, match=rf"{FILES[noun]}:\d+:\d+: {key} .*Shorten it"):
        labelled_mill(tmp_path, **{noun: {key: "x" * 5000}})


@pytest.fixture(scope="module")
def hostile(tmp_path_factory) -> Path:
    """Return a site with the hostile text in every field."""
    from tests.archive.sealing import SEALED_AT, key
    from tests.reviewed import reviewed_mill

    from kilnfolio.archive.seal import seal
    from kilnfolio.archive.tokens import make_token_key

    root = tmp_path_factory.mktemp("hostile")
    words = {"check": "", "notes": LONGER, "about": LONGER}  # a check is named by its slug
    marks = write_marked(root, lambda name: words.get(name, HOSTILE))
    make_token_key(root / "keys/lot-addresses.key")
    reviewed = reviewed_mill(root)
    seal(reviewed.folder, reviewed.dossiers[marks.names["C1"]], HOSTILE, key(), SEALED_AT)
    build_site(root, root / "site", workers=1)
    return root / "site"


def test_hostile_words_are_shown_as_text_and_never_acted_on(hostile, browser):
    site = hostile
    pages = [
        path
        for edition in EDITIONS
        for path in sorted((site / edition).rglob("*.html"))
        if "7 * 191" in path.read_text("utf-8")
    ]
    rooms = {
        path.parent: path for path in pages
    }  # every page names the mill; one page per folder is read
    rooms |= {path.parent / path.name: path for path in pages if path.parent.name == "charges"}
    assert {room.name for room in rooms} >= {"mill", "lots", "kilns", "species", "schedules"}
    page, acted = browser.new_page(), []
    page.on("dialog", lambda dialog: (acted.append(dialog.message), dialog.dismiss()))
    for path in rooms.values():
        page.goto(path.as_uri())
        assert acted == [], path
        expect(page.locator("body"), str(path)).to_contain_text("{{ 7 * 191 }}")
        assert "1337" not in page.locator("main").inner_text(), path
        own = page.evaluate(
            "[...document.querySelectorAll('script')].every(s => s.src || "
            "['application/json', 'application/ld+json'].includes(s.type))"
        )
        assert own or path.parts[-2] == "mill", path
        expect(page.locator("img[src=x], svg[onload]"), str(path)).to_have_count(0)
    page.close()


class Acting(HTMLParser):
    """Collects whatever could make a page act: scripts, handlers, frames, and addresses of any
    scheme."""

    LEADS = frozenset(
        {
            "href",
            "src",
            "action",
            "formaction",
            "data",
            "poster",
            "srcset",
            "xlink:href",
            "background",
            "cite",
            "ping",
        }
    )
    DATA = frozenset({"application/json", "application/ld+json"})

    def __init__(self, text):
        super().__init__()
        self.found, self.bold, self._in_bold = set(), [], False
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        if tag in ("iframe", "object", "embed", "base", "frame", "applet", "foreignobject"):
            self.found.add(f"<{tag}>")
        if tag == "script" and "src" not in told and told.get("type") not in self.DATA:
            self.found.add("<script>")
        if "http-equiv" in told:
            self.found.add("http-equiv")
        self.found |= {name for name in told if name.startswith("on")}
        self.found |= {
            f"{name}={told[name]}"
            for name in told.keys() & self.LEADS
            if re.match(r"\s*(?!mailto:|https:)(\w[\w+.-]*:|//)", told[name] or "")
        }
        self._in_bold = tag in ("strong", "b", "em")

    def handle_data(self, data):
        if self._in_bold and data.strip() == "bold":
            self.bold.append(data)
        self._in_bold = False


def test_hostile_text_makes_no_page_act(hostile):
    """Every page of every edition, checked for anything HTML can act with;

    Markdown and Jinja stay text.
    """
    pages = sorted(
        path
        for edition in EDITIONS
        for path in (hostile / edition).rglob("*.html")
        if path.name != VERIFIER  # the same for every mill, with its own script
    )
    assert len(pages) > 100
    for path in pages:
        text = path.read_text("utf-8")
        acting = Acting(text)
        assert acting.found == set(), path
        assert acting.bold == [], path
        assert "1337" not in re.sub(r"<[^>]*>", "", text), path
    assert Acting("<a href='javascript:x'><b>bold</b><img onerror=x src=//a><iframe>").found == {
        "href=javascript:x",
        "onerror",
        "src=//a",
        "<iframe>",
    }


def test_hostile_text_makes_no_drawing_act(hostile):
    for path in hostile.rglob("*.svg"):
        assert Acting(path.read_text("utf-8")).found == set(), path


def test_no_table_cell_of_the_site_begins_a_formula(hostile, tmp_path):
    """A cell that begins with one of these is a formula to a spreadsheet (OWASP, CSV injection).

    Of the site and of an export. A bag keeps the mill's own files as they are, and says so.
    """
    assert main(["export", str(hostile.parent), "--out", str(tmp_path / "tables")]) == 0
    paths = [
        path
        for folder in (*(hostile / edition for edition in EDITIONS), tmp_path)
        for path in folder.rglob("*.csv")
        if "data" not in path.parts
    ]
    cells = [
        cell
        for path in paths
        for row in csv.reader(io.StringIO(path.read_text("utf-8-sig")))
        for cell in row
    ]
    assert any(cell.startswith("'=1+1") for cell in cells)
    assert not [
        cell
        for cell in cells
        if cell[:1] in ("=", "@", "+") or (cell[:1] == "-" and not is_number(cell))
    ]


@pytest.mark.parametrize("form", ["json", "sarif", "junit"])
def test_hostile_text_stays_text_in_the_reports_of_check(hostile, capsys, form):
    assert main(["check", str(hostile.parent), "--format", form]) == 1
    said = capsys.readouterr().out
    if form == "junit":
        ET.fromstring(said)
        assert "<script" not in said
        assert "<img" not in said
    else:
        json.loads(said)
        assert HOSTILE in json.dumps(json.loads(said), ensure_ascii=False).replace('\\"', '"')


def test_data_for_search_engines_is_json_and_ends_no_script(hostile):
    """HTML, section 4.12.1.3: of what a script holds, only '</script' and '<!--' act."""
    found = [
        block
        for path in (hostile / "customer").rglob("*.html")
        for block in re.findall(
            r'<script type="application/(?:ld\+)?json"[^>]*>(.*?)</script',
            path.read_text(),
            re.DOTALL,
        )
    ]
    assert found
    for block in found:
        assert "<" not in block
        json.loads(block)


def is_number(text):
    try:
        float(text)
    except ValueError:
        return False
    return True


def test_hostile_text_adds_no_action_or_link_to_a_pdf(hostile):
    """No PDF contains an action, or a link to a file or another server, and none has read a file
    here."""
    files = sorted(path for edition in EDITIONS for path in (hostile / edition).rglob("*.pdf"))
    assert len(files) > 3
    own = Path("/etc/passwd").read_bytes().split(b"\n")[0].decode()
    for path in files:
        reader = pypdf.PdfReader(path)
        leads = [
            str(annotation.get_object().get("/A", {}).get("/URI", ""))
            for page in reader.pages
            for annotation in page.get("/Annots", ())
        ]
        assert {urlsplit(lead).scheme for lead in leads if lead} <= {"https", "mailto"}, path
        assert not reader.trailer["/Root"].keys() & {"/OpenAction", "/AA", "/AcroForm"}, path
        text = "".join(page.extract_text() for page in reader.pages)
        assert own not in text, path
        assert "1337" not in text.replace(" ", ""), path


def test_hostile_words_stay_text_in_the_record(hostile):
    path = next((hostile / "customer").glob("*/record.pdf"))
    text = pypdf.PdfReader(path).pages[0].extract_text()
    assert "7 * 191" in text
    assert "1337" not in text


@pytest.mark.parametrize(
    "words",
    ["a\u202eb", "a\x00b", "a\x1bb", "a\u2066b", "a\u200fb"],
    ids=["bidi", "nul", "escape", "isolate", "mark"],
)
def test_control_characters_are_refused_or_shown(tmp_path, words):
    """A name with a control or direction character is refused at its place, or the character is
    made visible."""
    from kilnfolio.records.checking import checked_mill
    from kilnfolio.records.problems import RecordProblems

    try:
        root = labelled_mill(tmp_path, lot={"product": words})
        checked_mill(root)
    except (RecordProblems, yaml.YAMLError):
        return
    build_site(root, root / "site", workers=1, pdfs=False)
    page = next((root / "site/customer").glob("*/index.html")).read_text("utf-8")
    acting = set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\x00\x1b")
    assert not acting & set(page)


@pytest.mark.parametrize("name", ["../../outside", "/etc/passwd", "a/../../b", "a\\b", "nul\x00l"])
def test_a_lots_number_never_leads_out_of_the_site(tmp_path, name):
    from kilnfolio.records.problems import RecordProblems

    with pytest.raises((RecordProblems, yaml.YAMLError)):
        labelled_mill(tmp_path, lot={"id": name})


# --- WeasyPrint reads nothing outside -------------------------------------------------------------


@pytest.mark.parametrize(
    "address",
    [
        "file:///etc/passwd",
        "http://127.0.0.1:9/x",
        "https://mill.example/x",
        "ftp://127.0.0.1/x",
        "../../../../../../etc/passwd",
        "//127.0.0.1/x",
    ],
)
@pytest.mark.parametrize(
    "markup",
    [
        '<img src="{0}" alt="">',
        '<link rel="stylesheet" href="{0}">',
        '<style>@import url("{0}"); p {{ background: url("{0}") }}</style><p>x</p>',
        '<svg width="9" height="9"><image href="{0}" width="9" height="9"/></svg>',
        '<svg width="9" height="9"><use href="{0}#x"/></svg>',
        '<object data="{0}"></object>',
        '<a rel="attachment" href="{0}">x</a>',
        '<style>@font-face {{ font-family: f; src: url("{0}") }} p {{ font-family: f }}</style>'
        "<p>x</p>",
    ],
)
def test_a_document_reads_nothing_outside_the_assets(monkeypatch, markup, address):
    """Whatever asks for it, in HTML, CSS or SVG: the file is not opened and no socket is made."""
    import socket

    from kilnfolio.paper.printing import pdf_of

    def refuse(*_args, **_options):
        raise AssertionError("the network was asked")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    pdf, _ = pdf_of(f"<!doctype html><title>x</title>{markup.format(address)}", "record.css")
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        for item in opened.objects:
            if isinstance(item, pikepdf.Stream):
                assert b"root:" not in item.read_bytes()
