"""The catalogue of checks, made from the registry: each with its limits and its outcomes so far."""

from __future__ import annotations

from kilnfolio.records.limits import Limit
from kilnfolio.records.sourced import Status
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.review import checks as _registered  # noqa: F401  registers the checks
from kilnfolio.review import figures
from kilnfolio.review.findings import ANSWERS, CHECKS, GROUPS, Check, is_own
from kilnfolio.review.own_code import own_code
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.context import Citation, SiteContext, check_address
from kilnfolio.site.limit_trials import limit_standings
from kilnfolio.site.pages.phrases import OUTCOME_MEANING, OUTCOME_ORDER, Count, listed, plural
from kilnfolio.site.pages.tallies import NamedFinding

INDEX = "checks/index.html"

#: What a breach of each severity means, in words.
SEVERITY_MEANING = {
    "fail": "A breach fails: it blocks the claim about {claim} until {until}.",
    "question": "A breach is a question: it needs a signed answer.",
    "note": "A breach is noted and asks for no answer.",
}
_CLAIM_WORDS = {
    "moisture": "moisture content",
    "heat treatment": "heat treatment",
    "record": "the record itself",
}


@dataclass(frozen=True)
class LimitLine:
    """An entry of the limits file."""

    key: str
    value: str
    meaning: str
    scope: str
    cite: Citation
    status: Status
    target: str
    """The page that tries other values; "" without one."""


@dataclass(frozen=True)
class CheckView:
    """Everything a check's page prints."""

    record: Check
    target: str
    meaning: str
    limits: list[LimitLine]
    cite: Citation
    counts: list[Count]
    named: tuple[NamedFinding, ...]
    more: int
    """Number of further charges and lots, not listed in `named`."""


def checks_of(context: SiteContext) -> dict[str, Check]:
    """Return every check by slug, with the mill's own."""
    return CHECKS | dict(own_code(context.folder.graph).checks)


def check_index(context: SiteContext) -> Page:
    """Return the catalogue of checks."""
    views = [_view(context, check) for check in checks_of(context).values()]
    groups = [(group, [view for view in views if view.record.group == group]) for group in GROUPS]
    return context.page(
        "checks_index.html",
        INDEX,
        "Checks",
        "check",
        groups=[(group, found) for group, found in groups if found],
        meanings=OUTCOME_MEANING,
        total=len(views),
        warnings="checks/early-warnings.html" if context.edition == "mill" else "",
        summary=f"{plural(len(views), 'check')} applied to every charge and lot, each "
        "with its reason, limit and source.",
    )


def _view(context: SiteContext, check: Check) -> CheckView:
    book = context.folder.limits.record.limits
    tally = context.tally(check.slug)
    return CheckView(
        check,
        check_address(check.slug),
        SEVERITY_MEANING[check.severity].format(
            claim=_CLAIM_WORDS[check.claim], until=_lifted_by(check)
        ),
        [_limit(context, key, limit) for key in check.limits for limit in book.get(key, [])],
        context.cite(check.source),
        [
            Count(outcome, tally.counts[outcome], OUTCOME_MEANING[outcome])
            for outcome in OUTCOME_ORDER
            if tally.counts.get(outcome)
        ],
        tally.named,
        tally.more,
    )


def _lifted_by(check: Check) -> str:
    """Return, in words, what lifts the block of a failed check."""
    right = "the record is corrected"
    if check.answers == ANSWERS:
        return f"{right} or the finding is answered and signed"
    if not check.answers:
        return f"{right}; no answer clears it"
    kinds = listed(f"'{kind}'" for kind in check.answers)
    return f"{right} or the finding is answered as {kinds}; no other answer clears it"


def _limit(context: SiteContext, key: str, limit: Limit) -> LimitLine:
    return LimitLine(
        key,
        figures.measure(limit.value, limit.unit, decimals_of(limit.value)),
        limit.meaning,
        scope_words(context, limit),
        context.cite(limit.source),
        limit.status,
        _tried_at(context, key),
    )


def _tried_at(context: SiteContext, key: str) -> str:
    if context.edition != "mill" or limit_standings.entry(context.graph, key) is None:
        return ""
    return routes.limit(key)


def decimals_of(value: float) -> int:
    """Return how many decimals a limit is written with."""
    return len(f"{value:.6f}".rstrip("0").partition(".")[2])


def scope_words(context: SiteContext, limit: Limit) -> str:
    """Return, in words, which timber and targets a limit applies to."""
    scope, parts = limit.scope, []
    if scope.kind:
        parts.append(f"{scope.kind}s")
    if scope.species:
        parts.append(listed(context.species_name(name) for name in scope.species))
    if scope.thicker_than:
        parts.append(f"thicker than {context.regional.side_by_side(scope.thicker_than)}")
    if scope.region:
        parts.append(f"mills in {scope.region}")
    if scope.target_mc is not None:
        parts.append(f"target {scope.target_mc:g}{figures.NBSP}% MC")
    return ", ".join(parts) or "everywhere"


def check_page(context: SiteContext, slug: str) -> Page:
    """Return the page of a check."""
    view = _view(context, checks_of(context)[slug])
    check = view.record
    return context.page(
        "check.html",
        view.target,
        check.title,
        "check",
        view=view,
        mills_own=is_own(slug),
        digest=own_code(context.folder.graph).digest if is_own(slug) else "",
        summary=context.regional.localized(check.reason),
        crumbs=(("Checks", INDEX), (check.group.capitalize(), f"{INDEX}#{anchor_of(check.group)}")),
        text=[
            f"{check.title}.",
            check.slug.replace("-", " "),
            check.slug,
            check.reason,
            check.passes,
            *(
                f"{line.key.replace('-', ' ')}: {line.value}. {line.meaning}"
                for line in view.limits
            ),
        ],
    )


def anchor_of(group: str) -> str:
    """Return the anchor of a group in the catalogue."""
    return "group-" + group.replace(" ", "-")
