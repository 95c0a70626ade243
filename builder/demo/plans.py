"""Plans of charges and lots, before random variation."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Literal

FaultKind = Literal[
    "dry wick",
    "stopped fan",
    "mis-weighed board",
    "arithmetic slip",
    "cold core",
    "small survey",
    "early step",
    "equalizing cut short",
]


@dataclass(frozen=True)
class Fault:
    """A fault in a charge, and when it occurs.

    Attributes
    ----------
    kind : str
        The kind of fault.
    day : float
        Days from the start of heating until it begins, if the time can be chosen.
    hours : float
        Duration, if it lasts.
    size : float
        Size: kelvins of wick error, points of MC, number of readings.
    """

    kind: FaultKind
    day: float = 0.0
    hours: float = 0.0
    size: float = 0.0


@dataclass(frozen=True)
class PowerStop:
    """A declared power failure: no heat, no fans, no log."""

    day: float
    hours: float
    cause: str


@dataclass(frozen=True)
class HeatTreatmentPlan:
    """Core probes in four pieces; `leaks` is the share of outside air at each."""

    claim: str = "ISPM 15"
    threshold_c: float = 56.0
    minutes: float = 30.0
    leaks: tuple[float, ...] = (0.0, 0.01, 0.025, 0.015)


@dataclass(frozen=True)
class SurveyPlan:
    """The final survey: number of readings, and corrections already made on the sheet."""

    readings: int = 48
    days_after: int = 1
    corrected_for: tuple[str, ...] = ("temperature", "species")
    wood_temp_c: float = 22.0


@dataclass(frozen=True)
class MoistureSensorsPlan:
    """Moisture sensors that were plugged in for a charge.

    Attributes
    ----------
    wafer : bool
        The EMC sensor of the kiln.
    pins : tuple of int
        Pieces of the load with a pair of pins, counted from 0.
    """

    wafer: bool = True
    pins: tuple[int, ...] = ()


@dataclass(frozen=True)
class Miscopied:
    """A survey reading mistyped from the sheet, and corrected after the charge was sealed."""

    reading: int
    typed: str
    days_after: int


@dataclass(frozen=True)
class ChargePlan:
    """A charge as planned.

    Attributes
    ----------
    green_mc, green_sd : float
        Mean MC of the boards at loading and its spread between boards. [%]
    volume_m3 : float
        Volume loaded; it fills the kiln's first positions.
    resectioned : int
        Sample boards cut again after unloading, to check their oven-dry masses.
    waivers : tuple of (check, reason)
        Findings the supervisor accepts, each with a signed reason.
    """

    id: str
    kiln: str
    schedule: str
    species: str
    thickness: str
    started: dt.datetime
    green_mc: float
    green_sd: float
    target_mc: float
    volume_m3: float
    start: Literal["green", "air-dried"] = "green"
    boards: int = 10
    first_step: int = 1
    conditioning_hours: float = 12.5
    load_boards: int = 100
    supplier: str = ""
    claim: str | None = None
    sawn_days_before: int = 9
    fault: Fault | None = None
    power_stop: PowerStop | None = None
    heat_treatment: HeatTreatmentPlan | None = None
    survey: SurveyPlan = field(default_factory=SurveyPlan)
    resectioned: int = 0
    waivers: tuple[tuple[str, str], ...] = ()
    miscopied: Miscopied | None = None
    moisture_sensors: MoistureSensorsPlan | None = None
    meter_kwh: int | None = None
    """What the kiln's energy meter shows at the start, if it is read at each weighing. [kWh]"""
    notes: str | None = None

    @property
    def seed(self) -> int:
        """Seed of the charge's own random numbers: its number, read as bytes."""
        return int.from_bytes(self.id.encode(), "big") % (2**63)


@dataclass(frozen=True)
class RunningPlan:
    """A charge that is running at the demonstration's present.

    Attributes
    ----------
    charge : ChargePlan
        The charge as planned to its end.
    in_the_oven : tuple of str
        Boards whose second section is still in the oven; if it is all boards, the first one is too.
    rounds_missed : int
        Number of last rounds that nobody weighed.
    note : str
        The last shift's note for the next.
    """

    charge: ChargePlan
    in_the_oven: tuple[str, ...] = ()
    rounds_missed: int = 0
    note: str = ""


@dataclass(frozen=True)
class LotPlan:
    """A lot as ordered, from the packs of a charge.

    `packs` are counted from 0 in the order of the kiln's positions. A lot that is issued again some
    days after shipping is in its second version.
    """

    id: str
    charge: str
    packs: tuple[int, ...]
    product: str
    order: dict[str, str]
    customer: str
    order_number: str
    shipped_days_after: int | None
    """None if it stays at the mill."""
    width: str = "random widths"
    length: str = "2.4 m to 4.9 m"
    thickness: str | None = None
    storage: tuple[str, str] = ("18 °C", "45 %")
    claim: str | None = None
    heat_treatment_stated: bool = False
    reissued_days_after: int = 0
    notes: str | None = None
