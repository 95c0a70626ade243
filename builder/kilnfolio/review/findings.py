"""Checks: what one is, the registry of all, and how a charge is put to them.

A check is a function from a `Case` to what it has to complain of. It yields nothing where the rule
is held, and raises `NotChecked` where the data is absent: silence is never a pass.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Literal, TypeVar
from zoneinfo import ZoneInfo

import numpy as np

from kilnfolio.records.charge import Board, Charge, ChargeStock, Waiver
from kilnfolio.records.kiln import Kiln
from kilnfolio.records.log import as_moment
from kilnfolio.records.lot import Lot, Pack
from kilnfolio.records.model import Located
from kilnfolio.records.problems import Place
from kilnfolio.records.schedule import Schedule
from kilnfolio.records.species import Species
from kilnfolio.review.air import AirSeries
from kilnfolio.review.boards import BoardHistory, Control
from kilnfolio.review.dossier import Dossier, Finding, Outcome, Spot, SurveyResult
from kilnfolio.review.ending import ProbeRun, StageOutcome, SurveyOutcome, Water
from kilnfolio.review.limits import LimitBook, NoLimit
from kilnfolio.review.setpoints import Asked, PlannedStep

#: What a complaint does: stop the claim it touches, ask for a signed reason, or be noted.
Gravity = Literal["refused", "query", "note"]
#: The claim a refusal stops.
Claim = Literal["moisture", "heat treatment", "record"]

GROUPS = ("arithmetic and physics", "instruments and log", "sample boards", "schedule",
          "drying rate", "end of charge", "heat treatment", "lot", "record keeping", "publication")


class NotChecked(Exception):  # noqa: N818  an outcome, not a fault
    """The data a check needs is absent; the text says which."""


@dataclass(frozen=True)
class Complaint:
    """One breach of a rule."""

    message: str
    places: tuple[Place, ...] = ()
    subject: str = ""
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    gravity: Gravity | None = None
    """Where it differs from the check's own."""


@dataclass(frozen=True)
class Case:
    """One charge with everything computed from it, put to the checks."""

    located: Located[Charge]
    located_kiln: Located[Kiln]
    located_schedule: Located[Schedule]
    species: Mapping[str, Species]
    steps: tuple[PlannedStep, ...]
    asked: tuple[Asked, ...]
    air: AirSeries | None
    boards: tuple[BoardHistory, ...]
    controls: tuple[Control, ...]
    equalizing: StageOutcome | None
    conditioning: StageOutcome | None
    survey: SurveyOutcome | None
    probes: tuple[ProbeRun, ...]
    water: Water | None
    limits: LimitBook
    pressure_pa: float
    zone: ZoneInfo

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
        """Return where a board's mass at a moment is written, or else its green mass."""
        for index, weighing in enumerate(self.charge.weighings):
            if weighing.at == at and board in weighing.masses:
                return (self.place("weighings", index, "masses", board),)
        return tuple(self.place("boards", index, "green_mass")
                     for index, record in enumerate(self.charge.boards) if record.id == board)

    def stock_of(self, board: Board) -> ChargeStock:
        """Return the timber a board was cut from; the first where the board does not say."""
        return self.charge.stock_of(board)

    def need_air(self) -> AirSeries:
        """Return the air of the log, or say that there is none."""
        if self.air is None or not len(self.air.times):
            raise NotChecked("no logger file is on record")
        return self.air

    @cached_property
    def asked_index(self) -> np.ndarray:
        """Which of the air asked for was in force at each reading; -1 before the first."""
        return self.need_air().asked_at_each(self.asked)

    @cached_property
    def asked_dry_bulb(self) -> np.ndarray:
        """Dry bulb asked for at each reading [°C]; NaN where that is not known."""
        return self._asked([item.air.dry_bulb_c for item in self.asked])

    @cached_property
    def asked_depression(self) -> np.ndarray:
        """Depression asked for at each reading [K]; NaN where that is not known."""
        return self._asked([item.air.depression_k for item in self.asked])

    def _asked(self, values: Sequence[float]) -> np.ndarray:
        # index -1, before anything was asked, finds the last of these
        found: np.ndarray = np.array([*values, np.nan])[self.asked_index]
        return found

    def need_boards(self) -> tuple[BoardHistory, ...]:
        """Return the sample boards, or say that there are none."""
        if not self.boards:
            raise NotChecked("no sample boards are on record")
        return self.boards

    def clock(self, time: dt.datetime | np.datetime64) -> str:
        """Return a moment as people at the mill read it."""
        moment = time if isinstance(time, dt.datetime) else as_moment(time, self.zone)
        return f"{moment.astimezone(self.zone):%Y-%m-%d %H:%M}"


@dataclass(frozen=True)
class LotCase:
    """One lot with the reviews of its charges, put to the checks of lots.

    `packs_out` holds every pack the mill sold from each of its charges, in whatever lot;
    `stacked_in` the charges whose stacking record lists each of its packs.
    """

    located: Located[Lot]
    dossiers: Mapping[str, Dossier]
    charges: Mapping[str, Located[Charge]]
    packs_out: Mapping[str, tuple[Pack, ...]]
    stacked_in: Mapping[str, tuple[str, ...]]
    species: Species
    limits: LimitBook
    zone: ZoneInfo

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
    """What a build is about to publish, in plain words; None where nobody looked.

    `differences` are those between sealed records and what lies there now, a sentence each;
    `without_wording` the pages and PDFs that lack the safety wording; `beyond_list` the fields a
    customer's page asked for that are not on the edition's list.
    """

    differences: Sequence[str] | None = None
    without_wording: Sequence[str] | None = None
    beyond_list: Sequence[str] | None = None


AnyCase = Case | LotCase | Publication
CaseT = TypeVar("CaseT", Case, LotCase, Publication)
#: What a check looks at.
Of = Literal["charge", "lot", "publication"]


@dataclass(frozen=True)
class Check:
    """One rule, registered once; its page in the catalogue is made from this."""

    slug: str
    title: str
    group: str
    reason: str
    held: str
    gravity: Gravity
    claim: Claim
    source: str
    limits: tuple[str, ...]
    of: Of
    run: Callable[..., Iterable[Complaint]]


#: Every check by slug.
CHECKS: dict[str, Check] = {}


def catalogue() -> list[Check]:
    """Return every check, group by group."""
    return sorted(CHECKS.values(), key=lambda check: GROUPS.index(check.group))


def check(slug: str, *, title: str, group: str, reason: str, held: str, gravity: Gravity,
          source: str, limits: tuple[str, ...] = (), claim: Claim = "moisture",
          of: Of = "charge"
          ) -> Callable[[Callable[[CaseT], Iterable[Complaint]]],
                        Callable[[CaseT], Iterable[Complaint]]]:
    """Register a check.

    Parameters
    ----------
    slug : str
        Its name in files, pages and waivers.
    title : str
        What it asks, in a few words.
    group : str
        One of `GROUPS`.
    reason : str
        Why it matters to the timber or the record.
    held : str
        What is said when nothing is wrong.
    gravity : {"refused", "query", "note"}
        What a complaint does.
    source : str
        Where the rule comes from.
    limits : tuple of str
        Keys in schedules/limits.yaml it reads.
    claim : {"moisture", "heat treatment", "record"}
        The claim a refusal stops.
    of : {"charge", "lot", "publication"}
        What it looks at.
    """
    if group not in GROUPS or slug in CHECKS:
        raise ValueError(f"check {slug!r}: its group must be one of GROUPS, its slug its own")

    def register(run: Callable[[CaseT], Iterable[Complaint]]
                 ) -> Callable[[CaseT], Iterable[Complaint]]:
        CHECKS[slug] = Check(slug, title, group, reason, held, gravity, claim, source, limits, of,
                             run)
        return run
    return register


def run_checks(case: AnyCase, waivers: Iterable[Waiver] = ()) -> tuple[Finding, ...]:
    """Return what every check says of a case, waivers put in."""
    of = {Case: "charge", LotCase: "lot", Publication: "publication"}[type(case)]
    signed = {waiver.check: waiver for waiver in waivers}
    findings = [finding for check in catalogue() if check.of == of
                for finding in _run(check, case)]
    return tuple(_waived(finding, signed.get(finding.check)) for finding in findings)


def _run(check: Check, case: AnyCase) -> Iterator[Finding]:
    try:
        complaints = list(check.run(case))
    except (NotChecked, NoLimit) as absent:
        yield Finding(check=check.slug, outcome="not checked", message=_sentence(str(absent)))
        return
    if not complaints:
        yield _held(check.slug, check.held)
    for complaint in complaints:
        yield _finding(check, complaint)


@lru_cache(maxsize=256)
def _held(slug: str, message: str) -> Finding:
    """Return the finding of a rule that is held: the same for every charge."""
    return Finding(check=slug, outcome="held", message=message)


def _finding(check: Check, complaint: Complaint) -> Finding:
    gravity = complaint.gravity or check.gravity
    outcome: Outcome = "held" if gravity == "note" else gravity
    return Finding(
        check=check.slug, outcome=outcome, noted=gravity == "note", message=complaint.message,
        where=tuple(Spot(file=p.file, line=p.line, column=p.column) for p in complaint.places),
        subject=complaint.subject, value=_rounded(complaint.value),
        limit=_rounded(complaint.limit), unit=complaint.unit)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(float(value), 3)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def _waived(finding: Finding, waiver: Waiver | None) -> Finding:
    if waiver is None or finding.outcome not in ("query", "refused"):
        return finding
    return finding.model_copy(update={"outcome": "waived", "waived_by": waiver.by,
                                      "waived_because": waiver.reason})

