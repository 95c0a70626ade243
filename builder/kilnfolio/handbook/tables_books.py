"""Tables of limits, checks and publications."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from kilnfolio.handbook.tables import Column, Options, Table, table_kind
from kilnfolio.records.model import Name
from kilnfolio.records.problems import Problem
from kilnfolio.records.yaml_source import Document
from kilnfolio.review.figures import measure

if TYPE_CHECKING:
    from kilnfolio.handbook.rendered import Builder


class LimitOptions(Options):
    """Options of a table of limits."""

    group: Name | None = None
    """A group of checks, such as sample-boards; by default all."""


@table_kind("limits", LimitOptions)
def _limits(builder: Builder, options: LimitOptions, document: Document) -> Table:
    limits = builder.setting.folder.limits.record.limits
    wanted = list(limits)
    if options.group:
        wanted = [key for key in _limits_of_group(builder, options.group) if key in limits]
        if not wanted:
            builder.problem(
                Problem(
                    document.place("group"),
                    f"group '{options.group}'",
                    "no check of this group has a limit",
                    "Known ones: " + ", ".join(_groups(builder)),
                )
            )
    rows = []
    for key in wanted:
        for limit in limits[key]:
            digits = len(f"{limit.value:g}".partition(".")[2])
            rows.append(
                (
                    limit.meaning,
                    measure(limit.value, limit.unit, digits),
                    _scope(builder, limit.scope),
                    builder.cite_row(limit.source, limit.status),
                )
            )
    revision = builder.setting.folder.limits.record.revision
    return Table(
        (
            Column("What it limits", text=True),
            Column("Limit"),
            Column("Where", text=True),
            Column("Source", text=True),
        ),
        tuple(rows),
        f"Limits of this mill, revision {revision}; the narrowest that fits is used.",
    )


def _scope(builder: Builder, scope: Any) -> str:
    species = builder.setting.folder.species
    words = [species[name].record.trade_name for name in scope.species if name in species]
    words += [scope.kind + "s"] if scope.kind else []
    words += (
        [f"thicker than {builder.setting.regional.side_by_side(scope.thicker_than)}"]
        if scope.thicker_than
        else []
    )
    words += [f"target {measure(scope.target_mc, '%', 0)}"] if scope.target_mc else []
    words += [f"mills in {scope.region}"] if scope.region else []
    return ", ".join(words) or "everywhere"


def _groups(builder: Builder) -> Sequence[str]:
    return list(
        dict.fromkeys(
            getattr(check, "group", "").replace(" ", "-")
            for check in builder.setting.checks.values()
        )
    )


def _limits_of_group(builder: Builder, group: str) -> list[str]:
    keys: dict[str, None] = {}
    for check in builder.setting.checks.values():
        if getattr(check, "group", "").replace(" ", "-") == group:
            keys |= dict.fromkeys(getattr(check, "limits", ()))
    return list(keys)


@table_kind("checks")
def _checks(builder: Builder, _options: Options, _document: Document) -> Table:
    rows = []
    for slug, check in builder.setting.checks.items():
        address = builder.setting.record("check", slug, builder.chapter.slug)
        rows.append(
            (
                builder.setting.link(getattr(check, "title", slug), address),
                getattr(check, "group", ""),
                getattr(check, "reason", ""),
            )
        )
    return Table(
        (Column("Check", text=True), Column("Group", text=True), Column("Why", text=True)),
        tuple(rows),
        "From the registry of checks.",
    )


@table_kind("sources")
def _sources(builder: Builder, _options: Options, _document: Document) -> Table:
    rows = []
    for publication in builder.setting.publications.values():
        about = ", ".join(
            filter(
                None,
                (
                    publication.author,
                    publication.title,
                    publication.edition,
                    str(publication.year or ""),
                ),
            )
        )
        rows.append((publication.short, about, publication.note or ""))
    return Table(
        (
            Column("Short form", text=True),
            Column("Publication", text=True),
            Column("Note", text=True),
        ),
        tuple(rows),
        "From the mill's list of publications.",
    )
