"""The mill's library: species, schedules with their modifications, limits of the wood."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from kilnfolio.physics.air import pressure_at_altitude
from kilnfolio.records.notation import Notation, expand
from kilnfolio.records.schedule import Air, Schedule
from kilnfolio.records.setpoints import AirState, PlannedStep, planned_steps, resolve
from kilnfolio.records.species import Species
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import read_yaml

#: Altitude of the invented mill [m].
ALTITUDE_M = 310.0


@dataclass(frozen=True)
class Library:
    """Species and schedules by id, read once from ``schedules/``."""

    species: dict[str, Species]
    schedules: dict[str, Schedule]
    notation: Notation
    pressure_pa: float

    def steps(self, schedule_id: str) -> tuple[PlannedStep, ...]:
        """Return a schedule's steps, with their air at the mill's pressure."""
        schedule = self.schedules[schedule_id]
        written = tuple(schedule.steps) or expand(str(schedule.notation), self.notation)
        return planned_steps(schedule, written, self.pressure_pa)

    def treatment(self, schedule_id: str, stage: str, target_pct: float) -> AirState:
        """Return equalizing or conditioning air: the schedule's own at its target, else by rule.

        By the rule, equalizing has an EMC two points below the target, and conditioning four points
        above it for a hardwood and three for a softwood, both at the last step's dry bulb (USDA
        AH-188, ch. 7, from memory).
        """
        schedule = self.schedules[schedule_id]
        own = getattr(schedule, stage)
        if own is not None and schedule.target_mc and schedule.target_mc.value == target_pct:
            return resolve(own, self.pressure_pa)
        hard = self.species[schedule.for_stock.species[0]].kind == "hardwood"
        emc = target_pct + (-2.0 if stage == "equalizing" else 4.0 if hard else 3.0)
        last = self.steps(schedule_id)[-1].air.dry_bulb_c
        return resolve(Air(dry_bulb=f"{last} °C", emc=f"{emc} %"), self.pressure_pa)


def read_library(schedules: Path) -> Library:
    """Read every species, schedule and the notation below a folder."""

    def every(folder: str, model: type) -> dict:
        found = (
            validate(read_yaml(path, path.name), model).record
            for path in sorted((schedules / folder).glob("*.yaml"))
        )
        return {record.id: record for record in found}

    return Library(
        every("species", Species),
        every("hardwood", Schedule) | every("softwood", Schedule),
        next(iter(every("notations", Notation).values())),
        pressure_at_altitude(ALTITUDE_M),
    )
