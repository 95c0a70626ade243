"""The three states of a lot: the first thing a customer reads, in words that need no explanation.

Whether the page belongs to its label is a separate question, answered by the page's script
(``assets/label.js``); if it does not, no state is shown.
"""

from __future__ import annotations

from kilnfolio.review.dossier import Outcome
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class LotState:
    """A state of a lot, with its meaning and advice."""

    outcome: Outcome
    """The outcome whose shape and colour the verdict is shown in."""
    verdict: str
    """The verdict in a phrase, as in the lot's record."""
    meaning: str
    """What it means, in a sentence."""
    advice: str
    """What to do now."""


MEETS = LotState(
    "pass",
    "meets the order",
    "The boards that were measured are as dry as you ordered.",
    "Keep the packs wrapped and dry. Measure again before use: timber takes up or gives off "
    "moisture after this date.",
)
FAILS = LotState(
    "fail",
    "does not meet the order",
    "The boards that were measured are not what you ordered.",
    "Do not use this lot for the order as it is. Call the mill and give the lot number.",
)
NOT_ASSESSED = LotState(
    "no data",
    "not assessed",
    "The mill makes no statement about the moisture content of this lot.",
    "Do not rely on the moisture content you ordered. Measure before use, or call the mill.",
)

STATES: dict[bool | None, LotState] = {True: MEETS, False: FAILS, None: NOT_ASSESSED}

#: Verdicts in records of earlier versions.
_EARLIER = {"keeps the order": MEETS, "does not keep the order": FAILS}


def state_of(verdict: str) -> LotState:
    """Return the state for a record's verdict.

    Raises
    ------
    ValueError
        If no state has this verdict.
    """
    known = {state.verdict: state for state in STATES.values()} | _EARLIER
    if verdict not in known:
        raise ValueError(f"verdict is {verdict!r}; known: {', '.join(known)}")
    return known[verdict]
