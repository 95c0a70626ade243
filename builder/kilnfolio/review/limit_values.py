"""How past results would stand at other values of each limit, from one review of each record.

A check that never looks a limit up says the same whatever the limit is. So a record is reviewed
once while every look-up is noted, and for another value only the checks that looked the limit up
are run again, on the measures of the first review (`measures`); if other readings of a sensor count
as jumps, all of them are. The answer is that of a full review (`limit_trial`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import field, replace
from functools import lru_cache

from kilnfolio.records.charge import Answer, Charge
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.limits import BOUNDS, HIGHEST, Limit
from kilnfolio.records.log import Log
from kilnfolio.records.model import Located
from kilnfolio.review.air import AIR_LIMITS
from kilnfolio.review.answers import EXPLAINED
from kilnfolio.review.dossier import Dossier, Finding
from kilnfolio.review.findings import NO_OWN_CODE, Case, Check, LotCase, OwnCode
from kilnfolio.review.limits import LimitTable, Subject, charge_limits
from kilnfolio.review.measures import altered, under
from kilnfolio.review.review import build_case, build_lot_case, with_limits
from kilnfolio.review.running import CheckRun, checks_for, run_on, settled
from kilnfolio.runtime.values import dataclass

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
    return _others(key, limit.value, limit.unit)


@lru_cache(1024)  # asked for every charge and lot
def _others(key: str, value: float, unit: str) -> tuple[float, ...]:
    low, high = BOUNDS.get(key, (0.0, HIGHEST))
    if unit == "°C":
        tried = [value + one for one in KELVINS]
    else:
        tried = [float(f"{value * factor:.3g}") for factor in FACTORS]
    return tuple(one for one in dict.fromkeys(tried) if low <= one <= high and one != value)


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
        if dict(old) != dict(new):  # compared as counters, which is done in Python, it takes long
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


@dataclass(frozen=True)
class _Changed(LimitTable):
    """Limits of which one entry has another value."""

    today: LimitTable = field(kw_only=True)
    """Finds the entry that applies, which does not depend on its value, and keeps it."""
    entry: Limit = field(kw_only=True)
    other: float = field(kw_only=True)

    def find(self, key: str, subject: Subject | None = None) -> Limit:
        found = self.today.find(key, subject)
        return found.model_copy(update={"value": self.other}) if found is self.entry else found

    def value(self, key: str, subject: Subject | None = None) -> float:
        found = self.limits.everywhere.get(key) or self.today.find(key, subject)
        return self.other if found is self.entry else found.value


def _with_value(table: LimitTable, entry: Limit) -> Callable[[float], LimitTable]:
    """Return what gives limits of which an entry has another value."""
    today = _Changed(
        table.limits, table.subject, table.mill_in, today=table, entry=entry, other=entry.value
    )
    return lambda value: altered(today, other=value)


@dataclass(frozen=True)
class _Standing:
    """A charge or lot under today's limits, and what each of its checks looks up."""

    record: str
    case: Case | LotCase
    runs: Mapping[str, CheckRun]
    verdicts: Mapping[str, object]
    """That of each run."""
    readers: Mapping[Entry, Sequence[Check]]
    """The checks that look a limit up, in the order of the review."""

    @classmethod
    def of(cls, record: str, case: Case | LotCase) -> _Standing:
        """Run every check of a case, and note what it looks up."""
        table, runs = _noted(case.limits), list[CheckRun]()
        readers: dict[Entry, list[Check]] = {}
        noting = under(case, table)
        for check in checks_for(case):
            runs.append(run_on(check, noting))
            for entry in table.seen:
                readers.setdefault(entry, []).append(check)
            table.seen.clear()
        by_slug = {run.check.slug: run for run in runs}
        return cls(
            record, case, by_slug, {slug: run.verdict for slug, run in by_slug.items()}, readers
        )

    def trial(
        self, entry: Entry, value: float, case: Case | LotCase, checks: Iterable[Check]
    ) -> ValueTrial | None:
        """Return what some checks say of the record at another value, if that is another result."""
        try:
            now = {check.slug: run_on(check, case) for check in checks}
        except ValueError:
            return None  # beside the other limits no formula takes this value
        moved = {slug: run for slug, run in now.items() if run.verdict != self.verdicts[slug]}
        if not moved:
            return None
        # the other findings stay as they are, but for what is said of the answers
        answers = self._answers
        shown = {EXPLAINED, *moved, *(one.finding.split("/")[0] for one in answers)}
        before = [run for slug, run in self.runs.items() if slug in shown]
        after = self._settled([moved.get(run.check.slug, run) for run in before])
        flips = tuple(flips_between(self.record, self._settled(before), after))
        if not flips:
            return None
        flipped = {flip.check for flip in flips}
        return ValueTrial(*entry, value, flips, tuple(one for one in after if one.check in flipped))

    @property
    def _answers(self) -> Sequence[Answer]:
        return (self.case.charge if isinstance(self.case, Case) else self.case.lot).answers

    def _settled(self, runs: Iterable[CheckRun]) -> tuple[Finding, ...]:
        found = (one for run in runs for one in run.findings())
        if isinstance(self.case, Case):
            return settled(found, self.case.own, self._answers, self.case.charge.waivers)
        return settled(found, NO_OWN_CODE, self._answers)


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
    first = _noted(table)
    case = build_case(folder, located, log, own, first)
    standing = _Standing.of(charge.id, case)
    read = tuple(sorted(first.seen | standing.readers.keys()))
    trials = []
    for key, place in read:
        limit, readers = table.limits.limits[key][place], standing.readers.get((key, place), ())
        with_value = _with_value(table, limit)
        for value in tried(key, limit):
            limits = with_value(value)
            if key in AIR_LIMITS:
                then = with_limits(case, limits)
                checks = readers if then.air is case.air else checks_for(case)
            else:
                then, checks = under(case, limits), readers
            if made := standing.trial((key, place), value, then, checks):
                trials.append(made)
    return LimitTrials(charge.id, read, tuple(trials))


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
    table, standing = case.limits, _Standing.of(f"lot {lot}", case)
    own = frozenset(standing.readers)
    moved: dict[tuple[str, int, float], dict[str, Dossier]] = {}
    for number in case.dossiers:
        for trial in of_charges[number].trials if number in of_charges else ():
            changed = moved.setdefault((trial.key, trial.entry, trial.value), {})
            changed[number] = _with_findings(case.dossiers[number], trial)
    for key, place in own:
        for value in tried(key, table.limits.limits[key][place]):
            moved.setdefault((key, place, value), {})
    trials = []
    for (key, place, value), changed in sorted(moved.items()):
        limits = _with_value(table, table.limits.limits[key][place])(value)
        if changed:
            reviews = {**case.dossiers, **changed}
            then = replace(case, limits=limits, dossiers=reviews, measures={})
            checks: Iterable[Check] = checks_for(case)
        else:
            then, checks = under(case, limits), standing.readers.get((key, place), ())
        if made := standing.trial((key, place), value, then, checks):
            trials.append(made)
    reads = own.union(*(of_charges[name].read for name in case.dossiers if name in of_charges))
    return LimitTrials(standing.record, tuple(sorted(reads)), tuple(trials))


def _with_findings(dossier: Dossier, trial: ValueTrial) -> Dossier:
    """Return a review with what the checks that flip would say."""
    flipped = {flip.check for flip in trial.flips}
    kept = [one for one in dossier.findings if one.check not in flipped]
    return dossier.model_copy(update={"findings": (*kept, *trial.findings)})
