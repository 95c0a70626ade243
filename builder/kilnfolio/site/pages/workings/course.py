"""Workings of a charge's course: its length, the air as logged and as set, how well it was kept."""

from __future__ import annotations

from collections.abc import Iterator

from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.quantities import Pressure, TemperatureDifference
from kilnfolio.records.setpoints import AirState
from kilnfolio.review import figures
from kilnfolio.review.dossier import AirResult, Dossier, LogSummary, WickIndex, Working
from kilnfolio.site.pages.phrases import days
from kilnfolio.site.pages.workings import (
    Shown,
    length_of,
    shown,
    summed_over_log,
    when,
    work_out,
)
from kilnfolio.site.pages.workings.setpoints import (
    SetPoint,
    bulbs,
    pressure_of,
    set_point_workings,
    temperature,
    written_way,
)

_OVER = "Σ over the readings of"


def length_workings(folder: MillFolder, dossier: Dossier) -> Iterator[Shown]:
    """Yield the working of a charge's length and of the air pressure used."""
    mill = folder.mill.record
    took = days(dossier.started, dossier.ended)
    yield shown(
        "length",
        "How long it took",
        [length_of("heating to end", dossier.started, dossier.ended, mill.zone, took)],
    )
    if mill.pressure is None:
        yield shown(
            "pressure",
            "Air pressure",
            [work_out("pressure_at_altitude", "", altitude=mill.altitude)],
        )


def air_workings(folder: MillFolder, record: Charge, dossier: Dossier) -> Iterator[Shown]:
    """Yield the working of a charge's air."""
    pressure = pressure_of(dossier.rules.pressure_pa)
    yield from _set(folder, record, dossier, pressure)
    log = dossier.log
    if log is None:
        return
    yield from _logged(dossier, log, pressure)
    if dossier.air:
        yield from _kept(dossier.air, log)
    yield from _adherence(dossier)


def _errors(air: AirResult | None) -> dict[str, TemperatureDifference] | None:
    if air is None or air.dry_bulb_uncertainty_k is None or air.wet_bulb_uncertainty_k is None:
        return None
    return {
        "dry_error": TemperatureDifference(
            air.dry_bulb_uncertainty_k, f"{air.dry_bulb_uncertainty_k:g} K"
        ),
        "wet_error": TemperatureDifference(
            air.wet_bulb_uncertainty_k, f"{air.wet_bulb_uncertainty_k:g} K"
        ),
    }


def _set(
    folder: MillFolder, record: Charge, dossier: Dossier, pressure: Pressure
) -> Iterator[Shown]:
    """Yield the working of each set-point of the air."""
    schedule = folder.schedules[record.schedule].record
    written, asked = folder.steps_of(schedule), []
    for point in dossier.set_points:
        air = AirState(
            point.dry_bulb_c, point.wet_bulb_c, point.relative_humidity_pct, point.emc_pct
        )
        stage = {"equalizing": record.equalizing, "conditioning": record.conditioning}.get(
            point.label
        )
        if stage:
            asked.append(SetPoint(point.label, air, "emc", stage.emc))
        elif int(point.label) <= len(written):
            way = written_way(schedule, written[int(point.label) - 1])
            asked.append(SetPoint(f"step {point.label}", air, way))
    yield from set_point_workings("set", asked, pressure)
    if errors := _errors(dossier.air):
        yield shown(
            "set-emc-uncertainty",
            "What the error of the bulbs puts on the EMC",
            (
                work_out(
                    "emc_uncertainty", point.label, pressure=pressure, **bulbs(point.air), **errors
                )
                for point in asked
            ),
            "Expanded, about 95 %.",
        )


def _logged(dossier: Dossier, log: LogSummary, pressure: Pressure) -> Iterator[Shown]:
    """Yield the working of the logged air, for the first interval that has both bulbs."""
    first = next(
        (
            point
            for point in log.air
            if point.wet_bulb_c is not None and point.dry_bulb_c is not None
        ),
        None,
    )
    readings = round(log.summary_hours * 60 / log.interval_minutes)
    means = (
        f"Each row is the mean of the readings of {log.summary_hours:g} h, up to {readings}; "
        "they stand in the logger’s file. "
    )
    yield shown(
        "air-mean",
        "The bulbs of an interval",
        [
            summed_over_log(
                "each row",
                "mean = (x₁ + x₂ + …) ÷ n",
                "the readings of the interval that were used ÷ their number",
                "the row",
                "the definition",
            )
        ],
        means,
        sample=True,
    )
    if first is None or first.dry_bulb_c is None or first.wet_bulb_c is None:
        return
    mean = {"dry_bulb": temperature(first.dry_bulb_c), "wet_bulb": temperature(first.wet_bulb_c)}
    remark = (
        f"{means}RH and EMC are worked for each reading and then averaged; here from the mean "
        "bulbs of the first row, which comes to the same or nearly."
    )
    label = f"interval about {when(first.at, first.at.tzinfo)}" if first.at.tzinfo else ""
    yield shown(
        "air-rh",
        "RH of an interval",
        [work_out("relative_humidity", label, pressure=pressure, **mean)],
        remark,
        sample=True,
    )
    yield shown(
        "air-emc",
        "EMC of an interval",
        [work_out("emc_from_bulbs", label, pressure=pressure, **mean)],
        remark,
        sample=True,
    )
    if errors := _errors(dossier.air):
        yield shown(
            "air-emc-uncertainty",
            "What the error of the bulbs puts on it",
            [work_out("emc_uncertainty", label, pressure=pressure, **mean, **errors)],
            "Each row in the same way, with its own bulbs.",
            sample=True,
        )


def _adherence(dossier: Dossier) -> Iterator[Shown]:
    """Yield the working of the rows of air asked for and air kept."""
    if not dossier.adherence:
        return
    yield shown(
        "adherence",
        "Asked and kept, step by step",
        [
            summed_over_log(
                "kept",
                "mean of the readings, each weighed by the time it stands for",
                "readings of the step with the fans on, the way to the set-point and the "
                "recovery from stops left out",
                "the row",
                "the logger’s file",
            ),
            summed_over_log(
                "asked",
                "wet bulb and EMC of the set-point",
                "as for the air that was set",
                "the row",
                "the schedule",
            ),
            summed_over_log(
                "ran",
                "end − start − declared stops",
                "the step changes as written",
                "the row",
                "the record",
            ),
            summed_over_log(
                "outside",
                "sum of the time each reading stands for, where it is outside the tolerance",
                "readings as for the mean",
                "the row",
                "schedules/limits.yaml",
            ),
        ],
        sample=True,
    )


# --- how the air was kept -------------------------------------------------------------------------


def _kept(air: AirResult, log: LogSummary) -> Iterator[Shown]:
    over = (
        f"{figures.number(log.used, 0)} readings used, every "
        f"{figures.measure(log.interval_minutes, 'min', 0)}"
    )

    def summed(
        identity: str, of: str, formula: str, value: float | None, unit: str, decimals: int
    ) -> Shown:
        workings = (
            []
            if value is None
            else [
                summed_over_log(
                    of, formula, over, figures.measure(value, unit, decimals), "the logger’s file"
                )
            ]
        )
        return shown(identity, of, workings)

    stands = "a reading stands until the next, for two intervals at most"
    yield summed(
        "logged",
        "Hours logged",
        f"{_OVER} the time each stands for; {stands}",
        air.logged_hours,
        "h",
        0,
    )
    yield summed(
        "running",
        "Hours with the fans on",
        f"{_OVER} the time each stands for, where the fans are on",
        air.running_hours,
        "h",
        0,
    )
    for name, what, value in (
        ("dry-bulb-over", "dry bulb", air.dry_bulb_over_kh),
        ("depression-over", "depression", air.depression_over_kh),
    ):
        yield summed(
            name,
            f"{what.capitalize()} above what was asked",
            f"{_OVER} ({what} − {what} asked) × the time it stands for, where positive "
            "and not while the kiln comes down after a lower set-point",
            value,
            "K h",
            0,
        )
    yield summed(
        "sides",
        "Entering and leaving air apart",
        "the median over the readings of |entering − leaving dry bulb|",
        air.zone_spread_k,
        "K",
        1,
    )
    if air.wick:
        yield _wick(air.wick)


def _wick(wick: WickIndex) -> Shown:
    over = f"{figures.number(wick.hours, 0)} h of set-points that did not move, fans on"
    line = "depression = a + b × time, by least squares, in stretches of about a day; "

    def measured(label: str, formula: str, value: float, unit: str) -> Working:
        return summed_over_log(
            label, formula, over, figures.measure(value, unit, 2), "the logger’s file"
        )

    return shown(
        "wick",
        "Slope and scatter of the depression",
        [
            measured("steepest", f"{line}the least b", wick.worst_drift_k_per_day, "K a day"),
            measured(
                "mean", f"{line}the mean of b, weighed by hours", wick.drift_k_per_day, "K a day"
            ),
            measured(
                "scatter", f"{line}the root mean square of what the lines leave", wick.noise_k, "K"
            ),
        ],
    )
