"""A mill's pages put the units of its region first and say its words; figures and seals stay."""

import html
import json
import re
from collections import Counter
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis.strategies import floats, sampled_from
from tests.handbook.chapters import body_of
from tests.pdf_reading import read_pages
from tests.reviewed import demo_mill
from tests.site.site import Mill, Outline, small_mill
from tests.site_reading import has_lone_celsius, lone_celsius, set_points

from kilnfolio.cli import main
from kilnfolio.handbook.pages import plain_words
from kilnfolio.paper.sheet import kiln_sheet
from kilnfolio.physics.air import relative_humidity
from kilnfolio.physics.sorption import equilibrium_moisture_content
from kilnfolio.records.quantities import Length, Quantity, Temperature, TemperatureDifference
from kilnfolio.records.region import regions
from kilnfolio.records.setpoints import mill_pressure
from kilnfolio.rendering.regional import PLAIN, RegionalFormat, regional_format
from kilnfolio.review import figures
from kilnfolio.site.lot_words import lot_record
from kilnfolio.site.search import synonyms_of

#: By region: US customary units first, and what its headings say for timber, crook,
#: conditioning and flat-sawn. Common practice, no source.
PRACTICES = {
    "North American": (True, "Lumber", "crook", "conditioning", "flat-sawn"),
    "British": (False, "Timber", "spring", "conditioning", "flat-sawn"),
    "continental": (False, "Timber", "spring", "conditioning", "flat-sawn"),
    "Australasian": (False, "Timber", "spring", "stress relief", "back-sawn"),
}
CUSTOMARY = RegionalFormat(customary_first=True)
_KNOWN = {"source": "common practice", "status": "common practice"}


@pytest.fixture(scope="module")
def mills(tmp_path_factory) -> dict[str, Mill]:
    """The same mill in each region; its charge says itself which boards decide."""
    return {
        name: small_mill(
            tmp_path_factory.mktemp("mill"),
            mill={"practice": name},
            charge={
                "control_rule": "wettest half",
                "defects": [{"defect": "crook", "pieces": 3, "of": 120}],
            },
            lot={"thickness": "26 mm"},
            species={
                "prone_to": [{"defect": "crook", "note": "Beside the pith.", **_KNOWN}],
                "shrinkage": {"radial": "4.0 %", "tangential": "8.6 %", **_KNOWN},
                "ceiling_while_wet": {"dry_bulb": "49 °C", "while_above": "25 %", **_KNOWN},
            },
        )
        for name in PRACTICES
    }


@pytest.fixture(scope="module")
def said(mills) -> dict[str, dict[str, str]]:
    """The words of every page, by region and address; the customer's page as "customer"."""
    return {
        name: {page.path: _plain(page.html) for page in mill.pages}
        | {"customer": _plain(mill.customer()[0].html)}
        for name, mill in mills.items()
    }


def _plain(html: str) -> str:
    return Outline(html).text.replace("\u00a0", " ")


@pytest.mark.parametrize("name", PRACTICES)
def test_units_stand_in_the_order_of_the_region(name, said):
    pages, customary_first = said[name], PRACTICES[name][0]
    for path, metric, customary in (
        ("species/quercus-rubra.html", "49 °C", "120 °F"),
        ("charges/C1.html", "40 m³", "17 000 board feet"),
        ("lots/L1.html", "26 mm", "1.0 in"),
        ("lots/L1.html", "2.1 m³", "890 board feet"),
        ("kilns/k1.html", "85 °C", "185 °F"),
        ("customer", "26 mm", "1.0 in"),
        ("customer", "2.1 m³", "890 board feet"),
        ("customer", "100 mm", "4 in"),
        ("customer", "21 °C", "70 °F"),
    ):
        first, second = (customary, metric) if customary_first else (metric, customary)
        assert f"{first} ({second})" in pages[path] or f"{first} {second}" in pages[path], path
        assert f"{second} ({first})" not in pages[path], path
    heads = "Dry bulb °F Dry bulb °C" if customary_first else "Dry bulb °C Dry bulb °F"
    assert heads in pages["schedules/red-oak-4-4.html"]


@pytest.mark.parametrize("name", PRACTICES)
def test_headings_say_the_words_of_the_region(name, said):
    pages, (_, timber, crook, conditioning, flat_sawn) = said[name], PRACTICES[name]
    assert f"{timber} Northern red oak" in pages["charges/C1.html"]
    assert f"Volume of {timber.lower()}" in pages["calculators.html"]
    assert f"across a {flat_sawn} board" in pages["calculators.html"]
    assert f"{crook.capitalize()} 3 of 120" in pages["charges/C1.html"]
    assert crook in pages["species/quercus-rubra.html"].lower()
    assert f"Equalizing and {conditioning}" in pages["schedules/red-oak-4-4.html"]
    assert f"{flat_sawn} shrinks by about" in pages["customer"]
    for other in {row[2] for row in PRACTICES.values()} - {crook}:
        assert f"{other.capitalize()} 3 of 120" not in pages["charges/C1.html"]


@pytest.mark.parametrize("name", PRACTICES)
def test_the_page_of_the_mill_and_of_each_charge_say_what_is_in_force(name, said):
    region = regions()[name]
    shown = name[0].upper() + name[1:]
    front, charge = said[name]["index.html"], said[name]["charges/C1.html"]
    assert f"{name} practice" in front
    for custom in region.words.values():
        assert custom.is_.capitalize() in front
    own = "" if region.rule == "wettest half" else ", as the charge itself says"
    assert f"{shown}: steps go by the wettest half{own}; units {region.units.is_}" in charge


def test_under_a_north_american_region_every_temperature_carries_fahrenheit_first(mills):
    """Pages and drawings of the mill and its customers: °F, and °C only in brackets behind it."""
    mill = mills["North American"]
    pages = {page.path: page.html for page in (*mill.pages, *mill.customer())}
    assert sum("°F" in html for html in pages.values()) > 20
    lone = {path: lone_celsius(html) for path, html in pages.items()}
    assert {path: phrases for path, phrases in lone.items() if phrases} == {}


def test_so_does_every_page_of_the_demonstration(demo_site):
    """Its mill, customer and auditor editions: prose, tables, drawings, what is read aloud."""
    lone, seen = {}, 0
    for path in sorted(demo_site.rglob("*.html")):
        if ".staging" not in path.parts:
            html = path.read_text("utf-8")
            seen += "°F" in html
            lone[path.relative_to(demo_site)] = lone_celsius(html)
    assert seen > 400
    assert {path: phrases for path, phrases in lone.items() if phrases} == {}


def test_so_do_its_pdfs(demo_site):
    """Records, the pocket book, the exercises; the others print formulas, which the pages cover."""
    paths = [path for path in demo_site.rglob("*.pdf") if ".staging" not in path.parts]
    lone, seen = [], 0
    for path in (path for path in paths if path.name not in ("handbook.pdf", "practice-key.pdf")):
        for number, page in enumerate(read_pages(path), 1):
            words = " ".join(page.text.split())
            seen += "°F" in words
            lone += [(path.name, number)] * has_lone_celsius(words)
    assert seen > 40
    assert lone == []


@pytest.mark.parametrize(
    ("html", "lone"),
    [
        ("<p>dry bulb <b>110 °F</b> <span>(43.3 °C)</span></p>", []),
        ("<p>dry bulb 43.3 °C (110 °F)</p>", ["dry bulb 43.3 °C (110 °F)"]),
        ("<td>110 °F</td><td>43.3 °C</td>", []),
        ("<td>43.3 °C</td><td>110 °F</td>", ["43.3 °C"]),
        ('<svg><text>at 43.3 °C</text></svg><i title="4 K"></i>', ["at 43.3 °C", "4 K"]),
        ("<th>Dry bulb, °C</th>", ["Dry bulb, °C"]),
        ("<p>120 K h, <code>43 °C</code>, A per °C</p>", []),
        ('<div class="working"><p>= 43 °C − 4 K = <b>39 °C</b></p></div>', ["39 °C"]),
    ],
)
def test_a_temperature_without_fahrenheit_is_told(html, lone):
    assert lone_celsius(html) == lone


def test_check_prints_fahrenheit_first(mills, capsys):
    main(["check", str(mills["North American"].folder.root), "--all"])
    lines = capsys.readouterr().out.replace("\u00a0", " ").splitlines()
    assert sum("°F (" in line for line in lines) > 3
    assert [line for line in lines if lone_celsius(html.escape(line))] == []


@pytest.mark.parametrize("name", PRACTICES)
def test_the_emc_beside_every_set_point_is_that_of_the_pair_as_printed(name, mills):
    """Step table and recipe of each schedule, read back from the page, within 0.1 of EMC."""
    mill, checked = mills[name], 0
    pressure = mill_pressure(mill.folder)
    for page in mill.pages:
        if not page.path.startswith("schedules/") or "table" not in page.html:
            continue
        tables = re.findall(
            r'<table class="figures (?:steps|recipe)">.*?</table>', page.html, flags=re.DOTALL
        )
        for row in re.findall(r"<tr[^>]*>(<th scope=\"row\">.*?)</tr>", "".join(tables)):
            cells = [
                re.sub(r"<[^>]+>", "", cell).replace("−", "-")
                for cell in re.findall(r"<td[^>]*>(.*?)</td>", row)
            ]
            for dry, wet, emc in _set_points(cells, customary=PRACTICES[name][0]):
                humidity = relative_humidity(dry, wet, pressure)
                assert abs(equilibrium_moisture_content(dry, humidity) - emc) <= 0.1, (row, dry)
                checked += 1
    assert checked >= 8


def _set_points(cells: list[str], *, customary: bool) -> Iterator[tuple[float, float, float]]:
    """Yield dry bulb, wet bulb and EMC of a table's row, in the units printed first."""
    if len(cells) == 9:  # span, then dry bulb, depression and wet bulb twice, RH, EMC
        pairs = [(cells[1], cells[5], cells[8])]
    elif len(cells) == 11:  # the MC to begin at, then each stage
        pairs = [(cells[1], cells[3], cells[5]), (cells[6], cells[8], cells[10])]
    else:
        return
    for dry, wet, emc in pairs:
        if dry != "–":
            bulbs = float(dry), float(wet)
            if customary:
                assert all(bulb.is_integer() for bulb in bulbs)
                bulbs = (bulbs[0] - 32) / 1.8, (bulbs[1] - 32) / 1.8
            yield *bulbs, float(emc)


def test_so_is_it_wherever_the_demonstration_prints_what_to_set(demo_site):
    """Schedules, charges, drills, the page of today and the pages at the kiln: within 0.1 of EMC."""
    pressure, kinds, wrong = mill_pressure(demo_mill()), Counter(), []
    for path in sorted((demo_site / "mill").rglob("*.html")):
        for dry_f, wet_f, emc in set_points(path.read_text("utf-8")):
            kinds[path.parent.name] += 1
            dry, wet = (dry_f - 32) / 1.8, (wet_f - 32) / 1.8
            humidity = relative_humidity(dry, wet, pressure)
            if abs(equilibrium_moisture_content(dry, humidity) - emc) > 0.1:
                wrong.append((path.name, dry_f, wet_f, emc))
    assert wrong == []
    assert kinds["schedules"] > 300
    assert kinds["charges"] > 100
    assert kinds["mill"] > 10  # drills, and the kilns of today
    assert kinds["kiln-side"] > 0


@pytest.mark.parametrize(
    ("metric", "customary"),
    [
        ("dry bulb 43.3 °C (110 °F)", "dry bulb 110 °F (43.3 °C)"),
        ("between 20 and 80 °C", "between 68 and 176 °F (20 and 80 °C)"),
        ("103 ± 2 °C", "217 ± 3.6 °F (103 ± 2 °C)"),
        ("above by 2.0 K", "above by 3.6 °F (2.0 K)"),
        ("a depression of 5.6 K", "a depression of 10 °F (5.6 K)"),
        ("lowered by 1 °C", "lowered by 1.8 °F (1 °C)"),
        ("110 °F (43.3 °C) already", "110 °F (43.3 °C) already"),
        ("120 K h of degree-hours", "120 K h of degree-hours"),
        ("K1 and T4-D2", "K1 and T4-D2"),
    ],
)
def test_words_of_a_record_get_fahrenheit_first(metric, customary):
    """By definition: °F = 1.8 °C + 32, and a difference of 1 K is 1.8 °F."""
    assert CUSTOMARY.localized(metric).replace("\u00a0", " ") == customary
    assert PLAIN.localized(metric) == metric


@pytest.mark.parametrize(
    ("written", "native"),
    [
        (Temperature.parse("45 °C"), "113 °F"),
        (TemperatureDifference.parse("4 K"), "7 °F"),
        (Length.parse("25 mm"), "1 in"),
        (Length.parse("120 mm"), "4.5 in"),
        (Temperature.parse("110 °F"), "110 °F"),
    ],
)
def test_examples_are_written_in_round_units_of_the_region(written, native):
    """By definition: an inch is 25.4 mm. What each is rounded to is our own choice."""
    assert CUSTOMARY.native(written).entered == native
    assert PLAIN.native(written) is written


def test_reviews_and_the_figures_of_records_do_not_know_the_region(mills):
    """A record's words are those its page prints; its figures are the same in every region."""

    def sealed(mill: Mill) -> tuple[str, str, str]:
        record = lot_record(mill.folder, "L1", mill.dossiers, mill.lots["L1"])
        return (
            mill.dossiers["C1"].model_copy(update={"inputs": ()}).model_dump_json(),
            mill.lots["L1"].model_copy(update={"inputs": ()}).model_dump_json(),
            json.dumps([dict(record.numbers), dict(record.asked)], sort_keys=True, default=str),
        )

    first, *others = map(sealed, mills.values())
    assert "target_mc_pct" in first[2]
    assert all(other == first for other in others)


@pytest.mark.parametrize("name", PRACTICES)
def test_the_sheet_at_the_kiln_follows(name, mills):
    step = kiln_sheet(mills[name].folder, "C1").steps[0]
    metric, customary = "50.0\u00a0°C", "122\u00a0°F"
    assert step.dry_bulb == ((customary, metric) if PRACTICES[name][0] else (metric, customary))


def test_the_regions_word_and_ours_find_each_other(mills):
    synonyms = synonyms_of(mills["North American"].folder, None)
    assert "timber" in synonyms["lumber"]
    assert "lumber" in synonyms["timber"]
    assert "lumber" not in synonyms_of(mills["British"].folder, None)
    assert "back-sawn" in synonyms_of(mills["Australasian"].folder, None)["flat-sawn"]


def test_a_chapters_quantities_follow(tmp_path):
    body = "Cut {q: 25 mm} at {q: 110 °F}.\n"
    for name, words in (
        ("North American", "Cut 0.98 in (25 mm) at 110 °F (43.3 °C)."),
        ("continental", "Cut 25 mm (0.98 in) at 43.3 °C (110 °F)."),
    ):
        html = body_of(tmp_path / name, body, practice=name).html
        assert plain_words(html).replace("\u00a0", " ") == words


# --- the words of records, told again -------------------------------------------------------------

DIMENSIONS = sorted(figures.CUSTOMARY, key=lambda dimension: dimension.__name__)


@given(sampled_from(DIMENSIONS), floats(0.1, 90_000.0))
def test_a_pair_is_turned_and_turned_back(dimension: type[Quantity], value: float):
    unit = next(iter(dimension.units))
    quantity = dimension.parse(f"{value:.1f} {unit}")
    written = f"Oak, {figures.side_by_side(quantity)} thick, 3 m (see note)."
    turned = CUSTOMARY.localized(written)
    assert f"Oak, {CUSTOMARY.side_by_side(quantity)} thick, 3 m (see note)." == turned
    assert PLAIN.localized(written) == written


@pytest.mark.parametrize(
    ("written", "turned"),
    [
        ("25.4 mm (4/4) thick", "4/4 (25.4 mm) thick"),
        ("−5.0 °C (23 °F)", "23 °F (−5.0 °C)"),
        (
            "12 345 m³ (5.2 mbf); 2 m³ (850 board feet)",
            "5.2 mbf (12 345 m³); 850 board feet (2 m³)",
        ),
        ("at 12 % (10 % asked)", "at 12 % (10 % asked)"),
    ],
)
def test_only_pairs_of_the_two_systems_are_turned(written, turned):
    hard = re.compile(r"(?<=\d) (?=[\d°m%b])|(?<=board) (?=feet)")
    unbroken = [
        hard.sub("\u00a0", words).replace("board\u00a0feet", "board feet")
        for words in (written, turned)
    ]
    assert CUSTOMARY.localized(unbroken[0]) == unbroken[1]


def test_words_keep_their_capital_and_their_plural():
    mill = demo_mill().mill.record.model_copy(update={"practice": "Australasian"})
    regional = regional_format(mill)
    assert [regional.term(word) for word in ("Stickers", "sticker", "Timber", "Charge")] == [
        "Strips",
        "strip",
        "Timber",
        "Charge",
    ]
    assert (
        regional.phrase("The {sticker} of {Flat-sawn} boards, {}, sticker")
        == "The strip of Back-sawn boards, {}, sticker"
    )
    assert regional.defect("sticker-stain") == "strip stain"
