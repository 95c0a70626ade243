"""The end of a charge: equalizing, conditioning, survey, heat treatment, water."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

import numpy as np

from kilnfolio.physics.heat import longest_run
from kilnfolio.physics.meters import reading_at_calibration
from kilnfolio.physics.survey import confidence_interval
from kilnfolio.physics.water import least_heat, water_removed
from kilnfolio.records.charge import Charge, CoreProbe, HeatTreatment, Stage, Survey
from kilnfolio.records.kiln import Kiln
from kilnfolio.records.log import Log
from kilnfolio.records.species import Species
from kilnfolio.review.air import AirSeries
from kilnfolio.review.boards import Control, control_at
from kilnfolio.runtime.values import dataclass

#: Confidence of the printed interval of a survey's mean [%]; a convention of reports in the trade.
CONFIDENCE_PCT = 95.0
#: Share of the load within the survey's tolerance limits [%]; the same convention.
TOLERANCE_SHARE_PCT = 95.0


@dataclass(frozen=True)
class StageOutcome:
    """Equalizing or conditioning as run, in % MC and % EMC."""

    stage: Stage
    achieved_emc_pct: float | None
    at_start: Control | None
    at_end: Control | None
    last_reading: int | None

    @property
    def hours(self) -> float:
        """Duration [h]."""
        return (self.stage.end - self.stage.start).total_seconds() / 3600.0


def stage_outcome(
    stage: Stage, air: AirSeries | None, controls: Sequence[Control], grace: dt.timedelta
) -> StageOutcome:
    """Return a stage with the boards' MC at its beginning and end, and the EMC it reached.

    Parameters
    ----------
    stage : Stage
        The stage as recorded.
    air : AirSeries, optional
        The log.
    controls : sequence of Control
        The weighings.
    grace : timedelta
        How soon after the end a weighing still represents the end.
    """
    achieved, last = None, None
    if air is not None:
        half = air.within(stage.start + (stage.end - stage.start) / 2, stage.end)
        emc = air.emc[half]
        if np.isfinite(emc).any():
            achieved, last = float(np.nanmean(emc)), half.stop - 1
    start = control_at(controls, stage.start)
    # the weighing nearest the end: a later one may be affected by the next stage
    speaking = [control for control in controls if stage.start < control.at <= stage.end + grace]
    end = min(speaking, key=lambda control: abs(control.at - stage.end), default=None)
    return StageOutcome(stage, achieved, start, end, last)


@dataclass(frozen=True)
class SurveyOutcome:
    """The survey with each correction applied once, in % MC."""

    survey: Survey
    readings: np.ndarray
    correction_pct: float
    correction_words: str
    mean_pct: float
    sd_pct: float
    mean_interval_pct: tuple[float, float]


def survey_outcome(survey: Survey, species: Species | None) -> SurveyOutcome:
    """Return a survey's corrected readings and their spread.

    A correction already in the readings is not applied again.
    """
    shown = np.array([reading.mc.value for reading in survey.readings])
    readings, words = shown, []
    if survey.method == "resistance meter":
        if "temperature" in survey.corrected_for:
            words.append("corrected for temperature when measured")
        elif survey.wood_temperature and survey.calibration_temperature:
            readings = reading_at_calibration(
                shown, survey.wood_temperature.value, survey.calibration_temperature.value
            )
            words.append(
                f"corrected here from {survey.wood_temperature.entered} to "
                f"{survey.calibration_temperature.entered}"
            )
        else:
            words.append("not corrected for temperature")
        correction = species.meter_correction if species else None
        if "species" in survey.corrected_for:
            words.append("corrected for species when measured")
        elif correction:
            readings = correction.slope * readings + correction.offset
            words.append(f"corrected here from {correction.base_species}")
    n = len(readings)
    mean = float(np.mean(readings))
    sd = float(np.std(readings, ddof=1)) if n > 1 else 0.0
    interval = confidence_interval(mean, sd, n, CONFIDENCE_PCT / 100.0) if n > 1 else (mean, mean)
    return SurveyOutcome(
        survey,
        readings,
        float(np.mean(readings - shown)),
        "; ".join(words),
        mean,
        sd,
        (float(interval[0]), float(interval[1])),
    )


#: Tolerance so that a converted reading of 132.8 °F does not fail 56 °C by a rounding error [K].
ROUNDING_K = 1e-6


@dataclass(frozen=True)
class ProbeRun:
    """The longest unbroken run of one core probe."""

    probe: CoreProbe
    minutes: float
    start: int | None
    end: int | None
    highest_c: float
    uncertainty_k: float | None


def probe_runs(
    claim: HeatTreatment, log: Log, kiln: Kiln, longest_gap_minutes: float
) -> tuple[ProbeRun, ...]:
    """Return for each core probe its longest run at or above the threshold.

    A gap in the log longer than `longest_gap_minutes` or a missing reading ends a run.
    """
    return tuple(
        _probe_run(probe, claim.threshold.value, log, kiln, longest_gap_minutes)
        for probe in claim.probes
        if probe.channel in log.channels
    )


def _probe_run(
    probe: CoreProbe, threshold_c: float, log: Log, kiln: Kiln, gap_minutes: float
) -> ProbeRun:
    temps = log.channels[probe.channel]
    run = longest_run(log.times, temps, threshold_c - ROUNDING_K, max_gap_minutes=gap_minutes)
    instrument = next((i for i in kiln.instruments if i.channel == probe.channel), None)
    uncertainty = probe.uncertainty or (instrument.uncertainty if instrument else None)
    highest = round(float(np.fmax.reduce(temps, initial=np.nan)), 6)
    return ProbeRun(
        probe,
        run.minutes if run else 0.0,
        run.first if run else None,
        run.last if run else None,
        highest,
        uncertainty.value if uncertainty else None,
    )


@dataclass(frozen=True)
class Water:
    """The water removed and the least heat that this took."""

    volume_m3: float
    basic_density_kg_m3: float
    mc_from_pct: float
    mc_to_pct: float
    water_kg: float
    least_heat_kwh: float


def water_balance(
    charge: Charge,
    species: Mapping[str, Species],
    controls: Sequence[Control],
    survey: SurveyOutcome | None,
    air: AirSeries | None,
    start_temp_c: float,
) -> Water | None:
    """Return the water removed from a charge, from its boards and survey; None if data is missing.

    The mean of the sample boards represents the load at the start, which overestimates its moisture
    if boards were chosen for being wet.
    """
    densities = [species[stock.species].basic_density_kg_m3 for stock in charge.stock]
    if not controls or survey is None or any(d is None for d in densities):
        return None
    volumes = np.array([stock.volume.value for stock in charge.stock])
    volume = float(volumes.sum())
    density = float(np.average([d for d in densities if d is not None], weights=volumes))
    start = float(np.mean(list(controls[0].all_mc.values())))
    end = survey.mean_pct
    if end > start:
        return None
    hot = None
    if air is not None and np.isfinite(air.dry_bulb).any():
        hot = float(np.nanmean(air.dry_bulb))
    heat = (
        least_heat(volume, density, start, end, start_temp_c, hot)
        if hot is not None and hot >= start_temp_c
        else float("nan")
    )
    return Water(
        volume, density, start, end, float(water_removed(volume, density, start, end)), float(heat)
    )
