"""Does a lot keep its order? The strongest honest sentence its readings support."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kilnfolio.physics.survey import readings_needed, share_shown, within_band
from kilnfolio.records.lot import Order
from kilnfolio.review.dossier import Judgement
from kilnfolio.review.findings import LotCase
from kilnfolio.review.limits import NoLimit

#: Confidence of the share printed [%]; a convention of the trade's reports.
CONFIDENCE_PCT = 95.0

#: Findings of a charge that touch the moisture claim of every lot drawn from it.
_UNRELIABLE = ("refused",)


@dataclass(frozen=True)
class Rule:
    """What an order asks of a lot, in % MC and % of pieces."""

    words: str
    piece_low: float | None
    piece_high: float | None
    mean_low: float | None
    mean_high: float | None
    share: float


def readings_of(case: LotCase) -> np.ndarray:
    """Return the corrected readings of the surveys of a lot's charges, in % MC."""
    surveys = case.surveys
    return np.concatenate([survey.readings for survey in surveys]) if surveys else np.array([])


def rule_of(case: LotCase) -> Rule:
    """Return what the order asks, in numbers.

    Raises
    ------
    NoLimit
        The standard's row for this target is not in hand.
    """
    order = case.lot.order
    if order.rule == "en-14298":
        return _standard_rule(case, order)
    share = order.share.value if order.share else 100.0
    highest = order.highest.value if order.highest else None
    if order.rule == "maximum":
        return Rule(f"no piece above {highest:g} % MC" if share == 100 else
                    f"{share:g} % of pieces at or below {highest:g} % MC",
                    None, highest, None, None, share)
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
    return Rule(f"EN 14298, target {target:g} %: mean {mean_low:g} to {mean_high:g} %, "
                f"{share:g} % of "
                f"pieces from {low:.1f} to {high:.1f} %", low, high, mean_low, mean_high, share)


def judge(case: LotCase) -> Judgement:
    """Return whether the readings keep the order, and what may be said.

    A refused finding on the moisture record of a charge leaves the lot not assessed: an absent or
    doubtful proof is never turned into a statement.
    """
    from kilnfolio.review.findings import CHECKS

    words = f"target {case.lot.order.target_mc.value:g} % MC"
    try:
        rule = rule_of(case)
    except NoLimit:
        return Judgement(rule=words, met=None, sentence="Not assessed: the row of EN 14298 "
                                                        "for this "
                         "target is not in hand.")
    readings = readings_of(case)
    doubts = sorted({finding.check for dossier in case.dossiers.values()
                     for finding in dossier.findings if finding.outcome in _UNRELIABLE
                     and CHECKS[finding.check].claim == "moisture"})
    if not len(readings):
        return Judgement(rule=rule.words, met=None,
                         sentence="Not assessed: no final survey is on record.")
    facts = _facts(rule, readings)
    if doubts:
        return Judgement(rule=rule.words, met=None, **facts, sentence="Not assessed: the drying "
                         "record of this lot is under review at the mill.")
    mean, inside, n = float(np.mean(readings)), facts["inside"], facts["n"]
    mean_kept = (rule.mean_low is None or mean >= rule.mean_low) and \
        (rule.mean_high is None or mean <= rule.mean_high)
    met = bool(mean_kept and 100.0 * inside >= rule.share * n)
    count = f"{inside} of {n} readings within, mean {mean:.1f} %"
    verdict = "keeps" if met else "does not keep"
    return Judgement(rule=rule.words, met=met, **facts,
                     sentence=f"The lot as measured {verdict} its order: {count}.")


def _facts(rule: Rule, readings: np.ndarray) -> dict:
    low = rule.piece_low if rule.piece_low is not None else float(min(0.0, readings.min()))
    high = rule.piece_high if rule.piece_high is not None else float(readings.max())
    inside, n = within_band(readings, low, high).inside, len(readings)
    shown = 100.0 * share_shown(n, n - inside, CONFIDENCE_PCT / 100.0)
    needed = readings_needed(rule.share / 100.0, CONFIDENCE_PCT / 100.0) \
        if rule.share < 100 else None
    return {"mean_pct": round(float(np.mean(readings)), 2), "n": n, "inside": inside,
            "mean_low_pct": rule.mean_low, "mean_high_pct": rule.mean_high,
            "piece_low_pct": None if rule.piece_low is None else round(rule.piece_low, 2),
            "piece_high_pct": None if rule.piece_high is None else round(rule.piece_high, 2),
            "share_asked_pct": rule.share,
            "share_shown_pct": round(float(shown), 1), "readings_needed": needed}
