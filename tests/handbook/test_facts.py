"""Tables of facts: they agree with the reference tables, and a mistake in one is reported.

The reference tables are in ``tests/data/reference/world``; each row names its source and whether
its page was read or recalled.
"""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest
from tests.handbook.chapters import body_of, problems_of
from tests.reviewed import demo_mill

from kilnfolio.handbook.facts import read_facts
from kilnfolio.handbook.pages import plain_words

PROJECT = Path(__file__).resolve().parents[2]
WORLD = PROJECT / "tests/data/reference/world"
NAMES = sorted(path.stem for path in (PROJECT / "content/handbook/facts").glob("*.yaml"))

TABLE = "::: table\nkind: facts\nname: small\ncaption: A few facts.\n:::\n"
SMALL = """title: A few facts
columns:
  - {key: wood, words: Wood}
  - {key: days, words: Days, unit: d}
rows:
  - {wood: "Oak, {q: 1 in}", days: 70, source: common-practice, status: common practice}
"""


def reference(name: str) -> pd.DataFrame:
    return pd.read_csv(WORLD / f"{name}.csv", comment="#")


def test_every_table_of_facts_can_be_read():
    assert len(NAMES) >= 9
    for name in NAMES:
        facts = read_facts(PROJECT, name)
        for row in facts.rows:
            assert all(facts.origin(row)), (name, row)


def test_drying_times_agree_with_the_reference():
    """FPL Technical Note 233 (recalled), FPL Report 2086, OSU EM 8612 (read)."""
    book = reference("air_drying")
    times = {
        (wood, method): (low, high)
        for wood, method, low, high in zip(
            book.species, book.method, book.time_min, book.time_max, strict=True
        )
        if pd.notna(low) or pd.notna(high)
    }
    compared = 0
    for row in read_facts(PROJECT, "drying-times").rows:
        if row.source != "fpl-tn-233":
            continue
        wood = str(row.cell("wood"))
        # the reference writes hardwoods in lower case, as in "oak, northern red"
        key = next(name for name, _ in times if name.casefold() == wood.casefold())
        for method in ("air", "kiln"):
            low, high = (float(value) for value in times[key, method])
            assert row.numbers(f"{method}_low", f"{method}_high") == [low, high], (wood, method)
            compared += 2
    assert compared >= 40


def test_moisture_by_use_agrees_with_the_reference():
    """Wood Handbook 2010 table 13-2, EN 942 (recalled), Queensland Government (read)."""
    book = reference("mc_by_use")
    known = {
        tuple(None if pd.isna(value) else float(value) for value in triple)
        for triple in zip(
            book.mc_min_pct,
            book.mc_mean_pct,
            pd.to_numeric(book.mc_max_pct, errors="coerce"),
            strict=True,
        )
    }
    for row in read_facts(PROJECT, "mc-by-use").rows:
        triple = tuple(row.number(key) for key in ("low", "mean", "high"))
        assert triple in known, row


def test_intersection_points_agree_with_the_reference():
    """Wood Handbook, the table beside eq. 5-3; from memory."""
    book = reference("strength_mc")
    rows = book[book["item"] == "intersection MC, Mp"]
    points = dict(zip(rows.symbol_or_species.str.casefold(), rows.value.astype(float), strict=True))
    for row in read_facts(PROJECT, "strength").rows:
        wood = str(row.cell("wood")).casefold().removesuffix(", coast")
        assert row.number("intersection") == points.get(wood, points["all others"]), wood


#: Rows of the tables by the wording of their first cell, and the rows of the reference that they rest on, each with the
#: numbers it must give there. A temperature is compared in the unit of the row.
ENERGY = {
    "Softwood in Canada": ("ca-dry", ["1000"]),
    "European sawmills, heat": ("eu-heat", ["85"]),
    "European sawmills, electricity": ("eu-el", ["40"]),
    "Heat recovery on a progressive kiln": ("recovery", ["22"]),
    "Conventional, steam": ("m-conv", ["3.5", "7"]),
    "High temperature": ("m-ht", ["2.8", "4.5"]),
    "Solar, fans": ("m-solar", ["0.05", "0.3"]),
}


def numbers_in(words: object) -> list[str]:
    return [f"{float(one):g}" for one in re.findall(r"\d+(?:\.\d+)?", str(words))]


def test_energy_agrees_with_the_reference():
    """FPInnovations 2009 and the European centre for resource efficiency (read); others recalled."""
    book = reference("kiln_energy").set_index("case")
    rows = {str(row.cell("case")): row for row in read_facts(PROJECT, "energy").rows}
    for name, (case, figures) in ENERGY.items():
        bounds = [value for value in book.loc[case, ["value_min", "value_max"]] if pd.notna(value)]
        assert {f"{float(value):g}" for value in bounds} == set(figures), case
        assert numbers_in(rows[name].cell("figure")) == figures, name
        assert (rows[name].status == "read") == (book.loc[case, "status"] == "read"), name


#: Agents of the table and of the reference.
AGENTS = {
    "Fungi in general": "fungi",
    "Blue stain": "blue stain",
    "Dry rot (Serpula lacrymans)": "dry rot (Serpula lacrymans)",
    "Wet rot (Coniophora puteana)": "wet rot (Coniophora puteana)",
    "Mould on pine and spruce": "mould",
}


def test_conditions_of_decay_agree_with_the_reference():
    """Smulski 1996 and the mould paper's abstract (read); dry rot, wet rot, blue stain recalled."""
    book = reference("decay_and_stain")
    rows = {str(row.cell("agent")): row for row in read_facts(PROJECT, "decay").rows}
    for name, agent in AGENTS.items():
        known = book[book.agent == agent]
        words = " ".join(map(str, [*known.quantity, *known.value, *known.fact]))
        row = rows[name]
        said = " ".join(str(row.cell(key)) for key in ("moisture", "warmth", "remark"))
        for number in numbers_in(said):
            assert number in numbers_in(words), (name, number)
        assert len(numbers_in(said)) >= 3, name


def test_temperatures_of_kilns_agree_with_the_reference():
    """FPL-GTR-57's abstract, Finnish sawmill handbook and Oklahoma State Extension (read)."""
    book = reference("kiln_types")
    words = " ".join(book[book.aspect.isin(["temperature", "conditions", "result"])].fact)
    for row in read_facts(PROJECT, "kinds-of-kiln").rows:
        if row.source in ("usda-gtr-57", "okstate-solar", "finnish-sawmill-handbook"):
            for number in re.findall(r"\{q: (\d+) °", str(row.cell("fact"))):
                assert number in numbers_in(words), row


def test_a_cell_is_prose_or_a_number(tmp_path):
    body = body_of(tmp_path, TABLE, **{"facts/small.yaml": SMALL})
    words = plain_words(body.html).replace("\u00a0", " ")
    assert "25 mm (1 in)" in words
    assert re.search(r"\b70\b", words)
    assert "common practice" in words


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("days: 70", "hours: 70"), "small.yaml:6:30: the cell 'hours': no column has this key"),
        (('wood: "Oak, {q: 1 in}", ', ""), "small.yaml:6:5: the row has no 'wood'"),
        ((", status: common practice", ""), "the row has no source or no status"),
        (("status: common practice", "status: heard"), "small.yaml:6"),
        (("title: A few facts\n", ""), "the key 'title' is missing"),
    ],
)
def test_a_mistake_in_a_table_of_facts_is_reported_at_its_place(tmp_path, change, said):
    problems = problems_of(tmp_path, TABLE, **{"facts/small.yaml": SMALL.replace(*change)})
    assert any(said in problem for problem in problems), problems


def test_a_missing_table_of_facts_is_reported(tmp_path):
    problems = problems_of(tmp_path, TABLE.replace("small", "smal"), **{"facts/small.yaml": SMALL})
    assert any("facts/smal.yaml" in problem and "small" in problem for problem in problems)


def test_no_row_is_marked_read_if_its_publication_was_recalled():
    """The note of a publication says what was done with it; a row may not claim more."""
    publications = demo_mill().sources.record.publications
    for name in NAMES:
        facts = read_facts(PROJECT, name)
        for row in facts.rows:
            source, status = facts.origin(row)
            publication = publications[source.partition(",")[0]]
            recalled = (publication.note or "").startswith("Recalled")
            assert not (recalled and status == "read"), (name, source)
            assert (status == "common practice") == (source == "common-practice"), (name, source)
