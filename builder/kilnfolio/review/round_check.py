"""Examines a round of masses before it is written: MC, loss, and implausible values.

The kiln-side page applies the same rules in ``kiln-side.js``; the tests run the same rounds through
both. A change of a rule here must be made there too.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from kilnfolio.records.quantities import GRAMS_PER_POUND, Mass
from kilnfolio.review.figures import number
from kilnfolio.review.kiln_state import MASS_DECIMALS, BoardState, DueAt, KilnState
from kilnfolio.runtime.values import dataclass

#: A gain up to this much is attributed to the scale [share of the mass], or this many of its steps
#: (common practice).
GAIN_SHARE, GAIN_STEPS = 0.001, 2.0
#: A change beyond this is an error of writing or weighing, not drying: a gain [share of the mass],
#: a loss [times the safe loss], or a loss if no safe one is known [points a day] (common practice).
SLIP_GAIN, SLIP_TIMES, SLIP_POINTS = 0.01, 3.0, 15.0
#: The shortest time over which a loss is judged. [h]
LEAST_HOURS = 12.0
#: Tags count as swapped if both masses, exchanged, are within this much of the expected ones [%],
#: and as written are at least this many times further off (common practice).
SWAP_FITS_PCT, SWAP_TIMES = 1.5, 4.0
#: Factors by which a mass is off when written in another unit.
UNIT_SLIPS = (
    ("kg for g", 1000.0),
    ("g for kg", 0.001),
    ("lb for kg", GRAMS_PER_POUND / 1000.0),
    ("kg for lb", 1000.0 / GRAMS_PER_POUND),
)


@dataclass(frozen=True)
class BoardLook:
    """A board in a round: its mass [g], MC [%], daily loss [points/d], mass still to lose [g]."""

    tag: str
    mass_g: float
    mc_pct: float | None
    loss_pct_day: float | None
    to_go_g: float | None


@dataclass(frozen=True)
class Doubt:
    """A value that may be wrong.

    Attributes
    ----------
    kind : str
        One of ``gained``, ``too fast``, ``digit``, ``unit``, ``swapped``, ``below oven-dry`` and so
        on.
    tags : tuple of str
        The boards.
    words : str
        The message.
    """

    kind: str
    tags: tuple[str, ...]
    words: str


@dataclass(frozen=True)
class RoundLook:
    """A round as it would be in the record."""

    boards: tuple[BoardLook, ...]
    controlling_pct: float | None
    is_due: bool
    doubts: tuple[Doubt, ...]
    missing: tuple[str, ...]
    """Boards of the charge that are not in the round."""


def examine_round(state: KilnState, masses: Mapping[str, float], at: dt.datetime) -> RoundLook:
    """Examine a round of masses before it is written.

    Parameters
    ----------
    state : KilnState
        The charge before the round.
    masses : mapping of str to float
        Mass of each board weighed. [g]
    at : datetime
        When they were weighed, with a zone.
    """
    known = {board.tag: board for board in state.boards}
    looks = tuple(
        _board_look(state, known[tag], mass, at) for tag, mass in masses.items() if tag in known
    )
    controlling = _controlling(state.control_rule, looks)
    return RoundLook(
        looks,
        controlling,
        _is_due(state.next_due, looks, controlling),
        tuple(_doubts(state, known, masses, at)),
        tuple(tag for tag in known if tag not in masses),
    )


def mass_words(grams: float, unit: str) -> str:
    """Return a mass as written in a record, without its unit."""
    return f"{grams / Mass.units[unit](1.0):.{MASS_DECIMALS[unit]}f}"


def _board_look(state: KilnState, board: BoardState, mass: float, at: dt.datetime) -> BoardLook:
    if board.oven_dry_g is None or mass < board.oven_dry_g:
        return BoardLook(board.tag, mass, None, None, None)
    mc = 100.0 * (mass / board.oven_dry_g - 1.0)
    to_go = (
        None
        if state.next_due is None
        else mass - board.oven_dry_g * (1.0 + state.next_due.mc_pct / 100.0)
    )
    return BoardLook(board.tag, mass, mc, _loss(board, mass, at), to_go)


def _loss(board: BoardState, mass: float, at: dt.datetime) -> float | None:
    """Return a board's daily loss since its last weighing [points/d]."""
    if board.oven_dry_g is None or board.last_g is None or board.last_at is None:
        return None
    days = (at - dt.datetime.fromisoformat(board.last_at)).total_seconds() / 86400.0
    return None if days <= 0.0 else 100.0 * (board.last_g - mass) / board.oven_dry_g / days


def _loss_to_judge(board: BoardState, mass: float, at: dt.datetime) -> float | None:
    """Return a daily loss to judge by: over less than half a day, weighing errors dominate."""
    if board.last_at is None:
        return None
    least = dt.datetime.fromisoformat(board.last_at) + dt.timedelta(hours=LEAST_HOURS)
    return _loss(board, mass, max(at, least))


def _controlling(rule: str, looks: Sequence[BoardLook]) -> float | None:
    mcs = sorted((look.mc_pct for look in looks if look.mc_pct is not None), reverse=True)
    if not mcs:
        return None
    if rule == "wettest board":
        mcs = mcs[:1]
    elif rule == "wettest half":
        mcs = mcs[: (len(mcs) + 1) // 2]
    return sum(mcs) / len(mcs)


def _is_due(due: DueAt | None, looks: Sequence[BoardLook], controlling: float | None) -> bool:
    mcs = [look.mc_pct for look in looks if look.mc_pct is not None]
    if due is None or controlling is None:
        return False
    deciding = {"controlling": controlling, "driest": min(mcs), "wettest": max(mcs)}[due.whose]
    return deciding <= due.mc_pct


# --- what may be wrong ----------------------------------------------------------------------------


def _doubts(
    state: KilnState, known: Mapping[str, BoardState], masses: Mapping[str, float], at: dt.datetime
) -> Iterator[Doubt]:
    last = max(
        (board.last_at for board in state.boards if board.last_at),
        default=None,
        key=dt.datetime.fromisoformat,
    )
    if last and at < dt.datetime.fromisoformat(last):
        yield Doubt("time", (), f"the last round on record is later: {last[:16].replace('T', ' ')}")
    for tag in masses:
        if tag not in known:
            yield Doubt(
                "unknown", (tag,), f"there is no board {tag}; the charge has " + ", ".join(known)
            )
    slips = {
        tag for tag, mass in masses.items() if tag in known and _slip(state, known[tag], mass, at)
    }
    swapped = _swapped(known, masses, at)
    for one, other in swapped:
        yield Doubt(
            "swapped",
            (one, other),
            f"{one} and {other} would fit if their masses were exchanged: are the tags swapped?",
        )
    explained = {tag for pair in swapped for tag in pair}
    for tag, mass in masses.items():
        if tag in known and tag not in explained:
            yield from _doubts_of(state, known[tag], mass, at, slip=tag in slips)


def _slip(state: KilnState, board: BoardState, mass: float, at: dt.datetime) -> str:
    """Return in what way a mass is impossible; empty if it is possible."""
    if board.oven_dry_g is not None and mass < board.oven_dry_g:
        return "below oven-dry"
    if board.last_g is None:
        return ""
    if mass > board.last_g * (1.0 + SLIP_GAIN):
        return "gained"
    loss = _loss_to_judge(board, mass, at)
    most = SLIP_TIMES * board.limit_pct_day if board.limit_pct_day else SLIP_POINTS
    if loss is not None and loss > most and board.last_g - mass > 2.0 * state.resolution_g:
        return "lost"
    return ""


def _swapped(
    known: Mapping[str, BoardState], masses: Mapping[str, float], at: dt.datetime
) -> list[tuple[str, str]]:
    """Return the pairs of boards whose masses fit if exchanged but not as written."""
    found: list[tuple[str, str]] = []
    tags = [tag for tag in masses if tag in known and known[tag].last_g is not None]
    for one, other in combinations(tags, 2):
        if any(tag in pair for pair in found for tag in (one, other)):
            continue
        straight = [
            _deviation(known[one], masses[one], at),
            _deviation(known[other], masses[other], at),
        ]
        crossed = [
            _deviation(known[one], masses[other], at),
            _deviation(known[other], masses[one], at),
        ]
        if max(crossed) <= SWAP_FITS_PCT and min(straight) >= SWAP_TIMES * max(*crossed, 0.5):
            found.append((one, other))
    return found


def _deviation(board: BoardState, mass: float, at: dt.datetime) -> float:
    """Return how far a mass is from that expected from the board's own drying [% of it]."""
    assert board.last_g is not None
    assert board.last_at is not None
    days = (at - dt.datetime.fromisoformat(board.last_at)).total_seconds() / 86400.0
    rate = max(board.loss_pct_day or 0.0, 0.0) * (board.oven_dry_g or 0.0) / 100.0
    low = board.last_g - rate * max(days, 0.0)
    return 100.0 * max(low - mass, mass - board.last_g, 0.0) / mass if mass > 0.0 else 100.0


def _doubts_of(
    state: KilnState, board: BoardState, mass: float, at: dt.datetime, *, slip: bool
) -> Iterator[Doubt]:
    own, unit = (board.tag,), board.unit
    if not slip:
        yield from _plain_doubts(state, board, mass, at)
        return
    written = mass_words(mass, unit)
    for words, factor in UNIT_SLIPS:
        if not _slip(state, board, mass * factor, at):
            yield Doubt(
                "unit",
                own,
                f"{board.tag} {written} {unit}: was it read in another unit, "
                f"{words}? Last was {mass_words(board.last_g or 0.0, unit)} {unit}",
            )
            return
    if meant := _other_digits(state, board, written, at):
        yield Doubt(
            "digit",
            own,
            f"{board.tag} {written} {unit}: a digit lost or misread? "
            f"{meant} {unit} would fit; last was "
            f"{mass_words(board.last_g or 0.0, unit)} {unit}",
        )
        return
    yield Doubt(*_slip_words(state, board, mass, at))


def _plain_doubts(
    state: KilnState, board: BoardState, mass: float, at: dt.datetime
) -> Iterator[Doubt]:
    """Yield doubts about values that are possible."""
    if board.last_g is None:
        return
    gain = mass - board.last_g
    if state.stage == "drying" and gain > max(
        GAIN_STEPS * state.resolution_g, GAIN_SHARE * board.last_g
    ):
        yield Doubt(
            "gained",
            (board.tag,),
            f"{board.tag} gained {mass_words(gain, board.unit)} {board.unit} while drying",
        )
    loss = _loss_to_judge(board, mass, at)
    if (
        loss is not None
        and board.limit_pct_day
        and loss > board.limit_pct_day
        and -gain > GAIN_STEPS * state.resolution_g
    ):
        yield Doubt(
            "too fast",
            (board.tag,),
            f"{board.tag} lost {number(loss, 1)} points a day; "
            f"{number(board.limit_pct_day, 1)} is safe for its timber",
        )


def _slip_words(
    state: KilnState, board: BoardState, mass: float, at: dt.datetime
) -> tuple[str, tuple[str, ...], str]:
    how, unit = _slip(state, board, mass, at), board.unit
    if how == "below oven-dry":
        return (
            how,
            (board.tag,),
            (
                f"{board.tag} {mass_words(mass, unit)} {unit} is below its "
                f"oven-dry mass, {mass_words(board.oven_dry_g or 0.0, unit)} "
                f"{unit}"
            ),
        )
    if how == "gained":
        return (
            how,
            (board.tag,),
            (f"{board.tag} gained {mass_words(mass - (board.last_g or 0.0), unit)} {unit}"),
        )
    loss = _loss(board, mass, at) or 0.0
    return "too fast", (board.tag,), f"{board.tag} lost {number(loss, 1)} points a day"


def _other_digits(state: KilnState, board: BoardState, written: str, at: dt.datetime) -> str:
    """Return the fitting mass nearest the last one that differs by one digit; empty if none.

    One digit inserted or replaced, or two adjacent ones exchanged.
    """
    best, found = float("inf"), ""
    one = Mass.units[board.unit](1.0)
    for digits in _variants(written.replace(".", "")):
        point = len(digits) - MASS_DECIMALS[board.unit]
        text = digits if point == len(digits) else f"{digits[:point] or '0'}.{digits[point:]}"
        mass = float(text) * one
        if (
            board.last_g is not None
            and mass <= board.last_g * (1.0 + GAIN_SHARE)
            and not _slip(state, board, mass, at)
        ):
            off = abs(mass - board.last_g)
            if off < best:
                best, found = off, text
    return found


def _variants(digits: str) -> Iterator[str]:
    for place in range(len(digits) + 1):
        for digit in "0123456789":
            yield digits[:place] + digit + digits[place:]
    for place in range(len(digits)):
        for digit in "0123456789":
            yield digits[:place] + digit + digits[place + 1 :]
    for place in range(len(digits) - 1):
        yield digits[:place] + digits[place + 1] + digits[place] + digits[place + 2 :]
