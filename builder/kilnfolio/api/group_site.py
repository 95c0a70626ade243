"""The site of a group of mills: one register, trends and library, from lines alone."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from jinja2 import Environment
from markupsafe import Markup

from kilnfolio.api.group import (
    LEAST,
    Mean,
    MillResult,
    QuarterResult,
    SameSchedule,
    energy_of,
    every_quarter,
    quarters,
    same_schedules,
)
from kilnfolio.api.group_control import group_control
from kilnfolio.api.lines import Lines, ScheduleLine
from kilnfolio.charts.group import means_chart, quarters_chart
from kilnfolio.physics.control_chart import LEAST as FEWEST
from kilnfolio.records.mill import Mill
from kilnfolio.rendering.languages import SEALED
from kilnfolio.rendering.templating import environment, render
from kilnfolio.runtime.files import sync_folder, sync_tree
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.static import VERIFIER, assets
from kilnfolio.trends.control import CHANCE, NEWEST

MENU = (
    ("Mills", "index.html"),
    ("Charges", "charges/index.html"),
    ("Same schedule", "schedules.html"),
    ("Trends", "trends.html"),
    ("Library", "library.html"),
)
#: Marks a folder as written by this module, so that nothing else is replaced.
MARK = "group.txt"


@dataclass(frozen=True)
class LibraryRow:
    """A schedule, and the mills that dried by it."""

    id: str
    users: Sequence[tuple[str, ScheduleLine]]

    @property
    def title(self) -> str:
        """Its title at the first mill."""
        return self.users[0][1].title

    @property
    def differences(self) -> Iterator[tuple[str, str, str, str]]:
        """Each mill, what differs there from the first mill, how, and as it is at the first."""
        first = self.users[0][1].written
        for mill, line in self.users[1:]:
            if first and line.written:
                for part in dict.fromkeys([*first, *line.written]):
                    own, theirs = line.written.get(part, ""), first.get(part, "")
                    if own != theirs:
                        yield mill, part, own, theirs

    @property
    def unnamed(self) -> list[str]:
        """The mills whose steps differ, but whose lines are older and do not say how."""
        first = self.users[0][1]
        return [
            mill
            for mill, line in self.users[1:]
            if line.steps != first.steps and not (first.written and line.written)
        ]


class GroupRefusedError(Exception):
    """Another folder is in the way."""


def write_group(group: Sequence[Lines], name: str, out: Path) -> int:
    """Write the site of a group of mills.

    Parameters
    ----------
    group : sequence of Lines
        The lines of each mill; see `group.read_lines`.
    name : str
        The group's name.
    out : Path
        The folder; an earlier site of a group is replaced.

    Returns
    -------
    int
        Number of pages.

    Raises
    ------
    GroupRefusedError
        Something else is at `out`.
    """
    out = out.absolute()
    if out.exists() and not (out / MARK).is_file() and (not out.is_dir() or any(out.iterdir())):
        raise GroupRefusedError(f"{out} holds other files; name a new folder with --out")
    if not out.parent.is_dir():
        raise GroupRefusedError(f"there is no folder {out.parent}")
    pages = dict(_pages(group, _environment(group, name)))
    with tempfile.TemporaryDirectory(dir=out.parent, prefix=".group-") as staging:
        made = Path(staging) / "made"
        for path, text in {**pages, MARK: _held(group)}.items():
            (made / path).parent.mkdir(parents=True, exist_ok=True)
            (made / path).write_text(text, "utf-8")
        for path, data in assets("auditor", SEALED).items():
            if path == VERIFIER:
                continue
            (made / path).parent.mkdir(parents=True, exist_ok=True)
            (made / path).write_bytes(data)
        sync_tree(made)
        if out.exists():
            shutil.rmtree(out)
        os.replace(made, out)  # noqa: PTH105  also for a folder
    sync_folder(out.parent)
    return len(pages)


def _held(group: Sequence[Lines]) -> str:
    """Return what the site was made from, in words."""
    lines = ["Made by kilnfolio group from lines of:"]
    lines += [
        f"{one.mill.name}: {one.edition} edition, {len(one.charges)} charges, {len(one.lots)} lots"
        for one in group
    ]
    return "\n".join(lines) + "\n"


def _environment(group: Sequence[Lines], name: str) -> Environment:
    practices = {one.mill.practice for one in group}
    frame = {
        "format": 1,
        "name": "Group",
        "place": "-",
        "country": "Canada",
        "time_zone": group[0].mill.time_zone,
        "altitude": "0 m",
        "contact": {"name": "-", "email": "office@mill.example"},
        "records_address": "https://mill.example/records",
        "practice": practices.pop() if len(practices) == 1 else "continental",
    }
    mill = Mill.model_validate(frame).model_copy(  # pages print nothing of it but what follows
        update={
            "name": name,
            "place": ", ".join(one.mill.name for one in group),
            "country": ", ".join(sorted({one.mill.country for one in group})),
            "invented": any(one.mill.invented for one in group),
        }
    )
    env = environment(mill, menu=MENU, pdfs=False)
    env.globals.update(searchable=False, foot=())
    return env


def _pages(group: Sequence[Lines], env: Environment) -> Iterator[tuple[str, str]]:
    def page(template: str, path: str, title: str, **values: Any) -> tuple[str, str]:
        return path, render(env, template, path, title=title, group=group, least=LEAST, **values)

    yield page("group_index.html", "index.html", "Which mills are in this group?")
    years = sorted({one.ended.year for mill in group for one in mill.charges}, reverse=True)
    counts = [
        (year, sum(one.ended.year == year for mill in group for one in mill.charges))
        for year in years
    ]
    yield page(
        "group_charges.html",
        "charges/index.html",
        "Which charges has the group dried?",
        years=counts,
        rows=(),
        by_mill=(),
        by_wood=(),
    )
    yield from _registers(page, group, counts)
    schedules = [(one, _charts(one)) for one in same_schedules(group)]
    yield page(
        "group_schedules.html",
        "schedules.html",
        "How does the same schedule do at each mill?",
        schedules=schedules,
    )
    control, looks = group_control(group)
    judged = {
        "looks": looks,
        "one_in": round(1 / CHANCE),
        "newest": NEWEST,
        "few": FEWEST,
    }
    yield _trends(page, list(quarters(group)), control=control, **judged)
    for number, mill in enumerate(control, 1):
        yield page(
            "group_control.html",
            f"control/{number}.html",
            f"Has a kiln or a timber of {mill.mill} changed?",
            found=mill,
            crumbs=(("Trends", "trends.html"),),
            **judged,
        )
    yield page(
        "group_library.html",
        "library.html",
        "Which schedules and woods do the mills share?",
        rows=_library(group),
        woods=_woods(group),
    )


def _grouped(rows: Sequence[dict[str, Any]], key: str) -> list[tuple[str, list[dict[str, Any]]]]:
    """Return the rows that share each value of a key, by value."""
    found: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        found.setdefault(row[key], []).append(row)
    return sorted(found.items())


def _registers(
    page: Callable[..., tuple[str, str]], group: Sequence[Lines], years: Sequence[tuple[int, int]]
) -> Iterator[tuple[str, str]]:
    """Yield the register of each year, and the parts of it by mill and by wood.

    The parts are pages of their own, so that nobody needs a script to find a charge.
    """
    for year, _ in years:
        rows = _register(group, year)
        mills = _grouped(rows, "mill")
        named = [*mills, *_grouped(rows, "wood")]
        links = [
            (words, len(found), f"charges/{year}-{number}.html")
            for number, (words, found) in enumerate(named, 1)
        ]
        by = {"years": years, "by_mill": links[: len(mills)], "by_wood": links[len(mills) :]}
        home = ("Charges", "charges/index.html")
        address = f"charges/{year}.html"
        title = f"Which charges did the group dry in {year}?"
        yield page("group_charges.html", address, title, rows=rows, crumbs=(home,), **by)
        for (words, found), (_, _, part) in zip(named, links, strict=True):
            yield page(
                "group_charges.html",
                part,
                f"Which charges did the group dry in {year}: {words}?",
                rows=found,
                crumbs=(home, (str(year), address)),
                **by,
            )


def _register(group: Sequence[Lines], year: int) -> list[dict[str, Any]]:
    """Return the charges that ended in a year, newest first."""
    rows = [
        {
            "mill": mill.mill.name,
            "line": one,
            "wood": mill.species.get(one.species, one.species),
            "schedule": next(
                (record.title for record in mill.schedules if record.id == one.schedule),
                one.schedule,
            ),
            "energy": energy_of(one),
            "at": one.ended,
        }
        for mill in group
        for one in mill.charges
        if one.ended.year == year
    ]
    return sorted(rows, key=lambda row: (row["at"], row["mill"]), reverse=True)


def _charts(one: SameSchedule) -> list[Markup]:
    figures: Sequence[tuple[str, str, Callable[[MillResult], Mean | None]]] = (
        ("days", "Days", lambda result: result.days),
        ("off", "Final MC less target, points", lambda result: result.off_target),
        ("energy", "Energy, kWh/m³", lambda result: result.energy),
    )
    return [
        means_chart(
            f"{one.id}-{name}",
            f"{label} by mill, {one.title}",
            label,
            [
                (result.mill, mean.mean, mean.half)
                for result in one.results
                if (mean := get(result)) is not None
            ],
        )
        for name, label, get in figures
    ]


def _trends(
    page: Callable[..., tuple[str, str]], found: Sequence[QuarterResult], **values: Any
) -> tuple[str, str]:
    known = sorted({one.quarter for one in found})
    names = every_quarter(known[0], known[-1]) if known else []
    mills = sorted({one.mill for one in found})
    at = {(one.mill, one.quarter): one for one in found}

    def lines(figure: str) -> list[tuple[str, list[float | None]]]:
        return [
            (mill, [getattr(at.get((mill, quarter)), figure, None) for quarter in names])
            for mill in mills
        ]

    off = "Final MC less target, points"
    return page(
        "group_trends.html",
        "trends.html",
        "How do the mills change from quarter to quarter?",
        found=found,
        off=quarters_chart("off-target", off, off, names, lines("off_target")),
        energy=quarters_chart("energy", "Energy", "Energy, kWh/m³", names, lines("energy")),
        **values,
    )


def _library(group: Sequence[Lines]) -> list[LibraryRow]:
    """Return each schedule with its users, and what differs from the first of them."""
    by_id: dict[str, list[tuple[str, ScheduleLine]]] = {}
    for mill in group:
        for one in mill.schedules:
            by_id.setdefault(one.id, []).append((mill.mill.name, one))
    return [LibraryRow(name, users) for name, users in sorted(by_id.items())]


def _woods(group: Sequence[Lines]) -> list[tuple[str, list[tuple[str, int]]]]:
    """Return each wood, and how many charges of it each mill has dried."""
    found: dict[str, list[tuple[str, int]]] = {}
    for mill in group:
        for wood, words in mill.species.items():
            count = sum(one.species == wood for one in mill.charges)
            if count:
                found.setdefault(words, []).append((mill.mill.name, count))
    return sorted(found.items())
