"""The kiln-side sheet: one page to hang at the kiln, for a charge with sample boards.

It gives the air of each step and, for every board, the mass at which the step falls due, so that
the person at the scale need not calculate anything. There is room to note what was done and when.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from jinja2 import Environment

from kilnfolio.handbook.cautions import Caution, read_cautions
from kilnfolio.physics.moisture import mass_at
from kilnfolio.physics.rules import equalizing_emc, equalizing_start
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.quantities import (
    Mass,
    Percent,
    Temperature,
    TemperatureDifference,
)
from kilnfolio.records.schedule import Schedule, Treatment
from kilnfolio.records.setpoints import (
    AirState,
    PlannedStep,
    air_with_emc,
    first_step,
    mill_pressure,
    possible_steps,
    resolve,
)
from kilnfolio.rendering.regional import RegionalFormat, regional_format
from kilnfolio.review.boards import BoardHistory, board_histories, controls
from kilnfolio.review.figures import customary, measure, metric, number
from kilnfolio.review.formulas import FORMULAS
from kilnfolio.review.limits import LimitTable, Subject, limit_table
from kilnfolio.review.stages import conditioning_rule
from kilnfolio.review.working import evaluate
from kilnfolio.runtime.files import write_whole
from kilnfolio.runtime.values import dataclass

if TYPE_CHECKING:
    from kilnfolio.paper.rounds import Rounds

Paper = Literal["a4", "letter"]
PAPERS: tuple[Paper, ...] = ("a4", "letter")
#: Hazards of work at a kiln, as keys of the mill's cautions.
_HAZARDS = ("entrapment", "heat-stress", "steam")
#: Classes for the height of rows, highest first; figures keep their size.
_ROOM = ("wide", "roomy", "close", "tight")
_MASS_DECIMALS = {"g": 0, "kg": 3, "lb": 2, "oz": 1}
#: Decimals of an oven-dry mass used in a calculation.
_WORKED = {"g": 1, "kg": 4, "lb": 3, "oz": 2}


class SheetTooLongError(ValueError):
    """The steps and boards do not fit on one page."""


@dataclass(frozen=True)
class SheetStep:
    """A line of set-points, with every figure formatted."""

    label: str
    due: str
    dry_bulb: tuple[str, str]
    wet_bulb: tuple[str, str]
    depression: tuple[str, str]
    humidity: str
    emc: str


@dataclass(frozen=True)
class Due:
    """An MC at which a change falls due."""

    label: str
    mc_pct: float
    mc: str


@dataclass(frozen=True)
class SheetBoard:
    """A sample board's line: the mass at which each change falls due."""

    tag: str
    position: str
    unit: str
    oven_dry: str
    masses: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
    """The contents of the page."""

    charge: str
    kiln: str
    timber: Sequence[str]
    target: str
    schedule: str
    draft: bool
    control_rule: str
    time_based: bool
    equalized: bool
    steps: Sequence[SheetStep]
    due: Sequence[Due]
    boards: Sequence[SheetBoard]
    worked: str
    """The working of the first mass."""
    cautions: Sequence[Caution]
    rounds: Rounds | None = None
    """For an open charge: its state, what is expected, past rounds and free columns."""


def kiln_sheet(folder: MillFolder, charge_id: str) -> Sheet:
    """Return the kiln-side sheet of a charge.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    charge_id : str
        The charge. Sample boards with their sections are enough: it needs no log and need not be
        complete.

    Raises
    ------
    KeyError
        If there is no such charge.
    RecordProblems
        Its schedule asks for air that cannot be.
    """
    running = folder.open_charges.get(charge_id)
    charge = ((running and running.so_far) or folder.charges[charge_id]).record
    located = folder.schedules[charge.schedule]
    pressure = mill_pressure(folder)
    regional = regional_format(folder.mill.record)
    planned = possible_steps(folder, located, pressure)
    everyone = board_histories(charge)
    steps = _from_present_mc(charge, regional.steps_as_set(planned, pressure), everyone)
    limits = _limits(folder, charge)
    due = [*_steps_due(steps), *_ends_due(charge, located.record, limits)]
    cautions = read_cautions(folder.root)[0]
    histories = [history for history in everyone if history.sections]
    boards = [
        _board(history, due) if history.sections else _in_the_oven(history, due)
        for history in everyone
    ]
    return Sheet(
        charge.id,
        folder.kilns[charge.kiln].record.name,
        [
            f"{folder.species[stock.species].record.trade_name}, "
            f"{regional.side_by_side(stock.thickness)}, {regional.side_by_side(stock.volume)}"
            for stock in charge.stock
        ],
        f"{charge.target_mc.value:g} %",
        f"{located.record.title}, revision {charge.schedule_revision}",
        located.record.approved is None,
        charge.control_rule,
        located.record.time_based,
        _equalized(located.record),
        [
            *_step_lines(regional, steps),
            *_end_lines(regional, charge, located.record, limits, steps[-1], pressure),
        ],
        due,
        boards,
        _worked(histories[0], _board(histories[0], due), due[0]) if histories and due else "",
        [cautions[key] for key in _HAZARDS if key in cautions],
        _rounds(folder, charge) if running else None,
    )


def _rounds(folder: MillFolder, charge: Charge) -> Rounds | None:
    """Return the rounds of an open charge; None for any other."""
    from kilnfolio.paper.rounds import rounds_of

    return rounds_of(folder, charge)


def sheet_html(sheet: Sheet, env: Environment, paper: Paper, room: str) -> str:
    """Return the sheet as an HTML document."""
    from kilnfolio import __version__

    # the more masses a board has, the fewer weighings fit beside them
    weighings = max(2, 9 - len(sheet.due))
    return env.get_template("sheet.html").render(
        sheet=sheet, paper=paper, room=room, weighings=min(weighings, 5), version=__version__
    )


def write_sheet(sheet: Sheet, env: Environment, out_path: Path, paper: Paper = "a4") -> list[str]:
    """Write a sheet as a PDF: a page to hang at the kiln, then the rounds of an open charge.

    Parameters
    ----------
    sheet : Sheet
        From `kiln_sheet`.
    env : Environment
        From `templating.environment`.
    out_path : Path
        Path of the PDF.
    paper : {"a4", "letter"}
        Paper size.

    Returns
    -------
    list of str
        WeasyPrint's warnings.

    Raises
    ------
    SheetTooLongError
        If there are too many boards or steps for one page.
    """
    from kilnfolio.paper.printing import (
        pdf_of,  # imported here because it is slow and only needed for layout
    )

    for room in _ROOM:
        pages: list[int] = []
        pdf, warnings = pdf_of(
            sheet_html(sheet, env, paper, room),
            "sheet.css",
            finisher=lambda document, _, seen=pages: seen.append(len(document.pages)),
        )
        if pages == [1 + (len(sheet.rounds.pages) if sheet.rounds else 0)]:
            write_whole(out_path, pdf)
            return warnings
    raise SheetTooLongError(
        f"{len(sheet.boards)} boards and {len(sheet.steps)} lines of set-points do not go on one "
        f"{'A4' if paper == 'a4' else 'Letter'} page at a size that can be read"
    )


# --- set-points -----------------------------------------------------------------------------------


def _limits(folder: MillFolder, charge: Charge) -> LimitTable:
    species = [folder.species[stock.species].record for stock in charge.stock]
    return limit_table(
        folder,
        Subject(
            tuple(one.id for one in species),
            species[0].kind,
            charge.stock[0].thickness.value,
            charge.target_mc.value,
        ),
    )


def _from_present_mc(
    charge: Charge, steps: Sequence[PlannedStep], histories: Sequence[BoardHistory]
) -> Sequence[PlannedStep]:
    """Return the steps still to run: air-dried timber begins at the one for its present MC."""
    known = [history for history in histories if history.points]
    control = controls(charge, known) if known else []
    return steps[first_step(charge, steps, control[0].mc_pct if control else None) - 1 :]


def _step_lines(regional: RegionalFormat, steps: Sequence[PlannedStep]) -> Iterator[SheetStep]:
    for step in steps:
        if step is steps[0]:
            due = "start"
        elif step.from_mc_pct is not None:
            due = measure(step.from_mc_pct, "%", 0 if step.from_mc_pct.is_integer() else 1)
        else:
            before = steps[step.number - 2].hours
            due = f"after {before:g} h of step {step.number - 1}" if before else ""
        yield _line(regional, str(step.number), due, step.air)


def _line(regional: RegionalFormat, label: str, due: str, air: AirState) -> SheetStep:
    return SheetStep(
        label,
        due,
        _both(regional, air.dry_bulb_c, Temperature),
        _both(regional, air.wet_bulb_c, Temperature),
        _both(regional, air.depression_k, TemperatureDifference),
        measure(air.relative_humidity_pct, "%", 0),
        measure(air.emc_pct, "%", 1),
    )


def _both(
    regional: RegionalFormat, value: float, dimension: type[Temperature | TemperatureDifference]
) -> tuple[str, str]:
    return regional.ordered(metric(value, dimension), customary(value, dimension))


def _end_lines(
    regional: RegionalFormat,
    charge: Charge,
    schedule: Schedule,
    limits: LimitTable,
    last: PlannedStep,
    pressure_pa: float,
) -> Iterator[SheetStep]:
    """Yield equalizing and conditioning, from the schedule or else by the mill's rule."""
    if not _equalized(schedule):
        return
    target = charge.target_mc.value
    begin = float(equalizing_start(target, limits.value("equalizing-below-target")))
    stages = (
        (
            "equalizing",
            f"driest {begin:g} %",
            float(equalizing_emc(target, limits.value("equalizing-below-target"))),
        ),
        (
            "conditioning",
            f"wettest {target:g} %",
            conditioning_rule(limits, target),
        ),
    )
    for name, due, emc in stages:
        written: Treatment | None = getattr(schedule, name)
        if written and schedule.target_mc and schedule.target_mc.value == target:
            air: AirState | None = resolve(written, pressure_pa)
        else:  # hot air cannot hold the EMC for a high target
            air = air_with_emc(last.air.dry_bulb_c, emc, pressure_pa)
        if air:
            state = regional.as_set(air, pressure_pa)
            yield _line(regional, regional.term(name), due, state)


def _equalized(schedule: Schedule) -> bool:
    """Return whether a schedule equalizes: always if run by MC, otherwise if it says so."""
    return bool(schedule.equalizing) or not schedule.time_based


# --- boards ---------------------------------------------------------------------------------------


def _steps_due(steps: Sequence[PlannedStep]) -> Iterator[Due]:
    for step in steps:
        if step is not steps[0] and step.from_mc_pct is not None:
            yield Due(f"step {step.number}", step.from_mc_pct, f"{step.from_mc_pct:g} %")


def _ends_due(charge: Charge, schedule: Schedule, limits: LimitTable) -> Iterator[Due]:
    target = charge.target_mc.value
    if _equalized(schedule):
        begin = float(equalizing_start(target, limits.value("equalizing-below-target")))
        yield Due("equalize", begin, f"{begin:g} %")
    yield Due("target", target, f"{target:g} %")


def _worked(history: BoardHistory, board: SheetBoard, due: Due) -> str:
    """Return the working of a board's first mass, as an example for the others."""
    shown = f"{history.oven_dry_g / Mass.units[board.unit](1.0):.{_WORKED[board.unit]}f}"
    # from the mass as printed, so that anybody who recalculates it gets the same
    values = {
        "oven_dry_mass": Mass.parse(f"{shown} {board.unit}"),
        "mc": Percent(due.mc_pct, f"{due.mc_pct:g} %"),
    }
    made = evaluate(FORMULAS["mass_at"], "", values).working
    return f"{board.tag}, {due.label}: {made.substituted} = {made.result}"


def _in_the_oven(history: BoardHistory, due: Sequence[Due]) -> SheetBoard:
    """Return the line of a board whose sections are still in the oven: blank instead of masses."""
    return SheetBoard(
        history.board.id, history.board.position or "", "", "in the oven", ("",) * len(due)
    )


def _board(history: BoardHistory, due: Sequence[Due]) -> SheetBoard:
    entered = history.board.green_mass.entered.split()[-1].lstrip("0123456789.").rstrip(".")
    unit = entered if entered in _MASS_DECIMALS and len(due) else "g"
    if " " in history.board.green_mass.entered and unit == "oz":
        # for pounds and ounces, decimal pounds are easier to compare with a scale's display
        unit = "lb"
    dry = history.oven_dry_g

    def shown(mass_g: float) -> str:
        return number(mass_g / Mass.units[unit](1.0), _MASS_DECIMALS[unit])

    return SheetBoard(
        history.board.id,
        history.board.position or "",
        unit,
        shown(dry),
        tuple(shown(float(mass_at(dry, one.mc_pct))) for one in due),
    )
