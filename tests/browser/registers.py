"""Registers of any size, made only of rows, the same every time, with the pages that show them."""

import datetime as dt
import random
from collections.abc import Iterable
from pathlib import Path

from tests.reviewed import demo_mill
from tests.site_assets import copy_assets

from kilnfolio.records.reading import ALL, month_of, quarter_of
from kilnfolio.rendering import routes
from kilnfolio.rendering.lot_state import STATES
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import regional_format
from kilnfolio.rendering.templating import environment
from kilnfolio.review.open_review import OpenReview
from kilnfolio.site.page_kinds import MILL, SCRIPTS
from kilnfolio.site.pages.phrases import OUTCOME_ORDER
from kilnfolio.site.pages.rows import (
    CHARGES,
    LOTS,
    LotRow,
    Register,
    RegisterPart,
    Row,
    register_part_of,
)
from kilnfolio.site.pages.summaries import ChargeRow
from kilnfolio.site.search import INDEX_PATH, search_index

SPECIES = (
    ("Northern red oak", "quercus-rubra"),
    ("Sugar maple", "acer-saccharum"),
    ("White ash", "fraxinus-americana"),
)
KILNS = tuple((f"Kiln {place}", f"kiln-{place}") for place in range(1, 13))
THICKNESSES = ("4/4", "6/4", "8/4")
FIRST = dt.datetime(2015, 1, 1, 8, tzinfo=dt.UTC)


def charge_rows(count: int, years: float = 10.0) -> list[ChargeRow]:
    """Return charges spread evenly over some years; the first has a number that looks like a
    formula."""
    chance = random.Random(4)
    step = dt.timedelta(days=years * 365.0 / count)
    rows = []
    for place in range(count):
        name, species = chance.choice(SPECIES)
        thickness = chance.choice(THICKNESSES)
        kiln, kiln_id = chance.choice(KILNS)
        started = FIRST + place * step
        number = "=1+1" if place == 0 else f"C-{started:%y}-{place:05d}"
        rows.append(
            ChargeRow(
                number=number,
                target=routes.charge(number),
                stock=f"{name} {thickness}",
                species=species,
                species_names=(name,),
                thickness=(thickness,),
                kiln=kiln,
                kiln_id=kiln_id,
                schedule=f"{name}, green",
                schedule_target="index.html",
                schedule_id=f"{species}-green",
                started=started,
                ended=started,
                length="",
                days=chance.uniform(5, 40),
                target_mc=8.0,
                start_mc=chance.uniform(40, 90),
                final_mc=chance.uniform(6, 12) if chance.random() > 0.1 else None,
                final_sd=0.5,
                readings=30,
                outcome=chance.choice([one for one in OUTCOME_ORDER if one != "note"]),
                counts=(),
                defects="",
                found=chance.choice(("", "", "surface checks", "honeycomb, split")),
            )
        )
    return rows


def lot_rows(charges: list[ChargeRow], each: int) -> list[LotRow]:
    """Return this many lots for each charge."""
    chance = random.Random(5)
    rows = []
    for charge in charges:
        for part in range(each):
            state = STATES[chance.choice((True, True, True, False, None))]
            outcome, verdict = state.outcome, state.verdict
            rows.append(
                LotRow(
                    number=f"L{len(rows):06d}",
                    product=f"{charge.species_names[0]} boards, planed",
                    species=charge.species_names[0],
                    species_id=charge.species,
                    charges=charge.number,
                    day=(charge.started + dt.timedelta(days=40 + part)).date(),
                    target_mc=8.0,
                    mean_mc=charge.final_mc,
                    readings=30,
                    outcome=outcome,
                    verdict=verdict,
                )
            )
    return rows


class Registers:
    """Rows by group, as a mill's site context keeps them."""

    def __init__(self, charges: list[ChargeRow], lots: list[LotRow]):
        self.folder = demo_mill()
        mill = self.folder.mill.record
        self.env, self.regional = environment(mill), regional_format(mill)
        self.open_reviews: dict[str, OpenReview] = {}
        self._groups: dict[tuple[str, str], list[Row]] = {}
        for kind, rows in ((CHARGES.kind, charges), (LOTS.kind, lots)):
            for row in newest_first(rows):
                for group in (
                    ALL,
                    f"year:{row.day.year}",
                    f"quarter:{quarter_of(row.day)}",
                    f"month:{month_of(row.day)}",
                ):
                    self._groups.setdefault((kind, group), []).append(row)
        self._facts = {
            wanted: [
                register_part_of(group.removeprefix("quarter:"), rows)
                for (kind, group), rows in self._groups.items()
                if kind == wanted and group.startswith("quarter:")
            ]
            for wanted in (CHARGES.kind, LOTS.kind)
        }

    def register_parts(self, register: Register) -> list[RegisterPart]:
        """Return the summary of each part of a register."""
        return self._facts[register.kind]

    def register_rows(self, register: Register, group: str, most: int | None = None) -> list[Row]:
        """Return a group's rows."""
        return self._groups[register.kind, group][:most]


def newest_first(rows: Iterable[Row]) -> list[Row]:
    """Return rows in the order of a register."""
    return sorted(rows, key=lambda row: (row.day, row.number), reverse=True)


def write_registers(out: Path, charges: list[ChargeRow], lots: list[LotRow]) -> None:
    """Write the pages of both registers, the files they load, and a small search."""
    copy_assets(out)
    registers = Registers(charges, lots)
    oak = Page("species/quercus-rubra.html", "", "Northern red oak", "species", "A heavy wood.")
    kinds = {**SCRIPTS, "charges": MILL["charge-register"], "lots": MILL["lot-register"]}
    pages = [
        page
        for kind in kinds.values()
        for name in kind.names(registers)
        for page in kind.pages(registers, name)
    ]
    for path, text in [
        *((page.path, page.html) for page in pages),
        (INDEX_PATH, search_index([oak], {"red oak": ["northern red oak"]})),
    ]:
        target = out / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, "utf-8", newline="\n")
