"""Charges of the years before a mill used this program, from tables that it types or exports.

``content/earlier/charges.csv`` has a row for each charge, and ``content/earlier/readings.csv`` a row
for each piece of a final survey whose place in the kiln is known. Nothing in them can be recomputed:
pages show them as the mill's own list.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from typing import Annotated, Self

from pydantic import Field, model_validator

from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records.csv_table import COLUMNS, Rows, read_table
from kilnfolio.records.model import (
    Day,
    Located,
    Name,
    Number,
    R,
    Record,
    Slug,
    in_range,
    record_error,
)
from kilnfolio.records.problems import Place, Problem, RecordProblems, cannot_read
from kilnfolio.records.quantities import (
    Duration,
    EnergyPerMass,
    Length,
    Percent,
    TemperatureDifference,
)
from kilnfolio.records.species import Defect
from kilnfolio.runtime.files import TooLargeError, read_whole
from kilnfolio.runtime.nearest import nearest
from kilnfolio.runtime.values import dataclass

CHARGES = "content/earlier/charges.csv"
"""The table of charges."""
READINGS = "content/earlier/readings.csv"
"""The table of readings by place."""
MAX_BYTES = 50_000_000
"""Largest size of either. [bytes]"""

_SHOWN = 20


class EarlierCharge(Record):
    """A row of ``content/earlier/charges.csv``. Nothing of it ever leaves the mill."""

    charge: Number
    """The charge's number; no other charge has it."""
    kiln: Slug
    """Id of the kiln, as in content/kilns."""
    species: Slug
    """Id of the main species, as in schedules/species."""
    thickness: Length
    """Thickness of the main stock."""
    schedule: Name | None = None
    """Id of the schedule, or what the mill called it then."""
    revision: Annotated[int, Field(ge=1)] | None = None
    """Revision of the schedule."""
    supplier: Name | None = None
    """Who supplied the timber, if one did."""
    started: Day
    """The day heating began."""
    ended: Day
    """The day drying ended."""
    hours: Annotated[Duration, in_range(1, 10_000)] | None = None
    """Time from heating to the end; by default from the two days."""
    hours_forecast: Annotated[Duration, in_range(1, 10_000)] | None = None
    """The time it was expected to take."""
    start_mc: Annotated[Percent, in_range(3, 300)] | None = None
    """Mean of the sample boards at the start."""
    target_mc: Annotated[Percent, in_range(3, 30)]
    """Target MC."""
    final_mc: Annotated[Percent, in_range(1, 60)] | None = None
    """Mean of the final survey."""
    final_sd: Annotated[Percent, in_range(0, 20)] | None = None
    """Standard deviation of the final survey, in points."""
    readings: Annotated[int, Field(ge=1)] | None = None
    """Number of its readings."""
    energy: Annotated[EnergyPerMass, in_range(0, 20)] | None = None
    """Metered energy for each kilogram of water taken out."""
    wick_per_day: Annotated[TemperatureDifference, in_range(-20, 20)] | None = None
    """Slope of the wet-bulb depression at constant set-points, for each day."""
    side_difference: Annotated[TemperatureDifference, in_range(0, 40)] | None = None
    """Difference between entering and leaving air, median."""
    too_hot: Annotated[Duration, in_range(0, 10_000)] | None = None
    """Time hotter than the schedule asked."""
    too_fast: Annotated[Duration, in_range(0, 10_000)] | None = None
    """Time in which a wet board lost more than its safe daily loss."""
    stress_index: Annotated[Percent, in_range(0, 100)] | None = None
    """Largest gradient index."""
    stops: Annotated[int, Field(ge=0)] | None = None
    """Number of stops."""
    stopped: Annotated[Duration, in_range(0, 10_000)] | None = None
    """Their length."""
    examined: Annotated[int, Field(ge=1)] | None = None
    """Number of pieces examined for defects."""
    defects: Annotated[dict[Defect, Annotated[int, Field(ge=0)]], COLUMNS] = {}
    """Pieces with each defect, in a column with the name of the defect in the atlas."""

    @model_validator(mode="after")
    def _together(self) -> Self:
        if self.ended < self.started:
            raise record_error(
                self.ended, "the charge ends before it began", "Check both dates", at=("ended",)
            )
        for defect, pieces in self.defects.items():
            if self.examined is None or pieces > self.examined:
                raise record_error(
                    pieces,
                    "so many pieces have it, and no number of pieces was examined"
                    if self.examined is None
                    else f"only {self.examined} pieces were examined",
                    "Write under 'examined' how many pieces were looked at",
                    at=("defects", defect),
                )
        return self


class EarlierReading(Record):
    """A row of ``content/earlier/readings.csv``. Nothing of it ever leaves the mill."""

    charge: Number
    """The charge, a row of charges.csv."""
    position: Name
    """Where in the kiln the pack stood, as the kiln's record names it."""
    mc: Annotated[Percent, in_range(1, 100)]
    """MC of the piece, corrected."""


@dataclass(frozen=True)
class Earlier:
    """What a mill lists of the years before it used this program.

    Attributes
    ----------
    charges : tuple of EarlierCharge
        In the order of the table.
    readings : tuple of EarlierReading
        In the order of the table.
    """

    charges: tuple[EarlierCharge, ...] = ()
    readings: tuple[EarlierReading, ...] = ()


@derived("earlier", code="review")
def earlier(graph: Graph, _: str) -> Earlier:
    """Return the earlier charges and readings; both empty for a mill that lists none.

    Raises
    ------
    RecordProblems
        Every problem in the tables, and every name in them that the mill does not know.
    """
    charges = _table(graph, CHARGES, EarlierCharge)
    readings = _table(graph, READINGS, EarlierReading)
    rows = charges.record.rows if charges else []
    problems = [
        *(_charge_problems(graph, charges) if charges else ()),
        *(_reading_problems(readings, {row.charge for row in rows}) if readings else ()),
    ]
    if problems:
        raise RecordProblems(problems[:_SHOWN])
    return Earlier(tuple(rows), tuple(readings.record.rows) if readings else ())


def _table(graph: Graph, name: str, model: type[R]) -> Located[Rows[R]] | None:
    try:
        raw = read_whole(graph.file(name), MAX_BYTES)
    except FileNotFoundError:
        return None
    except TooLargeError as error:
        problem = Problem(
            Place(name),
            f"the file has {error.size:,} bytes",
            f"this table may have at most {MAX_BYTES:,}",
            "Leave out what is no charge",
        )
    except OSError as error:
        problem = cannot_read(name, error)
    else:
        return read_table(raw, name, model)
    raise RecordProblems([problem])


def _charge_problems(graph: Graph, table: Located[Rows[EarlierCharge]]) -> Iterator[Problem]:
    seen: set[str] = set()
    recorded, known = graph.names("charge"), {}
    for kind in ("kiln", "species"):
        known[kind] = graph.names(kind)
    for at, row in enumerate(table.record.rows):
        for kind, named in (("kiln", row.kiln), ("species", row.species)):
            if named not in known[kind]:
                yield _unknown(table.place("rows", at, kind), kind, named, known[kind])
        if row.charge in seen or row.charge in recorded:
            yield Problem(
                table.place("rows", at, "charge"),
                f"charge '{row.charge}'",
                "the table has it twice"
                if row.charge in seen
                else "it has a record of its own, and would count twice",
                "Leave one out",
            )
        seen.add(row.charge)


def _reading_problems(
    table: Located[Rows[EarlierReading]], charges: Container[str]
) -> Iterator[Problem]:
    for at, row in enumerate(table.record.rows):
        if row.charge not in charges:
            yield Problem(
                table.place("rows", at, "charge"),
                f"charge '{row.charge}'",
                f"{CHARGES} has no such row",
                "Add the charge there, or correct its number",
            )


def _unknown(place: Place, kind: str, named: str, known: Iterable[str]) -> Problem:
    near = nearest(named, known, cutoff=0.4)
    return Problem(
        place,
        f"{kind} '{named}'",
        f"the mill has no {kind} of that id",
        f"Did you mean '{near[0]}'?"
        if near
        else f"'kilnfolio new {kind} {named}' begins its record",
    )
