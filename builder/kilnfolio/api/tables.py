"""The tables of a mill: columns with units, keys, and the editions that may show them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, Literal

from pydantic import BaseModel

from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.lot import Lot, Order, Pack
from kilnfolio.review.dossier import Assessment, Dossier, LotDossier
from kilnfolio.review.reviews import dossiers, lot_dossiers
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.editions import CUSTOMER_FIELDS

Edition = Literal["mill", "auditor", "customer"]
Kind = Literal["string", "number", "integer", "boolean", "date", "datetime"]


@dataclass(frozen=True)
class Column:
    """A column of a table."""

    name: str
    kind: Kind
    meaning: str
    get: Callable[[Any], object]
    """Returns the column's value for the source of a row."""
    unit: str = ""
    """A key of `unit_codes.UNIT_CODES`; empty for columns without a unit, and percentage points per day."""
    mill_only: bool = False
    """Whether it never leaves the mill."""
    customer: tuple[type[BaseModel], str] | None = None
    """The record's field it comes from, if a customer may see it."""

    def may_be_seen_in(self, edition: Edition) -> bool:
        """Return whether an edition may show it."""
        if edition == "customer":
            return self.customer is not None and self.customer[1] in CUSTOMER_FIELDS.get(
                self.customer[0], ()
            )
        return edition == "mill" or not self.mill_only


@dataclass(frozen=True)
class Table:
    """A table of a mill's records and reviews."""

    name: str
    meaning: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    """The columns that identify a row."""
    of_charges: Callable[[ChargeSource], Iterator[Any]] | None = None
    """Yields the sources of the rows of a charge."""
    of_lots: Callable[[LotSource], Iterator[Any]] | None = None
    """Yields the sources of the rows of a lot."""

    def columns_in(self, edition: Edition) -> tuple[Column, ...]:
        """Return the columns that an edition may show."""
        return tuple(column for column in self.columns if column.may_be_seen_in(edition))


@dataclass(frozen=True)
class ChargeSource:
    """A complete charge with its review."""

    record: Charge
    dossier: Dossier


@dataclass(frozen=True)
class LotSource:
    """A complete lot with its review."""

    record: Lot
    dossier: LotDossier


@dataclass(frozen=True)
class _Row:
    """A part of a charge or lot, with its owner."""

    owner: Any
    part: Any
    board: Any = None
    number: int = 0


def charge_sources(
    mill: MillFolder, numbers: tuple[str, ...] | None = None
) -> Iterator[ChargeSource]:
    """Yield the complete charges, or those named."""
    reviews = dossiers(mill)
    for number in mill.charges if numbers is None else numbers:
        yield ChargeSource(mill.charges[number].record, reviews[number])


def lot_sources(mill: MillFolder, numbers: tuple[str, ...] | None = None) -> Iterator[LotSource]:
    """Yield the complete lots, or those named."""
    reviews = lot_dossiers(mill)
    for number in mill.lots if numbers is None else numbers:
        yield LotSource(mill.lots[number].record, reviews[number])


# --- columns --------------------------------------------------------------------------------------


def _charge(get: Callable[[Any], str] = lambda row: row.owner.dossier.charge) -> Column:
    return Column("charge", "string", "Number of the charge.", get)


def _of(name: str) -> Callable[[_Row], object]:
    return lambda row: getattr(row.part, name)


def _part(name: str, kind: Kind, meaning: str, unit: str = "", attribute: str = "") -> Column:
    return Column(name, kind, meaning, _of(attribute or name), unit)


def _count(outcome: str) -> Callable[[ChargeSource], int]:
    return lambda row: sum(one.outcome == outcome for one in row.dossier.findings)


def _survey(name: str) -> Callable[[ChargeSource], object]:
    return lambda row: getattr(row.dossier.survey, name, None)


def _water(name: str) -> Callable[[ChargeSource], object]:
    return lambda row: getattr(row.dossier.water, name, None)


_CHARGES = Table(
    "charges",
    "Complete charges, with the result of each.",
    (
        _charge(lambda row: str(row.dossier.charge)),
        Column(
            "invented",
            "boolean",
            "Whether it is made up, as a demonstration's is.",
            lambda row: row.dossier.invented,
        ),
        Column("kiln", "string", "Id of the kiln.", lambda row: row.record.kiln),
        Column("schedule", "string", "Id of the schedule.", lambda row: row.record.schedule),
        Column(
            "schedule_revision",
            "integer",
            "Its revision.",
            lambda row: row.record.schedule_revision,
        ),
        Column(
            "species",
            "string",
            "Id of the first species stacked.",
            lambda row: row.record.stock[0].species,
        ),
        Column(
            "thickness_mm",
            "number",
            "Thickness of the first stock.",
            lambda row: row.record.stock[0].thickness.value,
            "mm",
        ),
        Column(
            "volume_m3",
            "number",
            "Volume loaded.",
            lambda row: round(sum(one.volume.value for one in row.record.stock), 3),
            "m³",
        ),
        Column("started", "datetime", "When heating began.", lambda row: row.dossier.started),
        Column("ended", "datetime", "When drying ended.", lambda row: row.dossier.ended),
        Column(
            "days",
            "number",
            "From start to end.",
            lambda row: round((row.dossier.ended - row.dossier.started).total_seconds() / 86400, 2),
            "d",
        ),
        Column(
            "target_mc_pct", "number", "MC aimed at.", lambda row: row.dossier.target_mc_pct, "%"
        ),
        Column(
            "final_mean_mc_pct", "number", "Mean of the final survey.", _survey("mean_pct"), "%"
        ),
        Column(
            "final_sd_mc_pct",
            "number",
            "Standard deviation of the final survey.",
            _survey("sd_pct"),
            "%",
        ),
        Column("readings", "integer", "Readings of the final survey.", _survey("n")),
        Column("water_kg", "number", "Water removed.", _water("water_kg"), "kg"),
        Column("energy_kwh", "number", "Energy metered.", _water("metered_kwh"), "kWh"),
        Column("fails", "integer", "Findings that fail.", _count("fail")),
        Column("questions", "integer", "Findings that ask for an answer.", _count("question")),
    ),
    ("charge",),
    of_charges=lambda charge: iter([charge]),
)

_BOARDS = Table(
    "boards",
    "Sample boards.",
    (
        _charge(),
        _part("board", "string", "The board's tag.", attribute="id"),
        _part("species", "string", "Id of its species."),
        _part("position", "string", "Where in the stack it lay."),
        _part("chosen_as", "string", "Why it was chosen."),
        _part("start_mc_pct", "number", "Mean MC of its sections.", "%", "section_mean_mc_pct"),
        _part("green_g", "number", "Mass when cut.", "g"),
        _part("oven_dry_g", "number", "Oven-dry mass, calculated.", "g"),
        _part("oven_dry_uncertainty_g", "number", "Its standard uncertainty.", "g"),
        _part("safe_daily_loss_pct", "number", "Limit of its loss a day. [points/d]"),
        _part("fastest_daily_loss_pct", "number", "Its fastest loss a day. [points/d]"),
    ),
    ("charge", "board"),
    of_charges=lambda charge: (_Row(charge, board) for board in charge.dossier.boards),
)

_WEIGHINGS = Table(
    "weighings",
    "Each weighing of each sample board.",
    (
        _charge(),
        Column("board", "string", "The board's tag.", lambda row: row.board.id),
        _part("at", "datetime", "When it was weighed."),
        _part("mass_g", "number", "Mass.", "g"),
        _part("mc_pct", "number", "MC.", "%"),
        _part("mc_uncertainty_pct", "number", "Its standard uncertainty.", "%"),
        _part("daily_loss_pct", "number", "Loss since the weighing before. [points/d]"),
    ),
    ("charge", "board", "at"),
    of_charges=lambda charge: (
        _Row(charge, point, board) for board in charge.dossier.boards for point in board.points
    ),
)

_AIR = Table(
    "air",
    "The air of the kiln, averaged over equal times.",
    (
        _charge(),
        _part("at", "datetime", "Middle of the time."),
        _part("dry_bulb_c", "number", "Dry bulb.", "°C"),
        _part("wet_bulb_c", "number", "Wet bulb.", "°C"),
        _part("relative_humidity_pct", "number", "Relative humidity.", "%"),
        _part("emc_pct", "number", "EMC.", "%"),
        _part("emc_uncertainty_pct", "number", "Its standard uncertainty.", "%"),
    ),
    ("charge", "at"),
    of_charges=lambda charge: (
        _Row(charge, point) for point in (charge.dossier.log.air if charge.dossier.log else ())
    ),
)

_STEPS = Table(
    "steps",
    "Each change of step.",
    (
        _charge(),
        Column("number", "integer", "Which change, from 1.", lambda row: row.number),
        _part("at", "datetime", "When it was made."),
        _part("step", "integer", "The step that began."),
        _part("trigger_pct", "number", "Controlling MC at which it was due.", "%"),
        _part("controlling_pct", "number", "Controlling MC at that time.", "%"),
        _part("early_by_pct", "number", "How much above the trigger; below where negative.", "%"),
        _part("verdict", "string", "due, early or late."),
    ),
    ("charge", "number"),
    of_charges=lambda charge: (
        _Row(charge, step, number=number) for number, step in enumerate(charge.dossier.steps, 1)
    ),
)

_READINGS = Table(
    "readings",
    "Readings of the final survey, corrected.",
    (
        _charge(),
        Column("number", "integer", "Which reading, from 1.", lambda row: row.number),
        Column("pack", "string", "Pack it was taken in.", lambda row: row.part[1] or None),
        Column("position", "string", "Where in the load.", lambda row: row.part[2] or None),
        Column("mc_pct", "number", "MC.", lambda row: row.part[0], "%"),
    ),
    ("charge", "number"),
    of_charges=lambda charge: (
        (
            _Row(charge, reading, number=number)
            for number, reading in enumerate(
                zip(survey.readings, survey.packs, survey.positions, strict=True), 1
            )
        )
        if (survey := charge.dossier.survey)
        else iter(())
    ),
)


def _findings(of: str) -> Table:
    owner = Column(of, "string", f"Number of the {of}.", lambda row: getattr(row.owner.dossier, of))
    rows: Callable[[Any], Iterator[_Row]] = lambda source: (  # noqa: E731  used twice below
        _Row(source, finding, number=number)
        for number, finding in enumerate(source.dossier.findings, 1)
    )
    return Table(
        f"{of}_findings",
        f"What the checks say of each {of}.",
        (
            owner,
            Column("number", "integer", "Which finding, from 1.", lambda row: row.number),
            _part("check", "string", "The check."),
            _part(
                "outcome", "string", "pass, question, fail, no data, not applicable or answered."
            ),
            _part("message", "string", "What it found."),
            _part("at", "datetime", "When, where it is a moment."),
            _part("value", "number", "What was found."),
            _part("limit", "number", "Its limit."),
            _part("unit", "string", "The unit of both."),
            Column(
                "answered_by",
                "string",
                "Who answered it.",
                lambda row: row.part.answered_by or None,
                mill_only=True,
            ),
        ),
        (of, "number"),
        **{f"of_{of}s": rows},
    )


_LOTS = Table(
    "lots",
    "Complete lots, with what was ordered and what was found.",
    (
        Column(
            "lot", "string", "Number of the lot.", lambda row: row.record.id, customer=(Lot, "id")
        ),
        Column(
            "product",
            "string",
            "What it is.",
            lambda row: row.record.product,
            customer=(Lot, "product"),
        ),
        Column(
            "species",
            "string",
            "Id of the species.",
            lambda row: row.record.species,
            customer=(Lot, "species"),
        ),
        Column(
            "thickness_mm",
            "number",
            "Thickness sold.",
            lambda row: row.record.thickness.value,
            "mm",
            customer=(Lot, "thickness"),
        ),
        Column(
            "target_mc_pct",
            "number",
            "MC ordered.",
            lambda row: row.record.order.target_mc.value,
            "%",
            customer=(Order, "target_mc"),
        ),
        Column(
            "meets_order",
            "boolean",
            "Whether it meets the order; empty where not assessed.",
            lambda row: row.dossier.judgement.met,
            customer=(Assessment, "met"),
        ),
        Column(
            "mean_mc_pct",
            "number",
            "Mean MC.",
            lambda row: row.dossier.judgement.mean_pct,
            "%",
            customer=(Assessment, "mean_pct"),
        ),
        Column(
            "readings",
            "integer",
            "Readings behind it.",
            lambda row: row.dossier.judgement.n,
            customer=(Assessment, "n"),
        ),
        Column(
            "heat_treatment_shown",
            "boolean",
            "Whether the record shows the heat treatment asked.",
            lambda row: row.dossier.heat_treated,
            customer=(LotDossier, "heat_treated"),
        ),
        Column(
            "issued",
            "date",
            "Day its record was issued.",
            lambda row: row.record.issued,
            customer=(Lot, "issued"),
        ),
        Column(
            "version",
            "integer",
            "Version of its record.",
            lambda row: row.record.version,
            customer=(Lot, "version"),
        ),
        Column(
            "shipped", "datetime", "When it left.", lambda row: row.record.shipped, mill_only=True
        ),
        Column(
            "customer",
            "string",
            "Who ordered it.",
            lambda row: row.record.customer.name if row.record.customer else None,
            mill_only=True,
        ),
    ),
    ("lot",),
    of_lots=lambda lot: iter([lot]),
)

_PACKS = Table(
    "packs",
    "The packs of each lot.",
    (
        Column(
            "lot",
            "string",
            "Number of the lot.",
            lambda row: row.owner.record.id,
            customer=(Lot, "id"),
        ),
        Column(
            "pack",
            "string",
            "Number of the pack.",
            lambda row: row.part.number,
            customer=(Pack, "number"),
        ),
        Column("charge", "string", "The charge it was dried in.", lambda row: row.part.charge),
        Column(
            "pieces",
            "integer",
            "Pieces in it.",
            lambda row: row.part.pieces,
            customer=(Pack, "pieces"),
        ),
        Column(
            "volume_m3",
            "number",
            "Its volume.",
            lambda row: row.part.volume.value,
            "m³",
            customer=(Pack, "volume"),
        ),
    ),
    ("lot", "pack"),
    of_lots=lambda lot: (_Row(lot, pack) for pack in lot.record.packs),
)

#: Every table by name. A table comes after those that its keys refer to.
TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        _CHARGES,
        _BOARDS,
        _WEIGHINGS,
        _AIR,
        _STEPS,
        _READINGS,
        _findings("charge"),
        _LOTS,
        _PACKS,
        _findings("lot"),
    )
}


def tables_in(edition: Edition) -> dict[str, Table]:
    """Return the tables of which an edition may show a column besides the key."""
    return {
        name: table
        for name, table in TABLES.items()
        if {one.name for one in table.columns_in(edition)} > set(table.key)
    }


def rows_of(
    table: Table,
    charges: Iterator[ChargeSource],
    lots: Iterator[LotSource],
    edition: Edition = "mill",
) -> Iterator[tuple[object, ...]]:
    """Yield the rows of a table, with the columns that an edition may show."""
    columns = table.columns_in(edition)
    if table.of_charges:
        sources = (row for charge in charges for row in table.of_charges(charge))
    else:
        assert table.of_lots is not None
        make = table.of_lots
        sources = (row for lot in lots for row in make(lot))
    for row in sources:
        yield tuple(column.get(row) for column in columns)
