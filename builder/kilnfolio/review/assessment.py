"""Assesses whether a lot meets its order, with the strongest statement its readings support."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from kilnfolio.physics.survey import readings_needed, share_shown, within_band
from kilnfolio.records.lot import Order
from kilnfolio.review.dossier import Assessment
from kilnfolio.review.findings import LotCase
from kilnfolio.review.limits import NoLimit
from kilnfolio.review.measures import measure
from kilnfolio.runtime.values import dataclass

#: Confidence of the printed share [%]; a convention of reports in the trade.
CONFIDENCE_PCT = 95.0

#: Which readings a lot is judged by, in the words of its page.
OWN_PACKS = "the lot's own packs"
WHOLE_CHARGE = "the whole charge"
WHOLE_CHARGES = "the whole charges"

#: Checks of a charge that concern the moisture claim of every lot drawn from it.
_UNRELIABLE = ("fail",)


@dataclass(frozen=True)
class Rule:
    """What an order requires of a lot, in % MC and % of pieces."""

    words: str
    piece_low: float | None
    piece_high: float | None
    mean_low: float | None
    mean_high: float | None
    share: float


@dataclass(frozen=True)
class Chosen:
    """The readings by which a lot is judged, in % MC, and which ones they are."""

    readings: np.ndarray
    words: str
    of_charges: int
    """Readings of the whole charges."""
    at_hand: bool = False
    """Some were of pieces at hand, not picked."""


@measure
def chosen_readings(case: LotCase) -> Chosen:
    """Return the readings by which a lot is judged.

    If every pack of the lot has readings, those; else all readings of its charges, because the
    other packs alone do not represent a pack that nobody measured.
    """
    surveys = case.surveys
    if not surveys:
        return Chosen(np.array([]), "", 0)
    every = np.concatenate([survey.readings for survey in surveys])
    packs = np.array([pack for survey in surveys for pack in survey.packs])
    wanted = {pack.number for pack in case.lot.packs}
    own = np.isin(packs, sorted(wanted))
    at_hand = any(survey.chosen == "convenience" for survey in surveys)
    if wanted <= set(packs[own].tolist()):
        return Chosen(every[own], OWN_PACKS, len(every), at_hand)
    return Chosen(
        every, WHOLE_CHARGE if len(case.dossiers) == 1 else WHOLE_CHARGES, len(every), at_hand
    )


def readings_of(case: LotCase) -> np.ndarray:
    """Return the corrected readings by which a lot is judged, in % MC."""
    return chosen_readings(case).readings


def rule_of(case: LotCase) -> Rule:
    """Return the requirement of the order in numbers.

    Raises
    ------
    NoLimit
        The limits file lacks the standard's row for this target.
    """
    order = case.lot.order
    if order.rule == "en-14298":
        return _standard_rule(case, order)
    share = order.share.value if order.share else 100.0
    highest = order.highest.value if order.highest else None
    if order.rule == "maximum":
        return Rule(
            f"no piece above {highest:g} % MC"
            if share == 100
            else f"{share:g} % of pieces at or below {highest:g} % MC",
            None,
            highest,
            None,
            None,
            share,
        )
    lowest = order.lowest.value if order.lowest else None
    mean_low = order.mean_lowest.value if order.mean_lowest else None
    mean_high = order.mean_highest.value if order.mean_highest else None
    words = f"{share:g} % of pieces from {lowest:g} to {highest:g} % MC"
    if mean_low is not None and mean_high is not None:
        words += f", mean {mean_low:g} to {mean_high:g} %"
    return Rule(words, lowest, highest, mean_low, mean_high, share)


def _standard_rule(case: LotCase, order: Order) -> Rule:
    target = order.target_mc.value
    value = case.limits.value
    mean_low, mean_high = value("en-14298-mean-low"), value("en-14298-mean-high")
    low, high = value("en-14298-piece-low") * target, value("en-14298-piece-high") * target
    share = value("en-14298-share")
    return Rule(
        f"EN 14298, target {target:g} %: mean {mean_low:g} to {mean_high:g} %, "
        f"{share:g} % of "
        f"pieces from {low:.1f} to {high:.1f} %",
        low,
        high,
        mean_low,
        mean_high,
        share,
    )


def judge(case: LotCase) -> Assessment:
    """Return whether the readings meet the order, and what may be stated.

    A failed check on the moisture record of a charge leaves the lot not assessed: missing or
    doubtful evidence never becomes a statement.
    """
    words = f"target {case.lot.order.target_mc.value:g} % MC"
    try:
        rule = rule_of(case)
    except NoLimit:
        return Assessment(
            rule=words,
            met=None,
            sentence="Not assessed: the row of EN 14298 for this target is not available.",
        )
    return _judged(case, rule)


@measure
def _judged(case: LotCase, rule: Rule) -> Assessment:
    from kilnfolio.review.findings import CHECKS, is_own

    chosen = chosen_readings(case)
    readings = chosen.readings
    doubts = sorted(
        {
            finding.check
            for dossier in case.dossiers.values()
            for finding in dossier.findings
            if finding.outcome in _UNRELIABLE
            and not is_own(finding.check)
            and CHECKS[finding.check].claim == "moisture"
        }
    )
    if not len(readings):
        return Assessment(
            rule=rule.words, met=None, sentence="Not assessed: no final survey is on record."
        )
    facts = _facts(rule, chosen)
    if doubts:
        return Assessment(
            rule=rule.words,
            met=None,
            **facts,
            sentence="Not assessed: the drying record of this lot is under review at the mill.",
        )
    mean, inside, n = float(np.mean(readings)), facts["inside"], facts["n"]
    mean_kept = (rule.mean_low is None or mean >= rule.mean_low) and (
        rule.mean_high is None or mean <= rule.mean_high
    )
    met = bool(mean_kept and 100.0 * inside >= rule.share * n)
    # the finding tells the mill what failed; a customer is told only that something did
    sentence = (
        f"The lot as measured meets the order: {counted(inside, n, mean)}."
        if met
        else "The lot as measured does not meet the order."
    )
    return Assessment(rule=rule.words, met=met, **facts, sentence=sentence)


def counted(inside: int, n: int, mean_pct: float) -> str:
    """Return in words how many readings are within the order, and their mean."""
    return f"{inside} of {n} readings within, mean {mean_pct:.1f} %"


def _facts(rule: Rule, chosen: Chosen) -> dict[str, Any]:
    readings = chosen.readings
    low = rule.piece_low if rule.piece_low is not None else float(min(0.0, readings.min()))
    high = rule.piece_high if rule.piece_high is not None else float(readings.max())
    inside, n = within_band(readings, low, high).inside, len(readings)
    shown_pct = round(100.0 * float(share_shown(n, n - inside, CONFIDENCE_PCT / 100.0)), 1)
    needed = _needed(rule.share) if rule.share < 100 else None
    return {
        "mean_pct": round(float(np.mean(readings)), 2),
        "n": n,
        "inside": inside,
        "mean_low_pct": rule.mean_low,
        "mean_high_pct": rule.mean_high,
        "piece_low_pct": None if rule.piece_low is None else round(rule.piece_low, 2),
        "piece_high_pct": None if rule.piece_high is None else round(rule.piece_high, 2),
        "share_asked_pct": rule.share,
        "share_shown_pct": shown_pct,
        "readings_needed": needed,
        "readings_from": chosen.words,
        "more_readings": _more(rule, n, n - inside),
        "strongest": _strongest(rule, chosen, shown_pct, inside),
    }


def _more(rule: Rule, n: int, failures: int) -> int | None:
    """Return how many more readings, all within, would show the share asked; None if none would."""
    if rule.share >= 100:
        return None
    return max(0, _needed(rule.share, failures) - n)


@cache
def _needed(share_pct: float, failures: int = 0) -> int:
    return int(readings_needed(share_pct / 100.0, CONFIDENCE_PCT / 100.0, failures))


def _strongest(rule: Rule, chosen: Chosen, shown_pct: float, inside: int) -> str:
    """Return the strongest statement about the whole lot that its readings support."""
    n = len(chosen.readings)
    if chosen.at_hand:
        return (
            f"{inside} of the {n} boards measured are within what was ordered. They were "
            "whatever was at hand, so they say nothing about the boards not measured."
        )
    if rule.piece_low is None and rule.piece_high is None:
        return f"The mean of the {n} boards measured is {float(np.mean(chosen.readings)):.1f} % MC."
    return (
        f"At {CONFIDENCE_PCT:g} % confidence, at least {shown_pct:.1f} % of the boards are "
        "within what was ordered for a piece, if those measured were picked at random."
    )
