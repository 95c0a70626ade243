"""What is about to be published: its seals, the safety wording, and the fields shown to customers.

The pipeline inspects the pages and the archive and passes the results as plain text, since the
review knows neither.
"""
# Checks need no docstrings: their decorators describe them, and their pages are made from those.
# ruff: noqa: D103

from __future__ import annotations

from collections.abc import Iterator, Sequence

from kilnfolio.review.findings import Breach, NoData, Publication, check

_GROUP = "publication"


@check(
    "archive-unchanged",
    title="Archive unchanged since issue",
    group=_GROUP,
    severity="fail",
    claim="record",
    of="publication",
    source="common practice",
    reason="A record that was issued is what its seal says. If its files, its rules or its "
    "schedule have changed since, the page shows what nobody sealed.",
    passes="Every sealed record is as it was sealed: its files, its rules and its results.",
)
def archive_unchanged(case: Publication) -> Iterator[Breach]:
    differences = _looked_at(case.differences, "no sealed record was compared with its files")
    for words in differences:
        yield Breach(f"Archive changed since issue: {words}", subject=words)


@check(
    "safety-wording",
    title="Safety wording on every page",
    group=_GROUP,
    severity="fail",
    claim="record",
    of="publication",
    source="common practice",
    reason="Somebody may open this one page only, from a label or a search. It must say what it is "
    "not: a permit, or permission to enter a kiln.",
    passes="Every page and every PDF carries the safety wording.",
)
def safety_wording(case: Publication) -> Iterator[Breach]:
    lacking = _looked_at(case.without_wording, "no page was looked at")
    for page in lacking:
        yield Breach(f"Safety wording missing: {page}.", subject=page)


@check(
    "customer-fields",
    title="Nothing for customers but what is on the list",
    group=_GROUP,
    severity="fail",
    claim="record",
    of="publication",
    source="common practice",
    reason="Set-points are know-how, names are private, and an alarm without its context "
    "misleads. What nobody has put on the list does not leave the mill.",
    passes="The customer edition holds listed fields only.",
)
def customer_fields(case: Publication) -> Iterator[Breach]:
    beyond = _looked_at(case.beyond_list, "no customer edition was made")
    for field in beyond:
        yield Breach(f"Internal data would be published: {field}.", subject=field)


def _looked_at(found: Sequence[str] | None, absent: str) -> Sequence[str]:
    if found is None:
        raise NoData(absent)
    return found
