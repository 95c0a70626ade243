"""How past results would stand at other values of each limit, from one review of each record.

A check that never looks a limit up says the same whatever the limit is. So a record is reviewed
once while every look-up is noted, and for another value only the checks that looked the limit up
are run again; if the limit was used before the checks, as to tell spikes of a sensor, all of them
are. The answer is that of a full review (`limit_trial`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.limits import BOUNDS, HIGHEST, Limit, Limits
from kilnfolio.records.log import Log
from kilnfolio.records.model import Located
from kilnfolio.review.air import AirSeries
from kilnfolio.review.dossier import Dossier, Finding
from kilnfolio.review.findings import (
    NO_OWN_CODE,
    Case,
    Check,
    LotCase,
    OwnCode,
    checks_for,
    said_of,
    settled,
)
from kilnfolio.review.limits import LimitTable, Subject, charge_limits
from kilnfolio.review.review import build_case, build_lot_case

#: A limit of the file: its key, and which of its entries, from 0.
Entry = tuple[str, int]
FACTORS = (0.5, 0.8, 1.25, 2.0)
"""What a limit is multiplied by to try it."""
KELVINS = (-10.0, -5.0, 5.0, 10.0)
"""What is added to a temperature in its place. [K]"""


@dataclass(frozen=True)
class Flip:
    """A check that would give another result for a charge, lot or schedule.

    Attributes
    ----------
    record : str
        The charge's number; ``lot L1`` for a lot, ``schedule ID`` for a schedule.
    check : str
        Slug of the check.
    before, after : Counter of str
        Counts of outcomes under today's limits, and under those proposed.
    """

    record: str
    check: str
    before: Counter[str]
    after: Counter[str]

    @property
    def weight(self) -> int:
        """1 if more would fail or ask something, -1 if less would, 0 if as much."""
        was, now = ((one["fail"], one["question"]) for one in (self.before, self.after))
        return (now > was) - (now < was)


@dataclass(frozen=True)
class ValueTrial:
    """A record at another value of one limit.

    Attributes
    ----------
    key : str
        The limit.
    entry : int
        Which of its entries, from 0.
    value : float
        The value tried, in the limit's own unit.
    flips : tuple of Flip
        The checks that would give another result; never empty.
    findings : tuple of Finding
        Everything that these checks would say.
    """

    key: str
    entry: int
    value: float
    flips: tuple[Flip, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class LimitTrials:
    """A record at other values of every limit that its review reads.

    Attributes
    ----------
    record : str
        As in `Flip`.
    read : tuple of Entry
        The limits that its review reads.
    trials : tuple of ValueTrial
        The values that would change a result.
    """

    record: str
    read: tuple[Entry, ...]
    trials: tuple[ValueTrial, ...]


Tried = Callable[[str, Limit], Sequence[float]]
"""Returns the values to try of a limit."""


def other_values(key: str, limit: Limit) -> tuple[float, ...]:
    """Return a few values to try of a limit: half, four fifths, five quarters and twice."""
    low, high = BOUNDS.get(key, (0.0, HIGHEST))
    if limit.unit == "°C":
        tried = [limit.value + one for one in KELVINS]
    else:
        tried = [float(f"{limit.value * factor:.3g}") for factor in FACTORS]
    return tuple(one for one in dict.fromkeys(tried) if low <= one <= high and one != limit.value)


def with_value(book: Limits, key: str, entry: int, value: float) -> Limits:
    """Return limits with one entry changed."""
    entries = list(book.limits[key])
    entries[entry] = entries[entry].model_copy(update={"value": value})
    changed = {**book.limits, key: entries}
    found = Limits.model_construct(format=book.format, revision=book.revision, limits=changed)
    if key in book.everywhere:  # spares going through every limit again
        vars(found)["everywhere"] = {**book.everywhere, key: entries[entry]}
    return found


def counted(findings: Iterable[Finding]) -> dict[str, Counter[str]]:
    """Return how often each check came to each outcome."""
    found: dict[str, Counter[str]] = {}
    for finding in findings:
        found.setdefault(finding.check, Counter())[finding.word] += 1
    return found


def flips_between(
    record: str, before: Iterable[Finding], after: Iterable[Finding]
) -> Iterator[Flip]:
    """Yield the checks that give another result, in the order of the review."""
    was, now = counted(before), counted(after)
    for check in dict.fromkeys([*was, *now]):
        old, new = was.get(check, Counter()), now.get(check, Counter())
        if old != new:
            yield Flip(record, check, old, new)


@dataclass(frozen=True)
class _Noted(LimitTable):
    """Limits that note what is looked up."""

    seen: set[Entry] = field(default_factory=set, compare=False, repr=False)

    def find(self, key: str, subject: Subject | None = None) -> Limit:
        found = super().find(key, subject)
        places = (place for place, one in enumerate(self.limits.limits[key]) if one is found)
        self.seen.add((key, next(places)))
        return found


def _noted(table: LimitTable) -> _Noted:
    return _Noted(table.limits, table.subject, table.mill_in)


def _changed(table: LimitTable, entry: Entry, value: float) -> LimitTable:
    return LimitTable(with_value(table.limits, *entry, value), table.subject, table.mill_in)


def charge_trials(
    folder: MillFolder,
    located: Located[Charge],
    log: Log | None,
    own: OwnCode | None = NO_OWN_CODE,
    tried: Tried = other_values,
) -> LimitTrials:
    """Return a charge at other values of every limit that its review reads.

    Parameters
    ----------
    folder : MillFolder
        The records it is reviewed with.
    located : Located of Charge
        The charge.
    log : Log or None
        Its joined logs.
    own : OwnCode or None
        As for `review.review_charge`.
    tried : callable, optional
        Returns the values to try of a limit.

    Raises
    ------
    RecordProblems
        As for `review.build_case`.
    """
    charge = located.record
    table = charge_limits(folder, charge)
    first, without_air = _noted(table), _noted(table)
    case = build_case(folder, located, log, own, first)
    build_case(folder, located, log, own, without_air, case.air)
    said, read = _said_by_check(case)

    def again(limits: LimitTable, entry: Entry) -> tuple[Case, bool]:
        if entry not in first.seen:
            return replace(case, limits=limits), False
        air = case.air if entry in without_air.seen else None
        then = build_case(folder, located, log, own, limits, air)
        return then, not _start_alike(case, then)

    def whole(found: Mapping[str, Sequence[Finding]]) -> tuple[Finding, ...]:
        return settled(
            (one for check in found for one in found[check]), own, charge.answers, charge.waivers
        )

    every = first.seen.union(*read.values())
    trials = _trials(charge.id, table, checks_for(case), said, read, every, again, whole, tried)
    return LimitTrials(charge.id, tuple(sorted(every)), tuple(trials))


def _start_alike(one: Case, other: Case) -> bool:
    """Return whether two cases of a charge, built with other limits, hold the same figures."""
    return (
        one.water == other.water
        and (one.equalizing, one.conditioning) == (other.equalizing, other.conditioning)
        and (one.air is other.air or _air_alike(one.air, other.air))
    )


def _air_alike(one: AirSeries | None, other: AirSeries | None) -> bool:
    if one is None or other is None:
        return one is other
    return one.jumps == other.jumps and all(
        np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True)
        for name in ("dry_bulb", "wet_bulb", "relative_humidity", "emc")
    )


def _said_by_check(
    case: Case | LotCase,
) -> tuple[dict[str, list[Finding]], dict[str, frozenset[Entry]]]:
    """Return what each check says of a case, and the limits that it looks up."""
    said: dict[str, list[Finding]] = {}
    read: dict[str, frozenset[Entry]] = {}
    for check in checks_for(case):
        table = _noted(case.limits)
        # a copy keeps nothing that another check has worked out with a limit
        said[check.slug] = list(said_of(check, replace(case, limits=table)))
        read[check.slug] = frozenset(table.seen)
    return said, read


def _trials(
    record: str,
    table: LimitTable,
    checks: Sequence[Check],
    said: Mapping[str, list[Finding]],
    read: Mapping[str, frozenset[Entry]],
    entries: Iterable[Entry],
    again: Callable[[LimitTable, Entry], tuple[Case, bool]],
    whole: Callable[[Mapping[str, Sequence[Finding]]], tuple[Finding, ...]],
    tried: Tried,
) -> Iterator[ValueTrial]:
    before = whole(said)
    for entry in sorted(entries):
        readers = [check for check in checks if entry in read[check.slug]]
        for value in tried(entry[0], table.limits.limits[entry[0]][entry[1]]):
            try:
                case, differs = again(_changed(table, entry, value), entry)
                now = {
                    check.slug: list(said_of(check, case))
                    for check in (checks if differs else readers)
                }
            except ValueError:
                continue  # beside the other limits no formula takes this value
            if all(_verdicts(now[slug]) == _verdicts(said[slug]) for slug in now):
                continue
            trial = _trial(record, entry, value, before, whole({**said, **now}))
            if trial:
                yield trial


def _verdicts(findings: Iterable[Finding]) -> list[tuple[object, ...]]:
    """Return what outcomes, ids and answers follow from."""
    return [(one.outcome, one.noted, one.subject, one.at) for one in findings]


def _trial(
    record: str,
    entry: Entry,
    value: float,
    before: Sequence[Finding],
    after: Sequence[Finding],
) -> ValueTrial | None:
    flips = tuple(flips_between(record, before, after))
    if not flips:
        return None
    flipped = {flip.check for flip in flips}
    return ValueTrial(*entry, value, flips, tuple(one for one in after if one.check in flipped))


def lot_trials(
    folder: MillFolder,
    lot: str,
    dossiers: Mapping[str, Dossier],
    of_charges: Mapping[str, LimitTrials],
    tried: Tried = other_values,
) -> LimitTrials:
    """Return a lot at other values of every limit that its review, or its charges', reads.

    Parameters
    ----------
    folder : MillFolder
        The records it is reviewed with.
    lot : str
        Its number.
    dossiers : mapping of str to Dossier
        The reviews of its charges.
    of_charges : mapping of str to LimitTrials
        The trials of its charges, with the same values tried.
    tried : callable, optional
        Returns the values to try of a limit.
    """
    case = build_lot_case(folder, lot, dossiers)
    table = case.limits
    said, read = _said_by_check(case)
    own = frozenset(entry for found in read.values() for entry in found)
    moved: dict[tuple[str, int, float], dict[str, Dossier]] = {}
    for number in case.dossiers:
        for trial in of_charges[number].trials if number in of_charges else ():
            changed = moved.setdefault((trial.key, trial.entry, trial.value), {})
            changed[number] = _with_findings(case.dossiers[number], trial)
    for entry in own:
        for value in tried(entry[0], table.limits.limits[entry[0]][entry[1]]):
            moved.setdefault((*entry, value), {})
    record, answers = f"lot {lot}", case.lot.answers
    before = settled((one for found in said.values() for one in found), NO_OWN_CODE, answers)
    trials = []
    checks = checks_for(case)
    for (key, place, value), changed in sorted(moved.items()):
        limits = _changed(table, (key, place), value)
        then = replace(case, limits=limits, dossiers={**case.dossiers, **changed})
        try:
            now = {
                check.slug: list(said_of(check, then))
                for check in checks
                if changed or (key, place) in read[check.slug]
            }
        except ValueError:
            continue  # as for a charge
        if all(_verdicts(now[slug]) == _verdicts(said[slug]) for slug in now):
            continue
        found = (one for findings in {**said, **now}.values() for one in findings)
        after = settled(found, NO_OWN_CODE, answers)
        if made := _trial(record, (key, place), value, before, after):
            trials.append(made)
    reads = own.union(*(of_charges[name].read for name in case.dossiers if name in of_charges))
    return LimitTrials(record, tuple(sorted(reads)), tuple(trials))


def _with_findings(dossier: Dossier, trial: ValueTrial) -> Dossier:
    """Return a review with what the checks that flip would say."""
    flipped = {flip.check for flip in trial.flips}
    kept = [one for one in dossier.findings if one.check not in flipped]
    return dossier.model_copy(update={"findings": (*kept, *trial.findings)})
