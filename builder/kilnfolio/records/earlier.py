"""Charges of the years before a mill used this program, from tables that it types or exports.

``content/earlier/charges.csv`` has a row for each charge, ``content/earlier/readings.csv`` a row for
each piece of a final survey whose place in the kiln is known, and ``content/earlier/inspected.csv`` a
row for each pack whose pieces were examined for defects by themselves. Nothing in them can be recomputed:
pages show them as the mill's own list.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping
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
    Percent,
    TemperatureDifference,
)
from kilnfolio.records.ranges import Thickness
from kilnfolio.records.species import Defect
from kilnfolio.runtime.files import TooLargeError, read_whole
from kilnfolio.runtime.nearest import nearest
from kilnfolio.runtime.values import dataclass

CHARGES = "content/earlier/charges.csv"
"""The table of charges."""
READINGS = "content/earlier/readings.csv"
"""The table of readings by place."""
INSPECTED = "content/earlier/inspected.csv"
"""The table of defects by place."""
MAX_BYTES = 50_000_000
"""Largest size of each. [bytes]"""

_SHOWN = 20


class EarlierCharge(Record):
    """A row of ``content/earlier/charges.csv``. Nothing of it ever leaves the mill."""

    charge: Number
    """The charge's number; no other charge has it."""
    kiln: Slug
    """Id of the kiln, as in content/kilns."""
    species: Slug
    """Id of the main species, as in schedules/species."""
    thickness: Thickness
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
    too_fast_step: Annotated[int, Field(ge=1)] | None = None
    """Step of the schedule in which most of that time lay."""
    stress_index: Annotated[Percent, in_range(0, 100)] | None = None
    """Largest gradient index."""
    stops: Annotated[int, Field(ge=0)] | None = None
    """Number of stops."""
    stops_step: Annotated[int, Field(ge=1)] | None = None
    """Step of the schedule in which most of the stops lay."""
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
        _counted(self.defects, self.examined)
        return self


class EarlierReading(Record):
    """A row of ``content/earlier/readings.csv``. Nothing of it ever leaves the mill."""

    charge: Number
    """The charge, a row of charges.csv."""
    position: Name
    """Where in the kiln the pack stood, as the kiln's record names it."""
    mc: Annotated[Percent, in_range(1, 100)]
    """MC of the piece, corrected."""


class EarlierInspected(Record):
    """A row of ``content/earlier/inspected.csv``. Nothing of it ever leaves the mill."""

    charge: Number
    """The charge, a row of charges.csv."""
    position: Name
    """Where in the kiln the pack stood, as the kiln's record names it."""
    examined: Annotated[int, Field(ge=1)]
    """Number of its pieces examined for defects."""
    defects: Annotated[dict[Defect, Annotated[int, Field(ge=0)]], COLUMNS] = {}
    """Pieces with each defect, in a column with the name of the defect in the atlas."""

    @model_validator(mode="after")
    def _together(self) -> Self:
        _counted(self.defects, self.examined)
        return self


def _counted(defects: Mapping[Defect, int], examined: int | None) -> None:
    """Refuse more pieces with a defect than were examined."""
    for defect, pieces in defects.items():
        if examined is None or pieces > examined:
            raise record_error(
                pieces,
                "so many pieces have it, and no number of pieces was examined"
                if examined is None
                else f"only {examined} pieces were examined",
                "Write under 'examined' how many pieces were looked at",
                at=("defects", defect),
            )


@dataclass(frozen=True)
class Earlier:
    """What a mill lists of the years before it used this program.

    Attributes
    ----------
    charges : tuple of EarlierCharge
        In the order of the table.
    readings : tuple of EarlierReading
        In the order of the table.
    inspected : tuple of EarlierInspected
        In the order of the table.
    """

    charges: tuple[EarlierCharge, ...] = ()
    readings: tuple[EarlierReading, ...] = ()
    inspected: tuple[EarlierInspected, ...] = ()


@derived("earlier", code="review")
def earlier(graph: Graph, _: str) -> Earlier:
    """Return the earlier charges, readings and inspections; all empty for a mill that lists none.

    Raises
    ------
    RecordProblems
        Every problem in the tables, and every name in them that the mill does not know.
    """
    charges = _table(graph, CHARGES, EarlierCharge)
    readings = _table(graph, READINGS, EarlierReading)
    inspected = _table(graph, INSPECTED, EarlierInspected)
    rows = charges.record.rows if charges else []
    numbers = {row.charge for row in rows}
    problems = [
        *(_charge_problems(graph, charges) if charges else ()),
        *(
            _no_such_charge(readings, (row.charge for row in readings.record.rows), numbers)
            if readings
            else ()
        ),
        *(
            _no_such_charge(inspected, (row.charge for row in inspected.record.rows), numbers)
            if inspected
            else ()
        ),
        *(_twice(inspected) if inspected else ()),
    ]
    if problems:
        raise RecordProblems(problems[:_SHOWN])
    return Earlier(
        tuple(rows),
        tuple(readings.record.rows) if readings else (),
        tuple(inspected.record.rows) if inspected else (),
    )


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


def _no_such_charge(
    table: Located[Rows[R]], named: Iterable[str], charges: Container[str]
) -> Iterator[Problem]:
    for at, charge in enumerate(named):
        if charge not in charges:
            yield Problem(
                table.place("rows", at, "charge"),
                f"charge '{charge}'",
                f"{CHARGES} has no such row",
                "Add the charge there, or correct its number",
            )


def _twice(table: Located[Rows[EarlierInspected]]) -> Iterator[Problem]:
    seen: set[tuple[str, str]] = set()
    for at, row in enumerate(table.record.rows):
        if (row.charge, row.position) in seen:
            yield Problem(
                table.place("rows", at, "position"),
                f"position '{row.position}'",
                f"the table has it twice for charge '{row.charge}'",
                "Add its pieces up in one row",
            )
        seen.add((row.charge, row.position))


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
