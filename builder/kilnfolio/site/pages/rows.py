"""The registers of charges and lots: their rows, in small script files for each quarter of a year.

Pages and search load these files only when somebody filters or searches, so a register of ten
thousand charges costs nothing until then, and a correction to one charge changes one file. They are
scripts because a page opened from ``file://`` can load nothing else. Everything here is made from
rows alone: rewriting a file needs no dossier.
"""

from __future__ import annotations

import datetime as dt
import json
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Literal

from kilnfolio.records.reading import month_of
from kilnfolio.rendering import routes
from kilnfolio.rendering.lot_state import STATES
from kilnfolio.review.dossier import Outcome
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.pages.summaries import ChargeRow, LotLine

#: How a column is encoded: as text, as indices into a list of distinct words, as days since 1970,
#: or as numbers.
Encoding = Literal["text", "words", "day", "number"]
#: How a filter compares: with the whole value, with one of its words, as the first or last date, or
#: with any words of the row.
Match = Literal["is", "word", "from", "until", "any"]

_EPOCH = dt.date(1970, 1, 1)


@dataclass(frozen=True)
class Column:
    """One column of a register."""

    key: str
    """The attribute of the row."""
    encoding: Encoding
    heading: str = ""
    """As printed; a column without a heading only serves filters and search."""
    unit: str = ""
    decimals: int = 0
    """Decimals of a number."""
    form: Literal["", "link", "outcome"] = ""
    """Printed as the link to the row's page, or in the shape and colour of its outcome."""
    searched: bool = False
    """Whether search, and the filter for any words, look through it."""


@dataclass(frozen=True)
class Filter:
    """One filter above a register."""

    key: str
    """The column it filters by."""
    name: str
    """Its parameter in the address of a filtered page."""
    label: str
    match: Match


@dataclass(frozen=True)
class LotRow:
    """One lot in a register."""

    number: str
    product: str
    species: str
    species_id: str
    charges: str
    """Numbers of the charges it was dried in."""
    day: dt.date
    """Date of issue."""
    target_mc: float
    mean_mc: float | None
    """Mean of its readings [%]."""
    readings: int
    outcome: Outcome
    """The outcome whose shape and colour its verdict is shown in."""
    verdict: str

    @property
    def target(self) -> str:
        """Its page."""
        return routes.lot(self.number)

    @property
    def choices(self) -> tuple[tuple[str, str, str], ...]:
        """The choices it adds to filters: the column, the value, and its words."""
        return (
            ("species_id", self.species_id, self.species),
            ("outcome", self.outcome, self.verdict),
        )


def lot_row(line: LotLine) -> LotRow:
    """Return the register's row of a lot."""
    outcome, verdict = STATES[line.met].outcome, STATES[line.met].verdict
    return LotRow(
        number=line.number,
        product=line.product,
        species=line.species,
        species_id=line.species_id,
        charges=" ".join(line.charges),
        day=line.issued,
        target_mc=line.target_mc,
        mean_mc=line.mean,
        readings=line.readings,
        outcome=outcome,
        verdict=verdict,
    )


Row = ChargeRow | LotRow


@dataclass(frozen=True)
class Register:
    """A register: its name, its columns and its filters."""

    kind: str
    """Its folder in the edition."""
    title: str
    one: str
    """The noun for a row."""
    columns: tuple[Column, ...]
    filters: tuple[Filter, ...]

    @property
    def printed(self) -> tuple[Column, ...]:
        """The columns shown in tables."""
        return tuple(column for column in self.columns if column.heading)


CHARGES = Register(
    "charges",
    "Charges",
    "charge",
    (
        Column("number", "text", "Charge", form="link"),
        Column("outcome", "words", "Checks", form="outcome", searched=True),
        Column("stock", "words", "Timber", searched=True),
        Column("kiln", "words", "Kiln", searched=True),
        Column("day", "day", "Started"),
        Column("days", "number", "Took", "days", 1),
        Column("start_mc", "number", "MC at start", "%"),
        Column("final_mc", "number", "Final MC", "%", 1),
        Column("target_mc", "number", "Target", "%"),
        Column("found", "words", searched=True),
        Column("species", "words"),
        Column("thicknesses", "words"),
        Column("kiln_id", "words"),
        Column("schedule_id", "words"),
    ),
    (
        Filter("number", "words", "Number or word", "any"),
        Filter("species", "species", "Species", "word"),
        Filter("thicknesses", "thickness", "Thickness", "word"),
        Filter("kiln_id", "kiln", "Kiln", "is"),
        Filter("schedule_id", "schedule", "Schedule", "is"),
        Filter("day", "started-from", "Started from", "from"),
        Filter("day", "started-until", "until", "until"),
        Filter("outcome", "outcome", "Checks", "is"),
    ),
)

LOTS = Register(
    "lots",
    "Lots",
    "lot",
    (
        Column("number", "text", "Lot", form="link"),
        Column("verdict", "words", "Order", form="outcome", searched=True),
        Column("product", "words", "Product", searched=True),
        Column("species", "words", "Species", searched=True),
        Column("charges", "words", "Dried in"),
        Column("day", "day", "Issued"),
        Column("target_mc", "number", "Ordered", "% MC"),
        Column("mean_mc", "number", "Mean", "% MC", 1),
        Column("readings", "number", "Readings"),
        Column("species_id", "words"),
        Column("outcome", "words"),
    ),
    (
        Filter("number", "words", "Number or word", "any"),
        Filter("species_id", "species", "Species", "is"),
        Filter("day", "issued-from", "Issued from", "from"),
        Filter("day", "issued-until", "until", "until"),
        Filter("outcome", "outcome", "Order", "is"),
    ),
)


# --- files ----------------------------------------------------------------------------------------


def shard(register: Register, name: str, rows: Sequence[Row]) -> str:
    """Return the script file of one quarter of a register from its rows, newest first."""
    columns = {column.key: _written(column, rows) for column in register.columns}
    key = json.dumps(f"{register.kind}-{name}")
    return (
        f"(window.KILNFOLIO_ROWS=window.KILNFOLIO_ROWS||{{}})[{key}]="
        f"{_script({'rows': len(rows), 'columns': columns})};\n"
    )


def _written(column: Column, rows: Sequence[Row]) -> Any:
    values = [getattr(row, column.key) for row in rows]
    if column.encoding == "text":
        return "\n".join(values)
    if column.encoding == "day":
        return [(value - _EPOCH).days for value in values]
    if column.encoding == "number":
        return [_rounded(value, column.decimals) for value in values]
    words = sorted(set(values))
    places = {word: place for place, word in enumerate(words)}
    return {"words": words, "codes": [places[value] for value in values]}


def _rounded(value: float | None, decimals: int) -> float | int | None:
    """Return a number rounded as it is printed, so that pages and scripts show the same digits."""
    if value is None or decimals == 0:
        return None if value is None else int(f"{value:.0f}")
    return float(f"{value:.{decimals}f}")


@dataclass(frozen=True)
class RegisterPart:
    """Summary of one quarter of a register, for its page and the manifest."""

    name: str
    rows: int
    lowest: str
    """The first of its numbers, as `plain_number` writes it."""
    highest: str
    months: Mapping[str, int]
    """Rows by month, as in ``2026-03``."""
    choices: frozenset[tuple[str, str, str]]
    """The choices its rows add to filters: the column, the value, and its words."""


def register_part_of(name: str, rows: Sequence[Row]) -> RegisterPart:
    """Return the summary of a quarter, which has at least one row."""
    numbers = [plain_number(row.number) for row in rows]
    return RegisterPart(
        name,
        len(rows),
        min(numbers),
        max(numbers),
        dict(sorted(Counter(month_of(row.day) for row in rows).items())),
        frozenset(choice for row in rows for choice in row.choices),
    )


def plain_number(number: str) -> str:
    """Return a number in the form used to compare it: only letters and digits, in capitals."""
    return re.sub(r"[\W_]", "", number).upper()


def choices(parts: Iterable[RegisterPart], key: str) -> list[tuple[str, str]]:
    """Return a filter's choices as pairs of value and words, sorted by the words."""
    found = {(value, words) for part in parts for name, value, words in part.choices if name == key}
    return sorted(found, key=lambda pair: (pair[1].casefold(), pair[0]))


def manifest(charges: Sequence[RegisterPart], lots: Sequence[RegisterPart]) -> str:
    """Return the script file that lists the parts of both registers, newest first.

    It also lists the words by which a charge or lot can be found, so that a search for anything
    else loads no part.
    """
    data = {
        register.kind: {
            "shards": [
                [part.name, part.rows, part.lowest, part.highest]
                for part in sorted(parts, key=lambda part: part.name, reverse=True)
            ],
            "searched": [column.key for column in register.columns if column.searched],
            "words": sorted({words for part in parts for _, _, words in part.choices}),
            "months": sorted({month for part in parts for month in part.months}),
        }
        for register, parts in ((CHARGES, charges), (LOTS, lots))
    }
    return f"window.KILNFOLIO_REGISTER={_script(data)};\n"


def _script(data: object) -> str:
    # "</" would end the script element if the file is written into a page
    return json.dumps(data, ensure_ascii=False, separators=(",", ":")).replace("</", "<\\/")
