"""Heat treatment: the evidence only. Its value is for the plant-health authority to decide."""
# Checks need no docstrings: their decorators describe them, and their pages are made from those.
# ruff: noqa: D103

from __future__ import annotations

import numpy as np

from kilnfolio.physics.heat import CORE_RANGE_C, longest_run_above
from kilnfolio.records.charge import HeatTreatment
from kilnfolio.records.problems import Place
from kilnfolio.review.checks.instruments import overdue
from kilnfolio.review.ending import ROUNDING_K
from kilnfolio.review.findings import Breach, Case, NoData, NotApplicable, Pass, Results, check

_GROUP = "heat treatment"
#: Tolerance for rounding: 132.8 °F is 56 °C. [K]
_ROUNDING = 1e-6


def _claim(case: Case) -> HeatTreatment:
    if case.charge.heat_treatment is None:
        raise NotApplicable("no heat-treatment claim is made for this charge")
    return case.charge.heat_treatment


def _need_probes(case: Case) -> HeatTreatment:
    claim = _claim(case)
    if not claim.probes:
        raise NoData("no core probe is on record")
    return claim


@check(
    "heat-treatment-run",
    title="Core temperature and time",
    group=_GROUP,
    severity="fail",
    answers=(),
    claim="heat treatment",
    limits=("heat-treatment-temperature", "heat-treatment-minutes"),
    source="ispm-15, annex 1",
    reason="The treatment is 56 °C through the whole profile for 30 minutes without a break. "
    "Minutes are not added up.",
    passes="Every core probe held the required temperature for the required time without a break.",
)
def heat_treatment_run(case: Case) -> Results:
    claim = _need_probes(case)
    case.need_air()
    yield from _softer_claim(case, claim)
    runs = {run.probe.channel: run for run in case.probes}
    for index, probe in enumerate(claim.probes):
        place = (case.place("heat_treatment", "probes", index),)
        if probe.channel not in runs:
            yield Breach(
                f"Probe {probe.channel}: the log has no such channel.", place, probe.channel
            )
            continue
        run = runs[probe.channel]
        if run.minutes < claim.minutes:
            yield Breach(
                f"Probe {probe.channel}: longest run {run.minutes:.0f} min at or above "
                f"{claim.threshold.entered}; highest reading {run.highest_c:.1f} °C.",
                place,
                probe.channel,
                run.minutes,
                claim.minutes,
                "min",
            )
    held = "; ".join(
        f"{run.probe.channel} held {claim.threshold.entered} for "
        f"{run.minutes:.0f} min without a break"
        for run in case.probes
    )
    yield Pass(f"{held[:1].upper()}{held[1:]}; {claim.minutes:g} min were required.")


def _softer_claim(case: Case, claim: HeatTreatment) -> Results:
    """Yield a breach where the record asks less than the rule; it may ask more."""
    for key, value, unit in (
        ("temperature", claim.threshold.value, "°C"),
        ("minutes", claim.minutes, "min"),
    ):
        least = case.limits.value(f"heat-treatment-{key}")
        if value < least - _ROUNDING:
            yield Breach(
                f"The claim asks {value:g} {unit}; {claim.claim} asks {least:g} {unit}.",
                (case.place("heat_treatment"),),
                key,
                value,
                least,
                unit,
            )


@check(
    "air-record-alone",
    title="Core probes, not air alone",
    group=_GROUP,
    severity="fail",
    answers=(),
    claim="heat treatment",
    limits=("heat-treatment-temperature",),
    source="ispm-15, annex 1; schedules by wet bulb in wood-handbook, ch. 20, per authority",
    reason="Drying timber is cooled by its own water: its core follows the wet bulb, not the "
    "dry bulb. Below the required wet bulb the air proves nothing about the core.",
    passes="Core probes are on record.",
)
def air_record_alone(case: Case) -> Results:
    claim = _claim(case)
    if claim.probes:
        yield Pass(f"{len(claim.probes)} core probes are on record.")
        return
    air, place = case.need_air(), (case.place("heat_treatment"),)
    least = case.limits.value("heat-treatment-temperature")
    wet = np.where(
        (air.wet_bulb >= CORE_RANGE_C[0]) & (air.wet_bulb <= CORE_RANGE_C[1]), air.wet_bulb, np.nan
    )
    minutes = longest_run_above(
        air.times, wet, least - _ROUNDING, max_gap_minutes=2 * air.log.interval_minutes
    )
    if minutes < claim.minutes:
        yield Breach(
            f"Air record alone cannot show {least:g} °C in the core: no core probe is on "
            f"record, and the wet bulb held {least:g} °C for {minutes:.0f} min.",
            place,
            "wet-bulb",
            minutes,
            claim.minutes,
            "min",
        )
    else:
        yield Breach(
            "No core probe is on record; an air record serves only under a schedule the "
            "authority has approved.",
            place,
            "wet-bulb",
            minutes,
            claim.minutes,
            "min",
            severity="question",
        )


@check(
    "probe-in-air",
    title="Probe in the timber",
    group=_GROUP,
    severity="fail",
    claim="heat treatment",
    limits=("probe-lag", "probe-lag-rise"),
    source="common practice",
    reason="A core lags the air by hours. A probe that follows the air is in the air.",
    passes="Every core probe lagged the air as timber does.",
)
def probe_in_air(case: Case) -> Results:
    claim, air = _need_probes(case), case.need_air()
    least, warming = case.limits.value("probe-lag"), case.limits.value("probe-lag-rise")
    known = np.isfinite(air.dry_bulb)
    if not known.any():
        raise NoData("the log has no dry bulb")
    heating = slice(0, int(np.nanargmax(air.dry_bulb)) + 1)
    rise = float(np.nanmax(air.dry_bulb) - air.dry_bulb[np.argmax(known)])
    if rise < warming:
        raise NotApplicable(
            f"the air in the log rose only {rise:.0f} K, too little to show that a core lags"
        )
    seen: list[str] = []
    for index, probe in enumerate(claim.probes):
        core = air.log.channels.get(probe.channel)
        if core is None:
            continue
        lag = air.dry_bulb[heating] - core[heating]
        most = float(np.fmax.reduce(lag))
        if most < least:
            yield Breach(
                f"Probe {probe.channel} may be in air: it never lagged by more than "
                f"{most:.1f} K while the kiln rose {rise:.0f} K.",
                (case.place("heat_treatment", "probes", index),),
                probe.channel,
                most,
                least,
                "K",
            )
        seen.append(f"{probe.channel} by {most:.0f} K")
    if not seen:
        raise NoData("the log holds none of the core probes")
    yield Pass(f"Every core probe in the log lagged the air: {', '.join(seen)}.")


@check(
    "probe-placement",
    title="Thickest piece, sealed probe",
    group=_GROUP,
    severity="fail",
    answers=(),
    claim="heat treatment",
    limits=("heat-treatment-probes",),
    source="per authority; alsc-heat-treatment, inspection practice as relayed",
    reason="The slowest piece decides, and an open hole heats the probe from its mouth.",
    passes="Probes are in the thickest piece and sealed.",
)
def probe_placement(case: Case) -> Results:
    claim = _need_probes(case)
    least = case.limits.value("heat-treatment-probes")
    if len(claim.probes) < least:
        yield Breach(
            f"Too few core probes: {len(claim.probes)}; at least {least:g} are needed.",
            (case.place("heat_treatment", "probes"),),
            "probes",
            len(claim.probes),
            least,
            "probes",
        )
    if claim.thickest_piece is None:
        yield Breach(
            "Probe placement is not shown: nobody wrote down the thickest piece.",
            (case.place("heat_treatment"),),
        )
    for index, probe in enumerate(claim.probes):
        place = (case.place("heat_treatment", "probes", index),)
        if not probe.sealed:
            yield Breach(f"Probe {probe.channel} was not sealed.", place, probe.channel)
        if claim.thickest_piece and probe.thickness.value < claim.thickest_piece.value:
            yield Breach(
                f"Probe {probe.channel} sits in {probe.thickness.entered}; the thickest "
                f"piece is {claim.thickest_piece.entered}.",
                place,
                probe.channel,
                probe.thickness.value,
                claim.thickest_piece.value,
                "mm",
            )
    yield Pass(f"{len(claim.probes)} sealed probes, each in a piece as thick as the thickest.")


@check(
    "heat-treatment-margin",
    title="Margin over sensor error",
    group=_GROUP,
    severity="question",
    claim="heat treatment",
    source="common practice",
    reason="A pass by less than the probe's own error is a pass by luck.",
    passes="Every probe that held the temperature held it by more than its own error.",
)
def heat_treatment_margin(case: Case) -> Results:
    claim, air = _need_probes(case), case.need_air()
    passing = [run for run in case.probes if run.minutes >= claim.minutes]
    if not passing:
        raise NotApplicable("no probe held the required temperature for the required time")
    known = [(run, run.uncertainty_k) for run in passing if run.uncertainty_k is not None]
    if not known:
        raise NoData("no probe has an uncertainty on record")
    for run, error in known:
        sure = longest_run_above(
            air.times,
            air.log.channels[run.probe.channel],
            claim.threshold.value + error - ROUNDING_K,
            max_gap_minutes=2 * air.log.interval_minutes,
        )
        if sure < claim.minutes:
            yield Breach(
                f"Probe {run.probe.channel}: the pass is within sensor error (± {error:g} K).",
                (_probe_place(case, run.probe.channel),),
                run.probe.channel,
                sure,
                claim.minutes,
                "min",
            )
    short, unknown = len(claim.probes) - len(passing), len(passing) - len(known)
    if unknown:
        raise NoData(
            f"{unknown} of {len(passing)} probes that held the temperature have no "
            "uncertainty on record"
        )
    if short:
        raise NotApplicable(
            f"{short} of {len(claim.probes)} probes did not hold the temperature; "
            "the others held it by more than their own error"
        )
    yield Pass(
        f"Each of {len(known)} probes held {claim.threshold.entered} for {claim.minutes:g} min "
        "by more than their own error."
    )


def _probe_place(case: Case, channel: str) -> Place:
    channels: list[str] = [probe.channel for probe in _claim(case).probes]
    index = channels.index(channel)
    return case.place("heat_treatment", "probes", index)


@check(
    "core-probe-calibration",
    title="Core probes in calibration",
    group=_GROUP,
    severity="fail",
    claim="heat treatment",
    limits=("core-probe-calibration-months",),
    source="per authority; common practice",
    reason="Half a degree decides here; a probe that nobody has calibrated proves nothing.",
    passes="Every core probe was in calibration.",
)
def core_probe_calibration(case: Case) -> Results:
    months = case.limits.value("core-probe-calibration-months")
    claimed = {probe.channel for probe in _need_probes(case).probes}
    feeding = {
        instrument.channel: index
        for index, instrument in enumerate(case.kiln.instruments)
        if instrument.channel in claimed
    }
    for channel in sorted(claimed - set(feeding)):
        yield Breach(
            f"Probe {channel} is not in the kiln's record, so its calibration is not shown.",
            (_probe_place(case, channel),),
            channel,
        )
    for index in feeding.values():
        yield from overdue(case, index, months)
    yield Pass(
        f"Each of {len(feeding)} core probes was calibrated within {months:g} months before "
        "the charge."
    )


@check(
    "heat-treatment-review",
    title="Charts reviewed",
    group=_GROUP,
    severity="fail",
    answers=(),
    claim="heat treatment",
    source="per authority",
    reason="Somebody responsible looks at the chart before anything is marked.",
    passes="The charts were reviewed and signed.",
)
def heat_treatment_review(case: Case) -> Results:
    claim = _claim(case)
    if claim.reviewed is None:
        yield Breach("Heat treatment not reviewed.", (case.place("heat_treatment"),))
    else:
        yield Pass(f"The charts were reviewed by {claim.reviewed.by} on {claim.reviewed.on}.")


@check(
    "residual-bark",
    title="Residual bark",
    group=_GROUP,
    severity="fail",
    answers=(),
    claim="heat treatment",
    limits=("bark-width", "bark-area"),
    source="ispm-15, annex 1",
    reason="Insects find their way in again under bark. Small patches are allowed, by width or "
    "by area.",
    passes="Any bark left is narrow, or its patches are small.",
)
def residual_bark(case: Case) -> Results:
    bark = _claim(case).bark
    if bark is None:
        raise NoData("no inspection for bark is on record")
    width, area = case.limits.value("bark-width"), case.limits.value("bark-area")
    if bark.widest.value < width:
        yield Pass(
            f"The widest bark left is {bark.widest.entered}; under {width:g} mm it may be "
            "of any length."
        )
        return
    if bark.largest is None:
        yield Breach(
            f"Bark {bark.widest.entered} wide: the area of the largest such patch is not "
            "written down.",
            (case.place("heat_treatment", "bark"),),
            "bark",
            bark.widest.value,
            width,
            "mm",
        )
    elif bark.largest.value >= area:
        yield Breach(
            f"Bark exceeds limit: a patch {bark.widest.entered} wide, the largest of "
            f"{bark.largest.entered}.",
            (case.place("heat_treatment", "bark", "largest"),),
            "bark",
            bark.largest.value,
            area,
            "cm²",
        )
    else:
        yield Pass(
            f"The largest patch of bark wider than {width:g} mm is {bark.largest.entered}; "
            f"under {area:g} cm² is allowed."
        )
