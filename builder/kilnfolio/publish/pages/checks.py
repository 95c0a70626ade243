"""The catalogue of checks, made from the registry: each with its limit and what it has said."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from kilnfolio.publish import routes
from kilnfolio.publish.page import Page
from kilnfolio.publish.pages.holdings import Citation, Holdings, check_page
from kilnfolio.publish.pages.words import GRAVITY, OUTCOME_MEANING, Count, listed, plural
from kilnfolio.records.book import Status
from kilnfolio.records.limits import Limit
from kilnfolio.review import checks as _registered  # noqa: F401  fills the registry
from kilnfolio.review import figures
from kilnfolio.review.dossier import Finding, Outcome
from kilnfolio.review.findings import CHECKS, GROUPS, Check

INDEX = "checks/index.html"

#: What a complaint of each gravity does, in words.
GRAVITY_MEANING = {
    "refused": "A breach is refused: it stops the claim about {claim} until the record is put "
    "right or the finding is waived with a signed reason.",
    "query": "A breach is a query: it needs a signed reason.",
    "note": "A breach is noted and asks for no answer.",
}
_CLAIM_WORDS = {
    "moisture": "moisture content",
    "heat treatment": "heat treatment",
    "record": "the record itself",
}


@dataclass(frozen=True)
class LimitLine:
    """One entry of the limits file."""

    key: str
    value: str
    meaning: str
    scope: str
    cite: Citation
    status: Status


@dataclass(frozen=True)
class Spoken:
    """What a check said of one charge or lot."""

    name: str
    target: str
    outcome: Outcome
    noted: bool
    message: str


@dataclass(frozen=True)
class CheckView:
    """Everything a check's page prints."""

    record: Check
    target: str
    meaning: str
    limits: list[LimitLine]
    cite: Citation
    counts: list[Count]
    spoken: list[Spoken]


def check_pages(holdings: Holdings) -> Iterator[Page]:
    """Yield the catalogue and a page for each check."""
    said = _said(holdings)
    views = [_view(holdings, check, said[check.slug]) for check in CHECKS.values()]
    groups = [(group, [view for view in views if view.record.group == group]) for group in GROUPS]
    yield holdings.page(
        "checks_index.html",
        INDEX,
        "Checks",
        "check",
        groups=[(group, found) for group, found in groups if found],
        meanings=OUTCOME_MEANING,
        total=len(views),
        summary=f"{plural(len(views), 'check')} put to every charge and lot, each "
        "with its reason, limit and source.",
    )
    for view in views:
        yield _page(holdings, view)


def _said(holdings: Holdings) -> Mapping[str, list[tuple[str, str, Finding]]]:
    said: defaultdict[str, list[tuple[str, str, Finding]]] = defaultdict(list)
    for charge in holdings.charges:
        for finding in holdings.dossiers[charge.id].findings:
            said[finding.check].append((f"charge {charge.id}", routes.charge(charge.id), finding))
    for lot in holdings.lots:
        for finding in holdings.lot_dossiers[lot.id].findings:
            said[finding.check].append((f"lot {lot.id}", routes.lot(lot.id), finding))
    return said


def _view(holdings: Holdings, check: Check, said: list[tuple[str, str, Finding]]) -> CheckView:
    book = holdings.folder.limits.record.limits
    counted = Counter(finding.outcome for _, _, finding in said)
    return CheckView(
        check,
        check_page(check.slug),
        GRAVITY_MEANING[check.gravity].format(claim=_CLAIM_WORDS[check.claim]),
        [_limit(holdings, key, limit) for key in check.limits for limit in book.get(key, [])],
        holdings.cite(check.source),
        [
            Count(outcome, counted[outcome], OUTCOME_MEANING[outcome])
            for outcome in GRAVITY
            if counted[outcome]
        ],
        [
            Spoken(name, target, finding.outcome, finding.noted, finding.message)
            for name, target, finding in said
            if finding.noted or finding.outcome not in ("held", "not checked")
        ],
    )


def _limit(holdings: Holdings, key: str, limit: Limit) -> LimitLine:
    return LimitLine(
        key,
        figures.measure(limit.value, limit.unit, _decimals(limit.value)),
        limit.meaning,
        scope_words(holdings, limit),
        holdings.cite(limit.source),
        limit.status,
    )


def _decimals(value: float) -> int:
    return len(f"{value:.6f}".rstrip("0").partition(".")[2])


def scope_words(holdings: Holdings, limit: Limit) -> str:
    """Return where a limit holds, in words."""
    scope, parts = limit.scope, []
    if scope.kind:
        parts.append(f"{scope.kind}s")
    if scope.species:
        parts.append(listed(holdings.species_name(name) for name in scope.species))
    if scope.thicker_than:
        parts.append(f"thicker than {figures.side_by_side(scope.thicker_than)}")
    if scope.target_mc is not None:
        parts.append(f"target {scope.target_mc:g}{figures.NBSP}% MC")
    return ", ".join(parts) or "everywhere"


def _page(holdings: Holdings, view: CheckView) -> Page:
    check = view.record
    return holdings.page(
        "check.html",
        view.target,
        check.title,
        "check",
        view=view,
        summary=check.reason,
        crumbs=(("Checks", INDEX), (check.group.capitalize(), f"{INDEX}#{anchor_of(check.group)}")),
        text=[
            f"{check.title}.",
            check.slug.replace("-", " "),
            check.slug,
            check.reason,
            check.held,
            *(
                f"{line.key.replace('-', ' ')}: {line.value}. {line.meaning}"
                for line in view.limits
            ),
        ],
    )


def anchor_of(group: str) -> str:
    """Return the address of a group within the catalogue."""
    return "group-" + group.replace(" ", "-")
