"""The final survey: corrections, coverage, cooling, and the distribution of its readings."""
# Checks need no docstrings: their decorators describe them, and their pages are made from those.
# ruff: noqa: D103

from __future__ import annotations

import datetime as dt
from collections import Counter
from functools import lru_cache

import numpy as np

from kilnfolio.physics.mixture import Groups, two_groups
from kilnfolio.records.charge import Survey
from kilnfolio.records.middle import median
from kilnfolio.review.ending import SurveyOutcome
from kilnfolio.review.findings import Breach, Case, NoData, NotApplicable, Pass, Results, check
from kilnfolio.review.measures import measure

_GROUP = "end of charge"


def _survey(case: Case) -> tuple[Survey, SurveyOutcome]:
    if case.charge.survey is None or case.survey is None:
        raise NoData("no final survey is on record")
    return case.charge.survey, case.survey


@check(
    "meter-corrections",
    title="Meter corrections",
    group=_GROUP,
    severity="fail",
    answers=(),
    limits=("meter-lowest", "meter-highest", "meter-low-target"),
    source="wood-handbook-2010, p. 13-3",
    reason="A resistance meter reads too wet in hot timber, and outside its range its readings "
    "mean nothing.",
    passes="Meter readings are corrected once and within the meter's range.",
)
def meter_corrections(case: Case) -> Results:
    survey, _ = _survey(case)
    if survey.method != "resistance meter":
        raise NotApplicable("the survey was made by oven, not by meter")
    if "temperature" not in survey.corrected_for and not (
        survey.wood_temperature and survey.calibration_temperature
    ):
        yield Breach(
            "Readings not corrected for temperature, and the temperature of the wood is "
            "not written down.",
            (case.place("survey"),),
            "temperature",
            at=survey.at,
        )
    correction = case.species[case.charge.stock[0].species].meter_correction
    if "species" not in survey.corrected_for and correction is None:
        yield Breach(
            "Readings not corrected for species, and the species sheet gives no correction.",
            (case.place("survey"),),
            "species",
            at=survey.at,
        )
    yield from _out_of_range(case, survey)
    low, high = case.limits.value("meter-lowest"), case.limits.value("meter-highest")
    yield Pass(f"{len(survey.readings)} readings between {low:g} and {high:g} %, corrected once.")


def _out_of_range(case: Case, survey: Survey) -> Results:
    """Yield the number of readings outside the meter's range, and the first of them."""
    low, high = case.limits.value("meter-lowest"), case.limits.value("meter-highest")
    shown = [reading.mc.value for reading in survey.readings]
    expected = case.charge.target_mc.value <= case.limits.value("meter-low-target")
    for side, off in (
        ("below", [i for i, mc in enumerate(shown) if mc < low]),
        ("above", [i for i, mc in enumerate(shown) if mc > high]),
    ):
        if off:
            # in a lot dried to 6 to 8 % some pieces always read below the range
            yield Breach(
                f"{len(off)} of {len(shown)} readings {'is' if len(off) == 1 else 'are'} {side} "
                f"the meter's range of {low:g} to {high:g} %, the first {shown[off[0]]:.1f} %: a "
                f"reading there shows only that the wood is "
                f"{'drier' if side == 'below' else 'wetter'} than the range.",
                (case.place("survey", "readings", off[0]),),
                side,
                len(off),
                0,
                "readings",
                severity="note" if side == "below" and expected else "question",
                at=survey.at,
            )


@check(
    "meter-against-oven",
    title="Meter against oven",
    group=_GROUP,
    severity="question",
    limits=("meter-against-oven",),
    source="common practice; compare wood-handbook-2010, p. 13-3",
    reason="A few pieces dried in the oven show whether the meter is right for this lot.",
    passes="Meter and oven agree.",
)
def meter_against_oven(case: Case) -> Results:
    survey, _ = _survey(case)
    if survey.method != "resistance meter":
        raise NotApplicable("the survey was made by oven, not by meter")
    if not survey.oven_pairs:
        raise NoData("no pieces were measured by meter and oven")
    pairs = survey.oven_pairs
    off = float(np.mean([pair.meter.value - pair.oven.value for pair in pairs]))
    allowed = case.limits.value("meter-against-oven")
    if abs(off) > allowed:
        yield Breach(
            f"Meter reads {off:+.1f} points off oven over {len(pairs)} pieces.",
            (case.place("survey", "oven_pairs"),),
            "meter",
            off,
            allowed,
            "points",
            at=survey.at,
        )
    yield Pass(
        f"The meter reads {round(off, 1) + 0.0:+.1f} points off the oven over {len(pairs)} pieces."
    )


@check(
    "target-reached",
    title="Survey against the target",
    group=_GROUP,
    severity="question",
    limits=("target-reached",),
    source="common practice",
    reason="Boards guide; the survey of the load decides.",
    passes="The survey's mean is at the charge's target.",
)
def target_reached(case: Case) -> Results:
    survey, outcome = _survey(case)
    allowed, target = case.limits.value("target-reached"), case.charge.target_mc.value
    off = outcome.mean_pct - target
    if abs(off) > allowed:
        yield Breach(
            f"Survey mean {outcome.mean_pct:.1f} %; the charge aimed at {target:g} %.",
            (case.place("survey"),),
            "survey",
            off,
            allowed,
            "points",
            at=survey.at,
        )
    yield Pass(f"Survey mean {outcome.mean_pct:.1f} %; the charge aimed at {target:g} %.")


@check(
    "boards-against-survey",
    title="Sample boards against the survey",
    group=_GROUP,
    severity="question",
    limits=("boards-against-survey",),
    source="common practice",
    reason="The boards led the charge and the survey closes it. If they disagree, one of them does "
    "not represent the load.",
    passes="The sample boards' final mean agrees with the survey's.",
)
def boards_against_survey(case: Case) -> Results:
    _, outcome = _survey(case)
    # conditioning puts water back: a weighing before its second half does not show the end
    stage = case.conditioning.stage if case.conditioning else None
    since = stage.start + (stage.end - stage.start) / 2 if stage else case.charge.started
    found = _boards_at_end(case, since)
    if found is None:
        raise NoData("no weighing is on record at the end of drying to compare the survey with")
    boards, unsure = found
    off, allowed = boards - outcome.mean_pct, case.limits.value("boards-against-survey")
    if abs(off) > allowed + unsure:
        yield Breach(
            f"The boards average {boards:.1f} %, the survey {outcome.mean_pct:.1f} %.",
            (case.place("survey"),),
            "boards",
            off,
            allowed,
            "points",
            at=outcome.survey.at,
        )
    yield Pass(f"The boards average {boards:.1f} %, the survey {outcome.mean_pct:.1f} %.")


@measure
def _boards_at_end(case: Case, since: dt.datetime) -> tuple[float, float] | None:
    """Return the mean MC of the boards at the last weighing, and how far the survey's may be off it.

    The second is the expanded uncertainty of their difference [points]. None if no board was
    weighed since that moment.
    """
    last = next((one for one in reversed(case.controls) if one.at > since), None)
    if last is None:
        return None
    _, outcome = _survey(case)
    each = [case.board_uncertainty(board, last.at) for board in last.all_mc]
    low, high = outcome.mean_interval_pct
    unsure = float(np.hypot(np.sqrt(np.sum(np.square(each))) / len(each), (high - low) / 2.0))
    return float(np.mean(list(last.all_mc.values()))), unsure


@check(
    "survey-coverage",
    title="Survey in every pack and position",
    group=_GROUP,
    severity="question",
    limits=("survey-each",),
    source="common practice",
    reason="A kiln's wet spot is always in the same place. Readings that skip a pack may have "
    "skipped it.",
    passes="Every pack and every position of the load was measured.",
)
def survey_coverage(case: Case) -> Results:
    survey, _ = _survey(case)
    packs = case.charge.stacking.packs if case.charge.stacking else {}
    if not packs:
        raise NoData("no stacking record lists the packs")
    if not any(reading.pack or reading.position for reading in survey.readings):
        raise NoData("no reading names its pack or position")
    least = case.limits.value("survey-each")
    by_pack, by_place = _readings_of_packs(case)
    missed = [
        f"pack {pack} ({place})"
        for pack, place in packs.items()
        if (by_pack[pack] if by_pack else by_place[place]) < least
    ]
    for name in missed:
        yield Breach(
            f"{name[:1].upper()}{name[1:]} was not measured.",
            (case.place("survey", "readings"),),
            name,
            0,
            least,
            "readings",
            at=survey.at,
        )
    yield Pass(
        f"{len(survey.readings)} readings, at least {least:g} in each of {len(packs)} packs."
    )


@measure
def _readings_of_packs(case: Case) -> tuple[Counter[str], Counter[str]]:
    """Return how many readings of the survey name each pack, and each position."""
    survey, _ = _survey(case)
    return (
        Counter(reading.pack for reading in survey.readings if reading.pack),
        Counter(reading.position for reading in survey.readings if reading.position),
    )


@measure
def _groups(case: Case) -> Groups:
    """Return the two groups of a survey."""
    _, outcome = _survey(case)
    return _groups_of(tuple(outcome.readings.tolist()))


@lru_cache(maxsize=256)  # a charge is reviewed with the limits of its seal, and with today's
def _groups_of(readings: tuple[float, ...]) -> Groups:
    return two_groups(readings)


@measure
def _middle(case: Case) -> tuple[float, float, float]:
    """Return the median of a survey's readings, their spread about it, and the wettest [%]."""
    _, outcome = _survey(case)
    middle = median(outcome.readings)
    # 1.4826 makes the median deviation a standard deviation for normal data
    sd = max(1.4826 * median(np.abs(outcome.readings - middle)), 0.1)
    return middle, sd, float(outcome.readings.max())


@check(
    "survey-shape",
    title="Shape of the survey",
    group=_GROUP,
    severity="question",
    limits=(
        "survey-shape-least",
        "survey-two-groups",
        "survey-wet-tail",
        "survey-wet-tail-points",
        "survey-wet-tail-share",
    ),
    source="two groups: kass-raftery-1995 (from memory); wet tail: common practice",
    reason="Two groups are two loads in one, or a side that did not dry; a wet tail is what the "
    "customer will find. A mean and a standard deviation show neither.",
    passes="The readings form one group without a wet tail.",
)
def survey_shape(case: Case) -> Results:
    survey, outcome = _survey(case)
    readings, value = outcome.readings, case.limits.value
    if len(readings) < value("survey-shape-least"):
        raise NotApplicable(
            f"{len(readings)} readings are too few to show a shape; "
            f"{value('survey-shape-least'):g} are needed"
        )
    groups = _groups(case)
    if groups.evidence > value("survey-two-groups"):
        yield Breach(
            f"The readings fall into two groups, about {groups.means[0]:.1f} % and "
            f"{groups.means[1]:.1f} % ({100 * groups.share_high:.0f} % of them).",
            (case.place("survey", "readings"),),
            "two groups",
            groups.evidence,
            value("survey-two-groups"),
            "",
            at=survey.at,
        )
    middle, sd, wettest = _middle(case)
    far = readings > middle + max(value("survey-wet-tail") * sd, value("survey-wet-tail-points"))
    above = int(np.count_nonzero(far))
    share = 100.0 * (above / len(readings))
    if share > value("survey-wet-tail-share"):
        yield Breach(
            f"{above} of {len(readings)} readings lie far above the others, the wettest "
            f"at {wettest:.1f} % where the middle one is {middle:.1f} %.",
            (case.place("survey", "readings", int(np.argmax(readings))),),
            "wet tail",
            share,
            value("survey-wet-tail-share"),
            "%",
            at=survey.at,
        )
    yield Pass(
        f"{len(readings)} readings about {middle:.1f} %, the wettest {wettest:.1f} %: one group, and no wet tail."
    )


@check(
    "cooled-before-survey",
    title="Cooled before the survey",
    group=_GROUP,
    severity="question",
    limits=("cooled-hours", "cooled-wood"),
    source="wengert-extension",
    reason="Warm timber reads wet on a meter, and its MC still moves.",
    passes="The timber had cooled before it was surveyed.",
)
def cooled_before_survey(case: Case) -> Results:
    survey, _ = _survey(case)
    cooled = (survey.at - case.charge.ended).total_seconds() / 3600.0
    least, wood = case.limits.value("cooled-hours"), survey.wood_temperature
    if wood is not None and wood.value <= case.limits.value("cooled-wood"):
        yield Pass(f"The wood was at {wood.entered} when it was measured.")
        return
    if cooled < least:
        yield Breach(
            f"Surveyed {max(cooled, 0.0):.0f} h after drying ended; {least:g} h are usual "
            "for the timber to cool.",
            (case.place("survey", "at"),),
            "survey",
            cooled,
            least,
            "h",
            at=survey.at,
        )
    yield Pass(f"Surveyed {cooled:.0f} h after drying ended.")
