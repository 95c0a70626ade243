"""What a customer reads first of a lot: one of three states, in words that decide by themselves.

Whether the page is the one its label was printed for is a second question, which the script of the
page answers (``assets/label.js``); where it is not, no state is shown at all.
"""

from __future__ import annotations

from dataclasses import dataclass

from kilnfolio.review.dossier import Outcome


@dataclass(frozen=True)
class LotState:
    """A state of a lot, and what its reader should make of it."""

    outcome: Outcome
    """The look of the verdict."""
    verdict: str
    """The verdict in a phrase, as the lot's record has it."""
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

#: What records of earlier versions call a state.
_EARLIER = {"keeps the order": MEETS, "does not keep the order": FAILS}


def state_of(verdict: str) -> LotState:
    """Return the state that a record's verdict names.

    Raises
    ------
    ValueError
        No state is called so.
    """
    known = {state.verdict: state for state in STATES.values()} | _EARLIER
    if verdict not in known:
        raise ValueError(f"verdict is {verdict!r}; known: {', '.join(known)}")
    return known[verdict]
