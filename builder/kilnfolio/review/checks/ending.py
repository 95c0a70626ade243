"""The end of a charge: equalizing, conditioning, survey, stress."""
# The decorator of a check says what it asks and why; its page is made from that.
# ruff: noqa: D103

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from kilnfolio.review.findings import Case, Complaint, NotChecked, check

_GROUP = "end of charge"


@check(
    "equalizing-start",
    title="Equalizing begun in time",
    group=_GROUP,
    gravity="query",
    limits=("equalizing-below-target", "equalizing-start-tolerance"),
    source="wengert-extension (target − 2); usda-gtr-57 (target − 3); the sources differ",
    reason="Begun late, the driest boards are already past help; begun early, the wettest will "
    "not come down in time.",
    held="Equalizing began when the driest board was due, at the EMC the rule gives.",
)
def equalizing_start(case: Case) -> Iterator[Complaint]:
    stage = case.equalizing
    if stage is None:
        raise NotChecked("no equalizing is on record")
    below = case.limits.value("equalizing-below-target")
    tolerance = case.limits.value("equalizing-start-tolerance")
    due = case.charge.target_mc.value - below
    place = (case.place("equalizing", "start"),)
    timed = case.schedule.time_based
    if stage.at_start is None and not timed:
        raise NotChecked("no weighing is on record before equalizing")
    driest = stage.at_start.driest_pct if stage.at_start and not timed else due
    if abs(driest - due) > tolerance:
        yield Complaint(
            f"Equalizing began at driest {driest:.1f} %; the rule says {due:g} %.",
            place,
            "driest board",
            driest,
            due,
            "%",
        )
    if abs(stage.stage.emc.value - due) > tolerance:
        yield Complaint(
            f"Equalizing EMC was set to {stage.stage.emc.value:.1f} %; the rule says {due:g} %.",
            (case.place("equalizing", "emc"),),
            "EMC",
            stage.stage.emc.value,
            due,
            "%",
        )
    elif timed:
        raise NotChecked("the schedule goes by the clock, so that no MC says when to begin")


@check(
    "equalizing-end",
    title="Equalizing ended in time",
    group=_GROUP,
    gravity="refused",
    limits=("equalizing-end-tolerance", "stage-end-grace"),
    source="wengert-extension",
    reason="Equalizing ends when the wettest board is at the target, not after a habit of hours.",
    held="The wettest board was at or below the target when equalizing ended.",
)
def equalizing_end(case: Case) -> Iterator[Complaint]:
    stage = case.equalizing
    if stage is None:
        raise NotChecked("no equalizing is on record")
    if stage.at_end is None:
        raise NotChecked("no weighing is on record at the end of equalizing")
    target = case.charge.target_mc.value
    wettest = stage.at_end.wettest_pct
    if wettest > target + case.limits.value("equalizing-end-tolerance"):
        mcs = stage.at_end.all_mc
        board = max(mcs, key=lambda name: mcs[name])
        yield Complaint(
            f"Wettest still {wettest:.1f} % (board {board}) when equalizing ended; the "
            f"target is {target:g} %.",
            (case.place("equalizing", "end"),),
            board,
            wettest,
            target,
            "%",
        )


@check(
    "conditioning-emc",
    title="Equalizing and conditioning air reached",
    group=_GROUP,
    gravity="query",
    limits=("stage-emc",),
    source="common practice",
    reason="Stress is relieved by heat and a set EMC; air short of it leaves casehardened boards.",
    held="Equalizing and conditioning reached the EMC they were set for.",
)
def conditioning_emc(case: Case) -> Iterator[Complaint]:
    stages = [
        (name, stage)
        for name, stage in (("equalizing", case.equalizing), ("conditioning", case.conditioning))
        if stage
    ]
    known = [
        (name, stage.stage.emc.value, stage.achieved_emc_pct)
        for name, stage in stages
        if stage.achieved_emc_pct is not None
    ]
    if not known:
        raise NotChecked("no log covers equalizing or conditioning")
    allowed = case.limits.value("stage-emc")
    for name, asked, achieved in known:
        off = achieved - asked
        if abs(off) > allowed:
            yield Complaint(
                f"{name.capitalize()} air not reached: EMC {achieved:.1f} % "
                f"against {asked:.1f} % set.",
                (case.place(name, "emc"),),
                name,
                off,
                allowed,
                "points",
            )


@check(
    "conditioning-rule",
    title="Conditioning EMC by the rule",
    group=_GROUP,
    gravity="query",
    limits=("stage-emc", "conditioning-above-target"),
    source="dry-kiln-operators-manual, ch. 7 (from memory)",
    reason="Set too low, the air relieves nothing; set too high, the shells swell and the stress "
    "turns about.",
    held="Conditioning was set to the EMC the rule gives.",
)
def conditioning_rule(case: Case) -> Iterator[Complaint]:
    if case.conditioning is None:
        raise NotChecked("no conditioning is on record")
    rule = case.charge.target_mc.value + case.limits.value("conditioning-above-target")
    set_emc = case.conditioning.stage.emc.value
    if abs(set_emc - rule) > case.limits.value("stage-emc"):
        yield Complaint(
            f"Conditioning EMC was set to {set_emc:.1f} %; the rule says {rule:g} %.",
            (case.place("conditioning", "emc"),),
            "EMC",
            set_emc,
            rule,
            "%",
        )


@check(
    "meter-corrections",
    title="Meter corrections",
    group=_GROUP,
    gravity="refused",
    limits=("meter-lowest", "meter-highest"),
    source="wood-handbook-2010, p. 13-3",
    reason="A resistance meter reads hot timber wet, and outside its range it reads nothing.",
    held="Meter readings are corrected once and within the meter's range.",
)
def meter_corrections(case: Case) -> Iterator[Complaint]:
    survey = case.charge.survey
    if survey is None:
        raise NotChecked("no final survey is on record")
    if survey.method != "resistance meter":
        return
    if "temperature" not in survey.corrected_for and not (
        survey.wood_temperature and survey.calibration_temperature
    ):
        yield Complaint(
            "Readings not corrected for temperature, and the temperature of the wood is "
            "not written down.",
            (case.place("survey"),),
            "survey",
        )
    correction = case.species[case.charge.stock[0].species].meter_correction
    if "species" not in survey.corrected_for and correction is None:
        yield Complaint(
            "Readings not corrected for species, and the species sheet gives no correction.",
            (case.place("survey"),),
            "survey",
        )
    low, high = case.limits.value("meter-lowest"), case.limits.value("meter-highest")
    for index, reading in enumerate(survey.readings):
        if not low <= reading.mc.value <= high:
            yield Complaint(
                f"Reading {index + 1}, {reading.mc.value:.1f} %, is outside the meter's "
                f"range of {low:g} to {high:g} %.",
                (case.place("survey", "readings", index),),
                "survey",
                reading.mc.value,
                high if reading.mc.value > high else low,
                "%",
            )


@check(
    "meter-against-oven",
    title="Meter against oven",
    group=_GROUP,
    gravity="query",
    limits=("meter-against-oven",),
    source="common practice; compare wood-handbook-2010, p. 13-3",
    reason="A few pieces dried in the oven tell whether the meter tells the truth of this lot.",
    held="Meter and oven agree.",
)
def meter_against_oven(case: Case) -> Iterator[Complaint]:
    if case.charge.survey is None or not case.charge.survey.oven_pairs:
        raise NotChecked("no pieces were measured by meter and oven")
    pairs = case.charge.survey.oven_pairs
    off = float(np.mean([pair.meter.value - pair.oven.value for pair in pairs]))
    allowed = case.limits.value("meter-against-oven")
    if abs(off) > allowed:
        yield Complaint(
            f"Meter reads {off:+.1f} points off oven over {len(pairs)} pieces.",
            (case.place("survey", "oven_pairs"),),
            "meter",
            off,
            allowed,
            "points",
        )


@check(
    "target-reached",
    title="Survey against the target",
    group=_GROUP,
    gravity="query",
    limits=("target-reached",),
    source="common practice",
    reason="Boards guide; the survey of the load decides.",
    held="The survey's mean is at the charge's target.",
)
def target_reached(case: Case) -> Iterator[Complaint]:
    if case.survey is None:
        raise NotChecked("no final survey is on record")
    allowed, target = case.limits.value("target-reached"), case.charge.target_mc.value
    off = case.survey.mean_pct - target
    if abs(off) > allowed:
        yield Complaint(
            f"Survey mean {case.survey.mean_pct:.1f} %; the charge aimed at {target:g} %.",
            (case.place("survey"),),
            "survey",
            off,
            allowed,
            "points",
        )


@check(
    "drying-stress",
    title="Stress test",
    group=_GROUP,
    gravity="query",
    limits=("stressed-share",),
    source="wengert-extension (prongs straight within 1/8 in)",
    reason="Casehardened boards close on the saw and cup after ripping.",
    held="The sections tested show no stress beyond the limit.",
)
def drying_stress(case: Case) -> Iterator[Complaint]:
    test = case.charge.stress
    if test is None or not test.gaps:
        raise NotChecked("no stress test is on record")
    stressed = sum(abs(gap.value) > test.limit.value for gap in test.gaps)
    share = 100.0 * stressed / len(test.gaps)
    if share > case.limits.value("stressed-share"):
        yield Complaint(
            f"{stressed} of {len(test.gaps)} sections stressed beyond {test.limit.entered}.",
            (case.place("stress"),),
            "stress",
            share,
            case.limits.value("stressed-share"),
            "%",
        )


@check(
    "shell-and-core",
    title="Shell and core",
    group=_GROUP,
    gravity="query",
    limits=("shell-and-core",),
    source="common practice",
    reason="A core still wet will go on drying in the joiner's shop.",
    held="Shell and core agree.",
)
def shell_and_core(case: Case) -> Iterator[Complaint]:
    test = case.charge.stress
    if test is None or test.shell_mc is None or test.core_mc is None:
        raise NotChecked("shell and core were not measured")
    apart, allowed = test.core_mc.value - test.shell_mc.value, case.limits.value("shell-and-core")
    if apart > allowed:
        yield Complaint(
            f"Core still wetter by {apart:.1f} points.",
            (case.place("stress", "core_mc"),),
            "core",
            apart,
            allowed,
            "points",
        )
