"""The operator: weighs, works out MCs as on the sheet, changes steps, equalizes, conditions.

The operator knows the sections and the masses, not the true MCs. Steps follow the mean MC of the
wettest half (the larger half of an odd number), never twice within a day, and the dry bulb is not
raised above the species' ceiling while the wettest board is still wet.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import numpy as np

from demo.instruments import CutSection, transposed, weigh
from demo.kiln_run import KilnRun
from demo.library import Library
from demo.plans import ChargePlan
from kilnfolio.physics.moisture import controlling_moisture_content
from kilnfolio.records.setpoints import AirState

DAY = 1440
#: Largest distance of the driest board from target − 2 when equalizing starts [points].
START_MARGIN = 0.4

#: How far below the target the wettest board must be before equalizing ends [points].
SPARE = 0.2


@dataclass(frozen=True)
class SampleBoard:
    """A sample board as on the sheet."""

    id: str
    sections: tuple[CutSection, CutSection]
    green_g: int
    position: str
    side: str
    chosen_as: str

    @property
    def oven_dry_g(self) -> int:
        """Oven-dry mass from the sections' mean MC, to the gram."""
        mean = float(np.mean([section.mc_pct for section in self.sections]))
        return round(self.green_g / (1.0 + mean / 100.0))


@dataclass
class Round:
    """A round of weighings as written."""

    minute: float
    by: str
    masses: dict[str, int]
    stated: dict[str, float]
    controlling: float
    energy_kwh: float
    """Used since the start. [kWh]"""

    @property
    def wettest(self) -> float:
        """MC of the wettest board on the sheet [%]."""
        return max(self.stated.values())

    @property
    def driest(self) -> float:
        """MC of the driest board on the sheet [%]."""
        return min(self.stated.values())


@dataclass
class StageRun:
    """Equalizing or conditioning as run."""

    start: float
    end: float
    air: AirState


@dataclass
class Sheet:
    """Everything the operator wrote down."""

    rounds: list[Round] = field(default_factory=list)
    steps: list[tuple[float, int, str | None]] = field(default_factory=list)
    equalizing: StageRun | None = None
    conditioning: StageRun | None = None
    ended: float = 0.0
    #: Effects of the planted fault, for the truth file.
    planted: dict[str, object] = field(default_factory=dict)


class Operator:
    """Runs one charge to its end; see `run`."""

    def __init__(
        self,
        plan: ChargePlan,
        library: Library,
        run: KilnRun,
        samples: list[SampleBoard],
        crew: tuple[str, ...],
        zone: ZoneInfo,
        chance: np.random.Generator,
    ):
        self.plan, self.library, self.kiln = plan, library, run
        self.samples, self.crew, self.zone, self.chance = samples, crew, zone, chance
        self.steps = library.steps(plan.schedule)
        self.timed = library.schedules[plan.schedule].time_based
        species = library.species[plan.species]
        self.refractory = species.refractory
        self.ceiling = species.ceiling_while_wet
        self.sheet = Sheet()
        self.step = plan.first_step
        self.stepped_at = 0.0

    def run(self) -> Sheet:
        """Run the charge and return the sheet."""
        self._set_step(
            0.0,
            self.step,
            "air-dried stock: begun at the step for its present MC" if self.step > 1 else None,
        )
        if self.timed:
            self._drying_by_the_clock()
        else:
            self._drying_by_the_boards()
        if self._equalizes():
            self._equalize()
            self._condition()
        return self.sheet

    def _equalizes(self) -> bool:
        schedule = self.library.schedules[self.plan.schedule]
        return not self.timed or (
            schedule.equalizing is not None and self.plan.heat_treatment is None
        )

    # --- drying ----------------------------------------------------------------------------------

    def _drying_by_the_boards(self) -> None:
        minute = self._routine(0.0)
        while True:
            written = self._weigh(minute)
            if self._equalizing_is_due(written):
                return
            self._step_if_due(written)
            minute = self._next(written)

    def _drying_by_the_clock(self) -> None:
        start = 0.0
        for planned in self.steps:
            if planned.number > 1:
                self.kiln.advance(start)
                self._set_step(start, planned.number, None)
            end = start + 60.0 * planned.hours
            minute = self._routine(start)
            while minute < end - 15:
                self._weigh(minute)
                minute = self._routine(minute)
            start = end
        if self._equalizes():
            # the last step runs until the driest board is due
            written = self._weigh(start - 15.0)
            while not self._equalizing_is_due(written):
                written = self._weigh(self._next(written))
        else:
            self._weigh(start - 10.0)
            self.sheet.ended = start

    def _set_step(self, minute: float, number: int, reason: str | None) -> None:
        self.kiln.advance(minute)
        self.kiln.ask(self.steps[number - 1].air)
        self.sheet.steps.append((minute, number, reason))
        self.step, self.stepped_at = number, minute

    def _step_if_due(self, written: Round) -> None:
        trigger = self.steps[self.step - 1].until_mc_pct
        if trigger is None or written.controlling > trigger + self._early(written, trigger):
            return
        hotter = self.steps[self.step].air.dry_bulb_c
        if (
            self.ceiling
            and hotter > self.ceiling.dry_bulb.value + 0.1
            and written.wettest > self.ceiling.while_above.value - 0.1
        ):
            return
        minute = written.minute + float(self.chance.integers(15, 35))
        earliest = self.stepped_at + DAY + 5
        if minute < earliest:
            if earliest - minute > 150:
                return
            minute = earliest + float(self.chance.integers(0, 10))
        self._set_step(minute, self.step + 1, None)

    def _early(self, written: Round, trigger: float) -> float:
        """Return how far above the trigger this operator changes the step: 0 unless planted."""
        fault = self.plan.fault
        if (
            not fault
            or fault.kind != "early step"
            or "step" in self.sheet.planted
            or written.minute < fault.day * DAY
        ):
            return 0.0
        above = written.controlling - trigger
        if fault.size - 0.7 <= above <= fault.size + 0.5:
            self.sheet.planted |= {
                "step": self.step + 1,
                "trigger": trigger,
                "controlling": written.controlling,
                "minute": written.minute,
            }
            return fault.size + 0.5
        return 0.0

    def _equalizing_is_due(self, written: Round) -> bool:
        start = self.plan.target_mc - 2.0
        if written.driest <= start + 0.2:
            return True
        # a little early rather than late: at the next round it may be too dry
        soon = (
            written.driest
            - self._driest_loss() * (self._routine(written.minute) - written.minute) / DAY
        )
        return written.driest <= start + START_MARGIN and soon < start - START_MARGIN

    def _driest_loss(self) -> float:
        """Return the driest board's loss between the last two rounds [points a day]."""
        if len(self.sheet.rounds) < 2:
            return 0.0
        before, last = self.sheet.rounds[-2:]
        name = min(last.stated, key=last.stated.__getitem__)
        return max(
            0.0, (before.stated[name] - last.stated[name]) / (last.minute - before.minute) * DAY
        )

    def _next(self, written: Round) -> float:
        """Return when to weigh next: by routine, or earlier if the driest board is nearly due."""
        routine = self._routine(written.minute)
        loss = self._driest_loss()
        over = written.driest - (self.plan.target_mc - 2.0)
        if loss <= 0.0 or over <= 0.0:
            return routine
        due = written.minute + over / loss * DAY * 0.95
        if due > routine + 90:
            return routine
        return max(written.minute + 150.0, self._awake(due) + float(self.chance.integers(1, 9)))

    def _awake(self, minute: float) -> float:
        """Return a minute moved out of the night, to the last round of the evening or the first."""
        local = self._local(minute)
        late = local.hour - 24 if local.hour >= 23 else local.hour
        if late >= 5:
            return minute
        hours = late + local.minute / 60.0
        return minute - 60.0 * (hours + 1.4 if late < 2 else hours - 5.1)

    # --- the end ---------------------------------------------------------------------------------

    def _equalize(self) -> None:
        start = self.sheet.rounds[-1].minute + 20.0
        air = self.library.treatment(self.plan.schedule, "equalizing", self.plan.target_mc)
        self.kiln.advance(start)
        self.kiln.ask(air)
        fault = self.plan.fault
        if fault and fault.kind == "equalizing cut short":
            # a fixed number of hours, whatever the boards show
            written = self._weigh(start + 60.0 * fault.hours - 25.0)
            self.sheet.planted |= {"wettest": written.wettest, "minute": written.minute}
        else:
            written = self.sheet.rounds[-1]
            # with a margin, because conditioning adds water and the sheet is rounded
            while written.wettest > self.plan.target_mc - SPARE or written.minute < start + 300:
                written = self._weigh(self._routine(written.minute, twice=True))
        self.sheet.equalizing = StageRun(start, written.minute + 25.0, air)

    def _condition(self) -> None:
        start = self.sheet.equalizing.end
        air = self.library.treatment(self.plan.schedule, "conditioning", self.plan.target_mc)
        self.kiln.advance(start)
        self.kiln.ask(air)
        end = self._morning(start + 60.0 * self.plan.conditioning_hours)
        self._weigh(end - 12.0)
        self.sheet.conditioning = StageRun(start, end, air)
        self.sheet.ended = end
        self.kiln.advance(end)

    def _morning(self, minute: float) -> float:
        """Return the minute, or 05:20 the next morning if it is at night."""
        local = self._local(minute)
        if 5 <= local.hour < 23:
            return minute
        return minute + ((29 - local.hour) % 24 * 60 - local.minute + 20)

    # --- weighing --------------------------------------------------------------------------------

    def _routine(self, after: float, *, twice: bool = False) -> float:
        """Return the next routine round: every morning, and every evening while it matters."""
        latest = self.sheet.rounds[-1] if self.sheet.rounds else None
        wet = latest is None or latest.wettest > 30.0
        fast = latest is not None and len(self.sheet.rounds) > 1 and self._driest_loss() > 4.0
        hours = (7, 19) if twice or (self.refractory and wet) or fast or self.timed else (7,)
        begun = self.plan.started
        now = self._local(after + 240)
        for day in range(3):
            for hour in hours:
                wall = dt.datetime.combine(
                    now.date() + dt.timedelta(days=day), dt.time(hour, 0), self.zone
                )
                if wall > now:
                    spread = int(self.chance.integers(2, 19))
                    return (wall.timestamp() - begun.timestamp()) / 60.0 + spread
        raise AssertionError("a morning comes within three days")

    def _local(self, minute: float) -> dt.datetime:
        return (self.plan.started.astimezone(dt.UTC) + dt.timedelta(minutes=minute)).astimezone(
            self.zone
        )

    def _weigh(self, minute: float) -> Round:
        self.kiln.advance(minute)
        masses = self.kiln.boards.mass_g[self.kiln.samples]
        shown = {
            board.id: weigh(float(mass), self.chance)
            for board, mass in zip(self.samples, masses, strict=True)
        }
        self._misread(minute, shown)
        stated = {board.id: self._mc(board, shown[board.id]) for board in self.samples}
        self._slip(minute, stated)
        controlling = round(float(controlling_moisture_content(list(stated.values()))) + 1e-9, 1)
        energy = self.kiln.chamber.energy_kwh
        written = Round(minute, self._who(minute), shown, stated, controlling, energy)
        self.sheet.rounds.append(written)
        return written

    def _mc(self, board: SampleBoard, mass: int) -> float:
        return round(100.0 * (mass - board.oven_dry_g) / board.oven_dry_g + 1e-9, 1)

    def _who(self, minute: float) -> str:
        local = self._local(minute)
        return self.crew[(local.toordinal() // 4 + (local.hour > 14)) % len(self.crew)]

    # --- planted slips ---------------------------------------------------------------------------

    def _planted(self, minute: float, kind: str) -> bool:
        fault = self.plan.fault
        return bool(
            fault
            and fault.kind == kind
            and "board" not in self.sheet.planted
            and minute >= fault.day * DAY
            and len(self.sheet.rounds) > 1
        )

    def _misread(self, minute: float, shown: dict[str, int]) -> None:
        """Write a mass with two digits swapped, so that the next one looks like a gain."""
        if not self._planted(minute, "mis-weighed board"):
            return
        before = self.sheet.rounds[-1]
        drier = sorted(self.samples, key=lambda board: before.stated[board.id])
        for board in drier[: len(drier) // 2]:
            mass = shown[board.id]
            loss = before.masses[board.id] - mass
            if loss <= 0:
                continue
            wrong = transposed(mass, 1.3 * loss + 0.008 * mass, 1.05 * board.oven_dry_g)
            if wrong is not None and mass - wrong < 0.06 * mass:
                shown[board.id] = wrong
                self.sheet.planted |= {
                    "board": board.id,
                    "minute": minute,
                    "written_g": wrong,
                    "scale_showed_g": mass,
                }
                return

    def _slip(self, minute: float, stated: dict[str, float]) -> None:
        """Write a board's MC wrong by a slip in subtraction, although its mass is right."""
        if not self._planted(minute, "arithmetic slip"):
            return
        board = max(stated, key=stated.__getitem__)
        right = stated[board]
        stated[board] = round(right + self.plan.fault.size, 1)
        self.sheet.planted |= {
            "board": board,
            "minute": minute,
            "written_pct": stated[board],
            "right_pct": right,
        }
