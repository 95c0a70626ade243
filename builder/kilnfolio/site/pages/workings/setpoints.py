"""Workings of set-points: the wet bulb or depression that is not written down, RH and EMC."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from kilnfolio.records.quantities import Percent, Pressure, Temperature, TemperatureDifference
from kilnfolio.records.schedule import AIR_KEYS, Air, Schedule
from kilnfolio.records.setpoints import AirState
from kilnfolio.review.dossier import Working
from kilnfolio.site.pages.workings import Shown, percent, shown, work_out


class SetPoint(NamedTuple):
    """The air asked for, and how it is written."""

    label: str
    air: AirState
    way: str
    """The key given beside the dry bulb: one of `AIR_KEYS`."""
    emc: Percent | None = None
    """The EMC asked for, if that is the key."""


def written_way(schedule: Schedule, step: Air) -> str:
    """Return the key a step gives beside its dry bulb, after the schedule's modifications."""
    if any(change.humidity_points for change in schedule.modifications):
        return "relative_humidity"
    return next(key for key in AIR_KEYS if getattr(step, key) is not None)


def pressure_of(pascal: float) -> Pressure:
    """Return an air pressure with its printed form."""
    return Pressure(pascal, f"{pascal / 1000:.2f} kPa")


def temperature(value_c: float) -> Temperature:
    """Return a temperature with its printed form, to the hundredth as in the dossier."""
    return Temperature(value_c, f"{value_c:.2f} °C")


def bulbs(air: AirState) -> dict[str, Temperature]:
    """Return the two bulbs as arguments of a formula."""
    return {"dry_bulb": temperature(air.dry_bulb_c), "wet_bulb": temperature(air.wet_bulb_c)}


def set_point_workings(
    prefix: str, points: Sequence[SetPoint], pressure: Pressure
) -> Iterator[Shown]:
    """Yield the working of set-points; ids start with `prefix`."""
    yield shown(
        f"{prefix}-wet",
        "Wet bulb",
        (working for point in points for working in _wet(point, pressure)),
        sample=any(point.way == "wet_bulb" for point in points),
    )
    yield shown(
        f"{prefix}-depression",
        "Depression",
        (
            work_out(
                "difference",
                point.label,
                a=temperature(point.air.dry_bulb_c),
                b=temperature(point.air.wet_bulb_c),
            )
            for point in points
            if point.way != "depression"
        ),
        sample=any(point.way == "depression" for point in points),
    )
    yield shown(
        f"{prefix}-rh",
        "RH",
        (
            work_out("relative_humidity", point.label, pressure=pressure, **bulbs(point.air))
            for point in points
        ),
    )
    yield shown(
        f"{prefix}-emc",
        "EMC",
        (
            work_out("emc_from_bulbs", point.label, pressure=pressure, **bulbs(point.air))
            for point in points
        ),
    )


def _wet(point: SetPoint, pressure: Pressure) -> Iterator[Working | None]:
    air, dry = point.air, temperature(point.air.dry_bulb_c)
    if point.way == "depression":
        yield work_out(
            "wet_bulb_of_depression",
            point.label,
            dry_bulb=dry,
            depression=(TemperatureDifference(air.depression_k, f"{air.depression_k:.2f} K")),
        )
    if point.emc is not None:
        yield work_out(
            "relative_humidity_for_emc", f"{point.label}, RH", temperature=dry, emc=point.emc
        )
    if point.way in ("relative_humidity", "emc"):
        yield work_out(
            "wet_bulb",
            point.label,
            dry_bulb=dry,
            pressure=pressure,
            relative_humidity=percent(air.relative_humidity_pct),
        )
