"""The whole review: from a charge and its context to a Dossier, and from a lot to a LotDossier."""

from __future__ import annotations

import datetime as dt
import hashlib
import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from kilnfolio import __version__
from kilnfolio.physics.survey import tolerance_limits
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.kinds import OWN_CODE
from kilnfolio.records.log import Log, as_datetime, join_logs, read_log
from kilnfolio.records.mill import Mill
from kilnfolio.records.model import Located
from kilnfolio.records.open_charge import OpenCharge
from kilnfolio.records.problems import Problem, RecordProblems
from kilnfolio.records.setpoints import (
    AskedAir,
    PlannedStep,
    asked_air,
    impossible_stages,
    mill_pressure,
    possible_steps,
)
from kilnfolio.review import checks as _registered  # noqa: F401  fills the registry
from kilnfolio.review import dossier as d
from kilnfolio.review.air import (
    SUMMARY_POINTS,
    AirSeries,
    air_series,
    datetimes_of,
    jumps_of,
    summarize,
)
from kilnfolio.review.assessment import judge, readings_of
from kilnfolio.review.boards import board_histories, controls
from kilnfolio.review.ending import (
    CONFIDENCE_PCT,
    TOLERANCE_SHARE_PCT,
    StageOutcome,
    probe_runs,
    survey_outcome,
)
from kilnfolio.review.findings import CHECKS, NO_OWN_CODE, Case, LotCase, OwnCode
from kilnfolio.review.formulas import FORMULAS
from kilnfolio.review.formulas.masses import BY_RULE
from kilnfolio.review.limits import LimitTable, Subject, charge_limits, limit_table
from kilnfolio.review.measures import under
from kilnfolio.review.results import (
    adherence_result,
    air_points,
    air_result,
    board_results,
    rounded,
    set_points,
)
from kilnfolio.review.running import run_checks
from kilnfolio.review.sensors import corrected_log, pin_rounds
from kilnfolio.review.stages import stage_rule
from kilnfolio.review.steps import judged_steps
from kilnfolio.review.versions import rules_version
from kilnfolio.review.working import evaluate
from kilnfolio.runtime.files import read_file

PSYCHROMETER = "ventilated wet bulb, A = 0.000662 per °C"
EMC_EQUATION = "Hailwood–Horrobin, two hydrates (Wood Handbook, eq. 4-5)"


def review_charge(
    folder: MillFolder, charge_id: str, own: OwnCode | None = NO_OWN_CODE
) -> d.Dossier:
    """Review one charge.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    charge_id : str
        The charge's number.
    own : OwnCode or None
        The mill's own checks; None to leave them out, and whatever answers them.

    Returns
    -------
    Dossier

    Raises
    ------
    RecordProblems
        A logger file does not match its profile.
    KeyError
        There is no complete charge of this number.
    """
    located = folder.located_charge(charge_id)
    if isinstance(located, OpenCharge):
        raise KeyError(charge_id)
    case = build_case(folder, located, read_logs(folder, located), own)
    return dossier_of(folder, case)


def read_logs(folder: MillFolder, located: Located[Charge]) -> Log | None:
    """Return the joined logs of a charge; None if it names none.

    Raises
    ------
    RecordProblems
        A logger file does not match its profile.
    """
    home, logs = Path(located.file).parent, []
    problems: list[Problem] = []
    zone = folder.mill.record.zone
    for entry in located.record.log:
        shown_as = (home / entry.file).as_posix()
        path = folder.file(shown_as)
        try:
            logs.append(read_log(path, shown_as, folder.loggers[entry.profile].record, zone))
        except RecordProblems as error:
            problems.extend(error.problems)
    if problems:
        raise RecordProblems(problems)
    return join_logs(logs) if logs else None


def build_case(
    folder: MillFolder,
    located: Located[Charge],
    log: Log | None,
    own: OwnCode | None = NO_OWN_CODE,
    limits: LimitTable | None = None,
) -> Case:
    """Compute everything that the checks use.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    located : Located of Charge
        The charge.
    log : Log or None
        Its joined logs; see `read_logs`.
    own : OwnCode or None
        As for `review_charge`.
    limits : LimitTable, optional
        The limits to use; by default the mill's for this charge (`limits.charge_limits`).

    Raises
    ------
    RecordProblems
        The schedule, or equalizing or conditioning, asks for impossible air.
    """
    charge = located.record
    pressure = mill_pressure(folder)
    kiln, schedule = folder.kilns[charge.kiln], folder.schedules[charge.schedule]
    species = {stock.species: folder.species[stock.species].record for stock in charge.stock}
    main = charge.stock[0]
    limits = limits or charge_limits(folder, charge)
    steps = possible_steps(folder, schedule, pressure)
    if log is not None:
        log = corrected_log(log, kiln.record, species[main.species])
    air = _air(log, pressure, limits)
    boards = board_histories(charge)
    control = controls(charge, boards, pin_rounds(log, folder.mill.record.zone))
    survey = survey_outcome(charge.survey, species[main.species]) if charge.survey else None
    probes = (
        probe_runs(charge.heat_treatment, log, kiln.record, 2 * log.interval_minutes)
        if charge.heat_treatment and log is not None
        else ()
    )
    for key in ("stage-end-grace", "loading-temperature"):
        limits.value(key)  # raises NoLimit, also for a charge that does not need it
    return Case(
        located,
        kiln,
        schedule,
        species,
        steps,
        _asked(located, steps, pressure),
        air,
        boards,
        control,
        survey,
        probes,
        limits,
        pressure,
        folder.mill.record.zone,
        own,
    )


def with_limits(case: Case, limits: LimitTable) -> Case:
    """Return a case with other limits; it shares the measures unless other readings jump."""
    if case.air is None:
        return under(case, limits)
    log = case.air.log
    jumps = jumps_of(log, limits)
    if jumps == case.air.jumps:
        return under(case, limits)
    air = air_series(log, case.pressure_pa, jumps)
    return replace(case, limits=limits, air=air, measures={})


def _air(log: Log | None, pressure_pa: float, limits: LimitTable) -> AirSeries | None:
    if log is None or not len(log.times):
        return None
    return air_series(log, pressure_pa, jumps_of(log, limits))


def _asked(
    located: Located[Charge], steps: tuple[PlannedStep, ...], pressure_pa: float
) -> tuple[AskedAir, ...]:
    try:
        return asked_air(located.record, steps, pressure_pa)
    except ValueError:
        raise RecordProblems(impossible_stages(located, pressure_pa)) from None


# --- from a case to a dossier ---------------------------------------------------------------------


def dossier_of(folder: MillFolder, case: Case) -> d.Dossier:
    """Return the dossier of a case, with rounded numbers and the findings of every check."""
    charge = case.charge
    return d.Dossier(
        charge=charge.id,
        invented=charge.invented,
        kiln=charge.kiln,
        rules=d.Rules(
            version=rules_version(),
            kilnfolio=__version__,
            limits_revision=folder.limits.record.revision,
            schedule=f"{charge.schedule}, revision {charge.schedule_revision}",
            pressure_pa=round(case.pressure_pa),
            psychrometer=PSYCHROMETER,
            emc_equation=EMC_EQUATION,
            own_code=case.own.digest if case.own else "",
        ),
        inputs=_inputs(folder, case),
        started=charge.started,
        ended=charge.ended,
        target_mc_pct=charge.target_mc.value,
        boards=board_results(case),
        control_rule=charge.control_rule,
        controlling=_controlling(case),
        log=_log(case),
        set_points=set_points(case),
        steps=_steps(case),
        adherence=adherence_result(case),
        gaps=_gaps(case),
        equalizing=_stage(case, "equalizing"),
        conditioning=_stage(case, "conditioning"),
        survey=survey_result(case),
        heat=heat_result(case),
        water=_water(case, folder.mill.record),
        air=air_result(case),
        workings=_workings(case),
        findings=run_checks(case, charge.answers, charge.waivers),
    )


def _inputs(folder: MillFolder, case: Case) -> tuple[d.Input, ...]:
    """Return the digest of every file that the review read."""
    located, charge = case.located, case.charge
    files = [
        located.file,
        folder.mill.file,
        folder.limits.file,
        folder.kilns[charge.kiln].file,
        folder.schedules[charge.schedule].file,
        *(folder.species[stock.species].file for stock in charge.stock),
    ]
    home = Path(located.file).parent
    for entry in charge.log:
        files += [(home / entry.file).as_posix(), folder.loggers[entry.profile].file]
    if folder.schedules[charge.schedule].record.notation:
        files.append(next(iter(folder.notations.values())).file)
    if case.own and case.own.digest:
        files += folder.graph.names(OWN_CODE)
    return tuple(_input(folder, name) for name in dict.fromkeys(files))


def _input(folder: MillFolder, name: str) -> d.Input:
    raw = read_file(folder.file(name))
    return d.Input(path=name, sha256=hashlib.sha256(raw).hexdigest(), size=len(raw))


def _controlling(case: Case) -> tuple[d.ControlPoint, ...]:
    return tuple(
        d.ControlPoint(
            at=control.at,
            mc_pct=round(control.mc_pct, 2),
            mean_pct=round(float(np.mean(list(control.all_mc.values()))), 2),
            wettest_pct=round(control.wettest_pct, 2),
            driest_pct=round(control.driest_pct, 2),
            boards=control.boards,
        )
        for control in case.controls
    )


def _log(case: Case) -> d.LogSummary | None:
    if case.air is None:
        return None
    log = case.air.log
    summary = summarize(case.air)
    used = int(np.isfinite(case.air.dry_bulb).sum())
    left_out = dict(sorted(log.left_out.items()))
    return d.LogSummary(
        rows=log.rows,
        used=used,
        left_out=left_out,
        first=log.moment(0, case.zone),
        last=log.moment(-1, case.zone),
        interval_minutes=log.interval_minutes,
        summary_hours=summary.hours,
        air=air_points(case, summary),
        cores=_cores(case, case.air),
    )


def _cores(case: Case, air: AirSeries) -> dict[str, tuple[tuple[dt.datetime, float], ...]]:
    """Return core temperatures thinned for the chart; `heat` has the extremes of the claim."""
    cores = {name: own for name, own in air.log.channels.items() if name.startswith("core-")}
    if not cores:
        return {}
    every = max(1, len(air.times) // SUMMARY_POINTS)
    moments = datetimes_of(air.times[::every], case.zone)
    return {
        name: tuple(
            (at, value)
            for at, value in zip(moments, np.round(values[::every], 2).tolist(), strict=True)
            if value == value
        )
        for name, values in cores.items()
    }


def _steps(case: Case) -> tuple[d.StepReplay, ...]:
    return tuple(
        d.StepReplay(
            at=one.change.at,
            step=one.change.step,
            trigger_pct=one.trigger_pct,
            controlling_pct=rounded(one.control.mc_pct if one.control else None, 2),
            boards=one.control.boards if one.control else (),
            early_by_pct=rounded(one.early_by_pct, 2),
            verdict=one.verdict,
            waited_hours=rounded(one.waited_hours, 1) if one.due_since else None,
        )
        for one in judged_steps(case)
    )


def _gaps(case: Case) -> tuple[d.Gap, ...]:
    gaps = [
        d.Gap(start=stop.start, end=stop.end, kind="stop", cause=stop.cause)
        for stop in case.charge.stops
    ]
    if case.air is not None:
        times = case.air.times
        minutes = case.air.minutes
        longest = case.limits.value("gap-intervals") * case.air.log.interval_minutes
        gaps += [
            d.Gap(
                start=as_datetime(times[i], case.zone),
                end=as_datetime(times[i + 1], case.zone),
                kind="gap",
            )
            for i in np.flatnonzero(minutes > longest)
        ]
    return tuple(sorted(gaps, key=lambda gap: gap.start))


def _stage(case: Case, name: str) -> d.StageResult | None:
    outcome: StageOutcome | None = getattr(case, name)
    if outcome is None:
        return None
    start, end = outcome.at_start, outcome.at_end
    return d.StageResult(
        start=outcome.stage.start,
        end=outcome.stage.end,
        set_emc_pct=outcome.stage.emc.value,
        rule_emc_pct=round(stage_rule(case, name), 2),
        achieved_emc_pct=rounded(outcome.achieved_emc_pct, 2),
        driest_at_start_pct=rounded(start.driest_pct if start else None, 2),
        wettest_at_start_pct=rounded(start.wettest_pct if start else None, 2),
        wettest_at_end_pct=rounded(end.wettest_pct if end else None, 2),
        driest_at_end_pct=rounded(end.driest_pct if end else None, 2),
        hours=round(outcome.hours, 1),
    )


def survey_result(case: Case) -> d.SurveyResult | None:
    """Return the final survey for the dossier."""
    outcome = case.survey
    if outcome is None:
        return None
    readings, record = outcome.readings, outcome.survey
    limits = (
        tolerance_limits(readings, TOLERANCE_SHARE_PCT / 100.0, CONFIDENCE_PCT / 100.0)
        if len(readings) > 1
        else None
    )
    return d.SurveyResult(
        at=record.at,
        method=record.method,
        readings=tuple(round(float(value), 2) for value in readings),
        positions=tuple(reading.position or "" for reading in record.readings),
        packs=tuple(reading.pack or "" for reading in record.readings),
        correction_pct=round(outcome.correction_pct, 2),
        correction_words=outcome.correction_words,
        n=len(readings),
        mean_pct=round(outcome.mean_pct, 2),
        sd_pct=round(outcome.sd_pct, 2),
        driest_pct=round(float(readings.min()), 2),
        wettest_pct=round(float(readings.max()), 2),
        mean_low_pct=round(outcome.mean_interval_pct[0], 2),
        mean_high_pct=round(outcome.mean_interval_pct[1], 2),
        tolerance_low_pct=rounded(limits[0], 2) if limits else None,
        tolerance_high_pct=rounded(limits[1], 2) if limits else None,
        tolerance_share_pct=TOLERANCE_SHARE_PCT if limits else None,
        chosen=record.chosen,
    )


def heat_result(case: Case) -> tuple[d.HeatRun, ...]:
    """Return the heat-treatment runs for the dossier."""
    claim = case.charge.heat_treatment
    if claim is None or case.air is None:
        return ()
    times = case.air.times
    return tuple(
        d.HeatRun(
            channel=run.probe.channel,
            position=run.probe.position,
            threshold_c=round(claim.threshold.value, 2),
            required_minutes=claim.minutes,
            longest_minutes=round(run.minutes, 1),
            start=None if run.start is None else as_datetime(times[run.start], case.zone),
            end=None if run.end is None else as_datetime(times[run.end], case.zone),
            highest_c=round(run.highest_c, 2),
            uncertainty_k=run.uncertainty_k,
        )
        for run in case.probes
    )


def _water(case: Case, mill: Mill) -> d.WaterAndHeat | None:
    """Return water, least heat and metered energy, with its cost if the mill gives a tariff."""
    water, metered, price = case.water, case.charge.energy, mill.energy_price
    if water is None or not math.isfinite(water.least_heat_kwh):
        return None
    return d.WaterAndHeat(
        volume_m3=round(water.volume_m3, 2),
        basic_density_kg_m3=round(water.basic_density_kg_m3),
        mc_from_pct=round(water.mc_from_pct, 1),
        mc_to_pct=round(water.mc_to_pct, 1),
        water_kg=float(round(water.water_kg)),
        least_heat_kwh=float(round(water.least_heat_kwh)),
        metered_kwh=metered.value if metered else None,
        metered_over_least=round(metered.value / water.least_heat_kwh, 2)
        if metered and water.least_heat_kwh
        else None,
        cost=round(metered.value * price[0], 2) if metered and price else None,
        currency=price[1] if price and metered else "",
        tariff=mill.energy_tariff or "" if metered else "",
    )


def _workings(case: Case) -> tuple[d.Working, ...]:
    """Return the working of the boards and the last weighing."""
    found: list[d.Working] = []

    def show(formula: str, label: str, **values: object) -> None:
        found.append(evaluate(FORMULAS[formula], label, values).working)

    for history in case.boards:
        name = history.board.id
        records = {record.id: record for record in history.board.sections}
        for section in history.sections:
            record = records[section.id]
            show(
                "moisture_content",
                f"MC of section {section.id}",
                mass=record.green,
                oven_dry_mass=record.oven_dry,
            )
        if history.sections:
            show(
                "oven_dry_mass",
                f"Oven-dry mass of board {name}",
                mass=history.board.green_mass,
                mc=round(history.mean_mc_pct, 2),
            )
        for later in history.estimates[1:]:
            show(
                "oven_dry_mass",
                f"Oven-dry mass of board {name}, sectioned again {case.clock(later.at)}",
                mass=round(later.mass_g, 1),
                mc=round(later.mean_mc_pct, 2),
            )
        if history.points[1:]:
            last = history.points[-1]
            show(
                "moisture_content",
                f"MC of board {name}, {case.clock(last.at)}",
                mass=round(last.mass_g, 1),
                oven_dry_mass=round(history.estimate_at(last.at).oven_dry_g, 1),
            )
    if case.controls:
        last_control = case.controls[-1]
        show(
            BY_RULE[case.charge.control_rule],
            f"Controlling MC, {case.clock(last_control.at)}",
            of=[round(mc, 2) for mc in last_control.all_mc.values()],
        )
    if case.survey is not None and len(case.survey.readings) > 1:
        said = {
            "mean": round(case.survey.mean_pct, 2),
            "sd": round(case.survey.sd_pct, 2),
            "readings": len(case.survey.readings),
            "confidence": CONFIDENCE_PCT,
        }
        show("confidence_interval", "Mean of the load", **said)
        show("tolerance_limits", "Tolerance limits of the load", share=TOLERANCE_SHARE_PCT, **said)
    return tuple(found)


# --- lots -----------------------------------------------------------------------------------------


def review_lot(folder: MillFolder, lot_id: str, dossiers: Mapping[str, d.Dossier]) -> d.LotDossier:
    """Review one lot against its order.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    lot_id : str
        The lot's number.
    dossiers : dict of str to Dossier
        The reviews of at least its charges.
    """
    case = build_lot_case(folder, lot_id, dossiers)
    lot = case.lot
    return d.LotDossier(
        lot=lot.id,
        charges=tuple(case.dossiers),
        readings=tuple(float(value) for value in readings_of(case)),
        judgement=judge(case),
        heat_treated=_heat_treated(case),
        findings=run_checks(case, case.lot.answers),
    )


def build_lot_case(
    folder: MillFolder,
    lot_id: str,
    dossiers: Mapping[str, d.Dossier],
    limits: LimitTable | None = None,
) -> LotCase:
    """Gather everything that the checks of lots use; `limits` stand in for the mill's."""
    located = folder.lots[lot_id]
    lot = located.record
    charges = sorted({pack.charge for pack in lot.packs})
    species = folder.species[lot.species].record
    return LotCase(
        located,
        {name: dossiers[name] for name in charges},
        {name: folder.charges[name] for name in charges},
        {
            name: tuple(
                pack
                for other in folder.lots_of_charge[name]
                for pack in folder.lots[other].record.packs
                if pack.charge == name
            )
            for name in charges
        },
        {pack.number: folder.charges_with_pack[pack.number] for pack in lot.packs},
        species,
        limits
        or limit_table(
            folder,
            Subject((lot.species,), species.kind, lot.thickness.value, lot.order.target_mc.value),
        ),
        folder.mill.record.zone,
    )


def _heat_treated(case: LotCase) -> bool | None:
    """Return whether every charge's evidence passes; None if not asked for or without evidence."""
    if not case.lot.heat_treatment_stated:
        return None
    checks = [name for name, check in CHECKS.items() if check.claim == "heat treatment"]
    outcomes = {
        finding.outcome
        for dossier in case.dossiers.values()
        for finding in dossier.findings
        if finding.check in checks
    }
    if not all(dossier.heat for dossier in case.dossiers.values()) or "no data" in outcomes:
        return None
    return "fail" not in outcomes
