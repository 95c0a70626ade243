"""The end of a charge: equalizing, conditioning, drying stress and energy."""
# Checks need no docstrings: their decorators describe them, and their pages are made from those.
# ruff: noqa: D103

from __future__ import annotations

import numpy as np

from kilnfolio.review.findings import Breach, Case, NoData, NotApplicable, Pass, Results, check
from kilnfolio.review.stages import CONDITIONING_LIMITS, stage_rule

_GROUP = "end of charge"


@check(
    "equalizing-start",
    title="Equalizing begun in time",
    group=_GROUP,
    severity="question",
    limits=("equalizing-below-target", "equalizing-start-tolerance"),
    source="wengert-extension (target − 2); usda-gtr-57 (target − 3); the sources differ",
    reason="If it begins late, the driest boards are already too dry; if it begins early, the "
    "wettest will not come down in time.",
    passes="Equalizing began when the driest board was due, at the EMC the rule gives.",
)
def equalizing_start(case: Case) -> Results:
    stage = case.equalizing
    if stage is None:
        raise NotApplicable("the charge was not equalized")
    tolerance = case.limits.value("equalizing-start-tolerance")
    due = stage_rule(case, "equalizing")
    timed = case.schedule.time_based
    if stage.at_start is None and not timed:
        raise NoData("no weighing is on record before equalizing")
    driest = stage.at_start.driest_pct if stage.at_start and not timed else due
    # a board's MC is known only to within its uncertainty
    board = (
        min(stage.at_start.all_mc, key=stage.at_start.all_mc.__getitem__) if stage.at_start else ""
    )
    unsure = case.board_uncertainty(board, stage.stage.start)
    if abs(driest - due) > tolerance + unsure:
        yield Breach(
            f"Equalizing began at driest {driest:.1f} %; the rule says {due:g} %.",
            (case.place("equalizing", "start"),),
            "driest board",
            driest,
            due,
            "%",
            at=stage.stage.start,
        )
    if abs(stage.stage.emc.value - due) > tolerance:
        yield Breach(
            f"Equalizing EMC was set to {stage.stage.emc.value:.1f} %; the rule says {due:g} %.",
            (case.place("equalizing", "emc"),),
            "EMC",
            stage.stage.emc.value,
            due,
            "%",
            at=stage.stage.start,
        )
    elif timed:
        raise NotApplicable("the schedule goes by the clock, so that no MC says when to begin")
    yield Pass(
        f"Equalizing began with the driest board at {driest:.1f} %, due at {due:g} %, and "
        f"was set to {stage.stage.emc.value:.1f} % EMC."
    )


@check(
    "equalizing-end",
    title="Equalizing ended in time",
    group=_GROUP,
    severity="fail",
    limits=("equalizing-end-tolerance", "stage-end-grace"),
    source="wengert-extension",
    reason="Equalizing ends when the wettest board is at the target, not after the usual number of "
    "hours.",
    passes="The wettest board was at or below the target when equalizing ended.",
)
def equalizing_end(case: Case) -> Results:
    stage = case.equalizing
    if stage is None:
        raise NotApplicable("the charge was not equalized")
    if stage.at_end is None:
        raise NoData("no weighing is on record at the end of equalizing")
    target = case.charge.target_mc.value
    mcs = stage.at_end.all_mc
    board = max(mcs, key=mcs.__getitem__)
    wettest, unsure = mcs[board], case.board_uncertainty(board, stage.at_end.at)
    if wettest > target + case.limits.value("equalizing-end-tolerance"):
        sure = wettest > target + unsure + case.limits.value("equalizing-end-tolerance")
        within = "" if sure else f", within its own uncertainty of {unsure:.1f} points"
        yield Breach(
            f"Wettest still {wettest:.1f} % (board {board}) when equalizing ended; the "
            f"target is {target:g} %{within}.",
            (case.place("equalizing", "end"),),
            board,
            wettest,
            target,
            "%",
            severity="fail" if sure else "question",
            at=stage.stage.end,
        )
    yield Pass(
        f"The wettest board ({board}) was at {wettest:.1f} % when equalizing ended; the "
        f"target is {target:g} %."
    )


@check(
    "driest-board",
    title="Driest board not over-dried",
    group=_GROUP,
    severity="question",
    limits=("driest-board",),
    source="common practice",
    reason="Boards dried far below the target are stressed, shrunk and brittle, and take weeks to "
    "come back.",
    passes="No board was dried far below the target.",
)
def driest_board(case: Case) -> Results:
    ended = case.charge.ended
    if case.equalizing is not None and case.equalizing.at_end is not None:
        control = case.equalizing.at_end
    else:
        known = [one for one in case.controls if case.charge.started < one.at <= ended]
        if not known:
            raise NoData("no weighing is on record near the end")
        control = known[-1]
    target, below = case.charge.target_mc.value, case.limits.value("driest-board")
    board = min(control.all_mc, key=control.all_mc.__getitem__)
    driest, unsure = control.all_mc[board], case.board_uncertainty(board, control.at)
    if driest < target - below - unsure:
        yield Breach(
            f"Board {board} was dried to {driest:.1f} %, {target - driest:.1f} points below the "
            f"target of {target:g} %.",
            case.weighing_place(control.at, board),
            board,
            driest,
            target - below,
            "%",
            at=control.at,
        )
    yield Pass(
        f"The driest board ({board}) was at {driest:.1f} % on {case.clock(control.at)}; the "
        f"target is {target:g} %."
    )


@check(
    "conditioning-emc",
    title="Equalizing and conditioning air reached",
    group=_GROUP,
    severity="question",
    limits=("stage-emc",),
    source="common practice",
    reason="Stress is relieved by heat and a set EMC; air short of it leaves casehardened boards.",
    passes="Equalizing and conditioning reached the EMC they were set for.",
)
def conditioning_emc(case: Case) -> Results:
    stages = [
        (name, stage)
        for name, stage in (("equalizing", case.equalizing), ("conditioning", case.conditioning))
        if stage
    ]
    if not stages:
        raise NotApplicable("the charge was neither equalized nor conditioned")
    known = [
        (name, stage.stage, stage.achieved_emc_pct)
        for name, stage in stages
        if stage.achieved_emc_pct is not None
    ]
    if not known:
        raise NoData("no log covers equalizing or conditioning")
    allowed = case.limits.value("stage-emc")
    for name, stage, achieved in known:
        off = achieved - stage.emc.value
        if abs(off) > allowed:
            yield Breach(
                f"{name.capitalize()} air not reached: EMC {achieved:.1f} % "
                f"against {stage.emc.value:.1f} % set.",
                (case.place(name, "emc"),),
                name,
                off,
                allowed,
                "points",
                at=stage.start,
            )
    held = "; ".join(
        f"{name} held {achieved:.1f} % EMC in its second half, set to {stage.emc.value:.1f} %"
        for name, stage, achieved in known
    )
    yield Pass(f"{held[:1].upper()}{held[1:]}.")


@check(
    "conditioning-rise",
    title="Conditioning air reached promptly",
    group=_GROUP,
    severity="note",
    limits=("stage-emc", "conditioning-rise"),
    source="common practice",
    reason="Conditioning works while the wood is hot and the shells are still dry; air that comes "
    "slowly wets the shells without relieving them.",
    passes="The conditioning air was reached promptly.",
)
def conditioning_rise(case: Case) -> Results:
    stage = case.conditioning
    if stage is None:
        raise NotApplicable("the charge was not conditioned")
    air, allowed = case.need_air(), case.limits.value("conditioning-rise")
    part = air.within(stage.stage.start, stage.stage.end)
    emc = air.emc[part]
    if not np.isfinite(emc).any():
        raise NoData("the log gives no EMC while conditioning")
    near = np.flatnonzero(np.abs(emc - stage.stage.emc.value) <= case.limits.value("stage-emc"))
    hours = (
        (air.seconds[part][near[0]] - stage.stage.start.timestamp()) / 3600.0
        if len(near)
        else stage.hours
    )
    if hours > allowed:
        words = f"took {hours:.1f} h to come" if len(near) else "did not come"
        yield Breach(
            f"Conditioning air {words} within {case.limits.value('stage-emc'):g} point of the "
            f"{stage.stage.emc.value:.1f} % EMC set.",
            (case.place("conditioning", "start"),),
            "conditioning",
            hours,
            allowed,
            "h",
            at=stage.stage.start,
        )
    yield Pass(
        f"Conditioning air came within {case.limits.value('stage-emc'):g} point of its EMC "
        f"in {max(hours, 0.0):.1f} h."
    )


@check(
    "conditioning-rule",
    title="Conditioning EMC by the rule",
    group=_GROUP,
    severity="question",
    limits=("stage-emc", *CONDITIONING_LIMITS),
    source="dry-kiln-operators-manual, ch. 7 (from memory)",
    reason="Set too low, the air relieves nothing; set too high, the shells swell and the stress "
    "is reversed.",
    passes="Conditioning was set to the EMC the rule gives.",
)
def conditioning_rule(case: Case) -> Results:
    if case.conditioning is None:
        raise NotApplicable("the charge was not conditioned")
    rule = stage_rule(case, "conditioning")
    stage = case.conditioning.stage
    if abs(stage.emc.value - rule) > case.limits.value("stage-emc"):
        yield Breach(
            f"Conditioning EMC was set to {stage.emc.value:.1f} %; the rule says {rule:.3g} %.",
            (case.place("conditioning", "emc"),),
            "EMC",
            stage.emc.value,
            rule,
            "%",
            at=stage.start,
        )
    yield Pass(
        f"Conditioning was set to {stage.emc.value:.1f} % EMC; the rule says {rule:.3g} % "
        f"for a target of {case.charge.target_mc.value:g} %."
    )


@check(
    "energy-for-water",
    title="Energy for each kilogram of water",
    group=_GROUP,
    severity="note",
    limits=(
        "energy-low",
        "energy-high",
        "heat-pump-energy-low",
        "heat-pump-energy-high",
        "loading-temperature",
    ),
    source="dry-kiln-operators-manual, p. 239 (1.5 to 4 times the latent heat); heat pumps: common "
    "practice",
    reason="If no kiln of this kind could use so much or so little, a meter, a volume or a board "
    "is wrong.",
    passes="The energy metered fits the water removed and the kind of kiln.",
)
def energy_for_water(case: Case) -> Results:
    if case.charge.energy is None:
        raise NotApplicable("no metered energy is on record")
    kind = case.kiln.kind
    if kind not in ("steam", "hot-water", "dehumidification"):
        raise NotApplicable(f"no usual figure is known for a {kind} kiln")
    if case.water is None or case.water.water_kg <= 0.0:
        raise NoData(
            "boards, survey or density are missing, so nobody knows how much water was lost"
        )
    prefix = "heat-pump-" if kind == "dehumidification" else ""
    low, high = (case.limits.value(f"{prefix}energy-{end}") for end in ("low", "high"))
    found = case.charge.energy.value / case.water.water_kg
    if not low <= found <= high:
        yield Breach(
            f"{found:.2f} kWh for each kilogram of water; a {kind} kiln takes {low:g} to {high:g}: "
            "check the meter, the volume and the boards.",
            (case.place("energy"),),
            "energy",
            found,
            high if found > high else low,
            "kWh/kg",
        )
    yield Pass(
        f"{found:.2f} kWh for each kilogram of water; a {kind} kiln takes {low:g} to {high:g}."
    )


@check(
    "drying-stress",
    title="Stress test",
    group=_GROUP,
    severity="question",
    limits=("stressed-share",),
    source="wengert-extension (prongs straight within 1/8 in)",
    reason="Casehardened boards close on the saw and cup after ripping.",
    passes="The sections tested show no stress beyond the limit.",
)
def drying_stress(case: Case) -> Results:
    test = case.charge.stress
    if test is None or not test.gaps:
        raise NoData("no stress test is on record")
    stressed = sum(abs(gap.value) > test.limit.value for gap in test.gaps)
    share = 100.0 * stressed / len(test.gaps)
    if share > case.limits.value("stressed-share"):
        yield Breach(
            f"{stressed} of {len(test.gaps)} sections stressed beyond {test.limit.entered}.",
            (case.place("stress"),),
            "stress",
            share,
            case.limits.value("stressed-share"),
            "%",
            at=test.at,
        )
    yield Pass(
        f"{stressed} of {len(test.gaps)} sections were stressed beyond {test.limit.entered}."
    )


@check(
    "shell-and-core",
    title="Shell and core",
    group=_GROUP,
    severity="question",
    limits=("shell-and-core",),
    source="common practice",
    reason="A core still wet will go on drying in the joiner's shop.",
    passes="Shell and core agree.",
)
def shell_and_core(case: Case) -> Results:
    test = case.charge.stress
    if test is None or test.shell_mc is None or test.core_mc is None:
        raise NoData("shell and core were not measured")
    apart, allowed = test.core_mc.value - test.shell_mc.value, case.limits.value("shell-and-core")
    if apart > allowed:
        yield Breach(
            f"Core still wetter by {apart:.1f} points.",
            (case.place("stress", "core_mc"),),
            "core",
            apart,
            allowed,
            "points",
            at=test.at,
        )
    yield Pass(f"Core {test.core_mc.value:.1f} %, shell {test.shell_mc.value:.1f} %.")
