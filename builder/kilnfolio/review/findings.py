"""Checks: their definition and their registry, and the cases that they examine.

A check is a function of a `Case`. It yields a `Breach` for each breach of its rule, and otherwise a
`Pass` with a sentence that is true of this charge. It raises `NoData` if something that should have
been recorded is missing, and `NotApplicable` if nothing of the kind was claimed or run: silence is
never a pass.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import field
from typing import Any, Literal, TypeVar, get_args
from zoneinfo import ZoneInfo

import numpy as np

from kilnfolio.records.charge import (
    AnswerKind,
    Board,
    Charge,
    ChargeStock,
    Stage,
)
from kilnfolio.records.kiln import Kiln
from kilnfolio.records.log import as_datetime
from kilnfolio.records.lot import Lot, Pack
from kilnfolio.records.model import Located
from kilnfolio.records.problems import Place
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.setpoints import AskedAir, PlannedStep
from kilnfolio.records.species import Species
from kilnfolio.review.adherence import ADHERENCE_LIMITS, Adherence, Tolerance
from kilnfolio.review.air import AirSeries
from kilnfolio.review.boards import BoardHistory, Control
from kilnfolio.review.course import Course, course_of
from kilnfolio.review.dossier import Dossier, Finding, SurveyResult
from kilnfolio.review.ending import (
    ProbeRun,
    StageOutcome,
    SurveyOutcome,
    Water,
    stage_outcome,
    water_balance,
)
from kilnfolio.review.limits import LimitTable
from kilnfolio.review.measures import measure
from kilnfolio.runtime.values import dataclass

#: What a breach does: block the claim it concerns, ask for a signed answer, or be noted.
Severity = Literal["fail", "question", "note"]
#: The claim a failed check blocks.
Claim = Literal["moisture", "heat treatment", "record"]
#: Every kind of answer.
ANSWERS: tuple[AnswerKind, ...] = get_args(AnswerKind)

GROUPS = (
    "arithmetic and physics",
    "instruments and log",
    "sample boards",
    "schedule",
    "drying rate",
    "end of charge",
    "heat treatment",
    "lot",
    "record keeping",
    "publication",
    "the mill's own",
)
#: The group of a mill's own checks, and how their slugs begin.
OWN_GROUP, OWN = GROUPS[-1], "own-"


class NoData(Exception):  # noqa: N818  an outcome, not a fault
    """Something a check needs was not recorded; the text says what."""


class NotApplicable(Exception):  # noqa: N818  an outcome, not a fault
    """Nothing that the check examines was claimed or run; the text says what."""


@dataclass(frozen=True)
class Breach:
    """One breach of a rule."""

    message: str
    places: tuple[Place, ...] = ()
    subject: str = ""
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    severity: Severity | None = None
    """The severity, if it differs from the check's own."""
    at: dt.datetime | np.datetime64 | None = None
    """When it began, if it has a time."""


@dataclass(frozen=True)
class Pass:
    """What a check examined and found in order, as a sentence."""

    sentence: str


#: The type of what a check function returns.
Results = Iterator[Breach | Pass]


@dataclass(frozen=True)
class Case:
    """One charge with everything computed from it, as checks see it."""

    located: Located[Charge]
    located_kiln: Located[Kiln]
    located_schedule: Located[Schedule]
    species: Mapping[str, Species]
    steps: tuple[PlannedStep, ...]
    asked: tuple[AskedAir, ...]
    air: AirSeries | None
    boards: tuple[BoardHistory, ...]
    controls: tuple[Control, ...]
    survey: SurveyOutcome | None
    probes: tuple[ProbeRun, ...]
    limits: LimitTable
    pressure_pa: float
    zone: ZoneInfo
    own: OwnCode | None
    """The mill's own checks; None if they are left out, and nothing is said of them."""
    measures: dict[Any, Any] = field(default_factory=dict, compare=False, repr=False)
    """See `review.measures`."""

    @property
    def charge(self) -> Charge:
        """The charge's record."""
        return self.located.record

    @property
    def kiln(self) -> Kiln:
        """The kiln's record."""
        return self.located_kiln.record

    @property
    def schedule(self) -> Schedule:
        """The schedule's record."""
        return self.located_schedule.record

    def place(self, *path: str | int) -> Place:
        """Return where a value of the charge's record is written."""
        return self.located.place(*path)

    def weighing_place(self, at: dt.datetime, board: str) -> tuple[Place, ...]:
        """Return where a board's mass at a given time is written, or else its green mass."""
        for index, weighing in enumerate(self.charge.weighings):
            if weighing.at == at and board in weighing.masses:
                return (self.place("weighings", index, "masses", board),)
        return tuple(
            self.place("boards", index, "green_mass")
            for index, record in enumerate(self.charge.boards)
            if record.id == board
        )

    def board_uncertainty(self, board: str, at: dt.datetime) -> float:
        """Return the expanded uncertainty of a board's MC at a time [points]; 0 if unknown."""
        history = next((one for one in self.boards if one.board.id == board), None)
        point = history.at(at) if history else None
        return 0.0 if point is None or np.isnan(point.uncertainty_pct) else point.uncertainty_pct

    def stock_of(self, board: Board) -> ChargeStock:
        """Return the timber that a board was cut from, by default the first."""
        return self.charge.stock_of(board)

    def need_air(self) -> AirSeries:
        """Return the air of the log; raise `NoData` if there is none."""
        if self.air is None or not len(self.air.times):
            raise NoData("no logger file is on record")
        return self.air

    def need_asked(self) -> None:
        """Raise `NoData` if the set-points are not known."""
        if not self.asked:
            raise NoData("no step change is written down, so what was asked is not known")

    @property
    def equalizing(self) -> StageOutcome | None:
        """Equalizing as run; None if there was none."""
        return self._stage("equalizing", self.limits.value("stage-end-grace"))

    @property
    def conditioning(self) -> StageOutcome | None:
        """Conditioning as run; None if there was none."""
        return self._stage("conditioning", self.limits.value("stage-end-grace"))

    @measure
    def _stage(self, name: str, grace_h: float) -> StageOutcome | None:
        stage: Stage | None = getattr(self.charge, name)
        grace = dt.timedelta(hours=grace_h)
        return stage_outcome(stage, self.air, self.controls, grace) if stage else None

    @property
    def water(self) -> Water | None:
        """The water removed and the least heat for it; None if data is missing."""
        return self._water(self.limits.value("loading-temperature"))

    @measure
    def _water(self, start_c: float) -> Water | None:
        return water_balance(
            self.charge, self.species, self.controls, self.survey, self.air, start_c
        )

    @property
    @measure
    def controlling_at_each(self) -> np.ndarray:
        """Controlling MC known at each reading [%]; NaN before the first weighing."""
        if not self.controls:
            return np.full(len(self.need_air().times), np.nan)
        starts, mcs = zip(*((control.at, control.mc_pct) for control in self.controls), strict=True)
        return self.need_air().in_force(starts, mcs)

    @property
    def adherence(self) -> Adherence:
        """How the schedule was followed; see `review.adherence`."""
        return self._adherence(Tolerance(*map(self.limits.value, ADHERENCE_LIMITS)))

    @measure
    def _adherence(self, tolerance: Tolerance) -> Adherence:
        return Adherence(self._course, tolerance)

    @property
    @measure
    def _course(self) -> Course:
        return course_of(self.charge, self.asked, self.need_air(), self.controlling_at_each)

    @property
    @measure
    def asked_index(self) -> np.ndarray:
        """Index of the set-point in force at each reading; -1 before the first."""
        return self.need_air().asked_at_each(self.asked)

    @property
    @measure
    def asked_dry_bulb(self) -> np.ndarray:
        """Dry bulb asked for at each reading [°C]; NaN if not known."""
        return self._asked([item.air.dry_bulb_c for item in self.asked])

    @property
    @measure
    def asked_depression(self) -> np.ndarray:
        """Depression asked for at each reading [K]; NaN if not known."""
        return self._asked([item.air.depression_k for item in self.asked])

    @property
    @measure
    def asked_humidity(self) -> np.ndarray:
        """RH asked for at each reading [%]; NaN if not known."""
        return self._asked([item.air.relative_humidity_pct for item in self.asked])

    def _asked(self, values: Sequence[float]) -> np.ndarray:
        # index -1, before the first set-point, selects the last of these
        found: np.ndarray = np.array([*values, np.nan])[self.asked_index]
        return found

    def hours_between(self, start: dt.datetime, end: dt.datetime) -> float:
        """Return the hours from one time to another without declared stops [h]."""
        stopped = sum(
            max(0.0, (min(stop.end, end) - max(stop.start, start)).total_seconds())
            for stop in self.charge.stops
        )
        return max(0.0, (end - start).total_seconds() - stopped) / 3600.0

    def need_boards(self) -> tuple[BoardHistory, ...]:
        """Return the sample boards; raise `NoData` if there are none."""
        if not self.boards:
            raise NoData("no sample boards are on record")
        return self.boards

    def moment(self, time: np.datetime64) -> dt.datetime:
        """Return a UTC time as a datetime in the mill's zone."""
        return as_datetime(time, self.zone)

    def clock(self, time: dt.datetime | np.datetime64) -> str:
        """Return a time as text in the mill's zone."""
        moment = time if isinstance(time, dt.datetime) else as_datetime(time, self.zone)
        return f"{moment.astimezone(self.zone):%Y-%m-%d %H:%M}"


@dataclass(frozen=True)
class LotCase:
    """One lot with the reviews of its charges, as the checks of lots see it.

    `packs_out` holds every pack the mill sold from each of its charges, in any lot;
    `stacked_in` the charges whose stacking record lists each of its packs.
    """

    located: Located[Lot]
    dossiers: Mapping[str, Dossier]
    charges: Mapping[str, Located[Charge]]
    packs_out: Mapping[str, tuple[Pack, ...]]
    stacked_in: Mapping[str, tuple[str, ...]]
    species: Species
    limits: LimitTable
    zone: ZoneInfo
    measures: dict[Any, Any] = field(default_factory=dict, compare=False, repr=False)
    """See `review.measures`."""

    @property
    def lot(self) -> Lot:
        """The lot's record."""
        return self.located.record

    def place(self, *path: str | int) -> Place:
        """Return where a value of the lot's record is written."""
        return self.located.place(*path)

    @property
    def surveys(self) -> list[SurveyResult]:
        """The surveys of its charges."""
        return [dossier.survey for dossier in self.dossiers.values() if dossier.survey]


@dataclass(frozen=True)
class Publication:
    """What a build is about to publish, as plain text; None for what was not examined.

    `differences` are those between sealed records and the present files, one sentence each;
    `without_wording` the pages and PDFs that lack the safety wording; `beyond_list` the fields that
    a customer's page asked for although they are not on the edition's list.
    """

    differences: Sequence[str] | None = None
    without_wording: Sequence[str] | None = None
    beyond_list: Sequence[str] | None = None


AnyCase = Case | LotCase | Publication
CaseT = TypeVar("CaseT", Case, LotCase, Publication)
#: What a check can examine.
Of = Literal["charge", "lot", "publication"]


@dataclass(frozen=True)
class Check:
    """One registered rule, from which its page in the catalogue is made."""

    slug: str
    title: str
    group: str
    reason: str
    passes: str
    severity: Severity
    claim: Claim
    source: str
    limits: tuple[str, ...]
    of: Of
    answers: tuple[AnswerKind, ...]
    run: Callable[..., Iterable[Breach | Pass]]


@dataclass(frozen=True)
class Row:
    """One side of a check, on a charge of the mill: what it must say of that record.

    Attributes
    ----------
    charge : str
        The charge.
    outcome : str
        The outcome the check must reach, as in "pass" or "question".
    changes : mapping of str to object
        Values to put into the charge's record first, by key, as in ``{"stops": []}``.
    """

    charge: str
    outcome: str
    changes: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class OwnPart:
    """A figure or an exporter of a mill's own."""

    title: str
    run: Callable[..., Any]


@dataclass(frozen=True)
class OwnCode:
    """A mill's own checks; see `review.own_code`.

    Attributes
    ----------
    digest : str
        SHA-256 of the code; "" if the mill has none.
    checks : mapping of str to Check
        Its checks by slug.
    rows : mapping of str to sequence of Row
        Both sides of each.
    figures, exporters : mapping of str to OwnPart
        What else it brings: drawings on the page of a charge, and formats of `kilnfolio export`.
    """

    digest: str = ""
    checks: Mapping[str, Check] = field(default_factory=dict)
    rows: Mapping[str, tuple[Row, ...]] = field(default_factory=dict)
    figures: Mapping[str, OwnPart] = field(default_factory=dict)
    exporters: Mapping[str, OwnPart] = field(default_factory=dict)


#: A mill that has no checks of its own.
NO_OWN_CODE = OwnCode()

#: Every check by slug.
CHECKS: dict[str, Check] = {}


_registry: ContextVar[dict[str, Check]] = ContextVar("registry", default=CHECKS)
_SLUG = re.compile(OWN + r"[a-z0-9]+(-[a-z0-9]+)*")


@contextmanager
def registering(checks: dict[str, Check]) -> Iterator[None]:
    """Register a mill's own checks: those defined meanwhile go into `checks`."""
    token = _registry.set(checks)
    try:
        yield
    finally:
        _registry.reset(token)


def is_own_slug(slug: str) -> bool:
    """Return whether a text can be the slug of something of a mill's own."""
    return _SLUG.fullmatch(slug) is not None


def is_own(slug: str) -> bool:
    """Return whether a check is a mill's own, by its slug."""
    return slug.startswith(OWN)


def _refuse_as_own(slug: str, group: str, claim: Claim, of: Of) -> None:
    if not is_own_slug(slug):
        raise ValueError(f"check {slug!r}: the slug of a mill's own check is as '{OWN}night-doors'")
    if (group, claim, of) != (OWN_GROUP, "record", "charge"):
        raise ValueError(
            f'check {slug!r}: a mill\'s own check has group="{OWN_GROUP}", claim="record" and '
            'of="charge"'
        )


def title_of(finding: Finding) -> str:
    """Return the title of a finding's check; of one not known here, what the record says of it."""
    check = CHECKS.get(finding.check)
    return check.title if check else finding.title or finding.check.replace("-", " ").capitalize()


def catalogue(own: Iterable[Check] = ()) -> list[Check]:
    """Return every check, by group, with a mill's own."""
    return in_order([*CHECKS.values(), *own])


def in_order(checks: Iterable[Check]) -> list[Check]:
    """Return checks by group."""
    return sorted(checks, key=lambda check: GROUPS.index(check.group))


def check(
    slug: str,
    *,
    title: str,
    group: str,
    reason: str,
    passes: str,
    severity: Severity,
    source: str,
    limits: tuple[str, ...] = (),
    claim: Claim = "moisture",
    of: Of = "charge",
    answers: tuple[AnswerKind, ...] = ANSWERS,
) -> Callable[
    [Callable[[CaseT], Iterable[Breach | Pass]]], Callable[[CaseT], Iterable[Breach | Pass]]
]:
    """Register a check.

    Parameters
    ----------
    slug : str
        Its name in files, pages and waivers.
    title : str
        Its subject, in a few words.
    group : str
        One of `GROUPS`.
    reason : str
        Why it matters to the timber or the record.
    passes : str
        What a pass means, for the catalogue. It is printed for a charge only if the check yields no
        sentence of its own, so it must then be true of every charge that passes.
    severity : {"fail", "question", "note"}
        What a breach does.
    source : str
        Where the rule comes from.
    limits : tuple of str
        Keys in schedules/limits.yaml that it reads.
    claim : {"moisture", "heat treatment", "record"}
        The claim a failed check blocks.
    of : {"charge", "lot", "publication"}
        What it examines.
    answers : tuple of str
        The kinds of answer that clear its failure. Empty if the figures are impossible or the claim
        lacks evidence: then only correcting the record does. A question accepts any kind.
    """
    registry = _registry.get()
    if group not in GROUPS or slug in registry:
        raise ValueError(f"check {slug!r}: its group must be one of GROUPS, its slug its own")
    if registry is not CHECKS:
        _refuse_as_own(slug, group, claim, of)

    def register(
        run: Callable[[CaseT], Iterable[Breach | Pass]],
    ) -> Callable[[CaseT], Iterable[Breach | Pass]]:
        registry[slug] = Check(
            slug, title, group, reason, passes, severity, claim, source, limits, of, answers, run
        )
        return run

    return register


def accepted_answers(finding: Finding) -> tuple[AnswerKind, ...]:
    """Return the kinds of answer that clear a finding: for a fail, those that its check allows."""
    if finding.outcome != "fail" or finding.check not in CHECKS:
        return ANSWERS
    return CHECKS[finding.check].answers
