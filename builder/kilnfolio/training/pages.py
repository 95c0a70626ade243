"""The pages of practice problems and drills, and the numbers that a script exchanges.

The page of problems holds one set and works without script. With script, every problem can be shown
with other numbers. Those too were worked when the site was built: scripts contain no formula.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from jinja2 import Environment
from markupsafe import Markup

from kilnfolio.records.folder import MillFolder
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import PLAIN, RegionalFormat, regional_format
from kilnfolio.rendering.templating import render
from kilnfolio.review.limits import LimitTable, limit_table
from kilnfolio.training.drills import Drill
from kilnfolio.training.expected import Expected, expected
from kilnfolio.training.faults import FAULTS
from kilnfolio.training.kinds import TOPICS, by_topic
from kilnfolio.training.problem import KINDS, Kind, Problem, make_problem

#: Path of the page in the edition, and of the file of other numbers that it loads.
PATH = "practice.html"
NUMBERS_PATH = "assets/practice-numbers.js"
#: Path of the drills.
DRILLS_PATH = "drills.html"
#: Sets of numbers for each problem.
SETS = 12


@dataclass(frozen=True)
class Topic:
    """A topic's problems, and its chapter of the handbook."""

    title: str
    anchor: str
    chapter: str
    """Address of the chapter."""
    problems: Sequence[Problem]


def sets_of(
    kind: Kind, limits: LimitTable, count: int, regional: RegionalFormat = PLAIN
) -> list[Problem]:
    """Return different problems of a kind, by rising seeds.

    Returns fewer than `count` if the kind does not have enough different numbers.
    """
    found: dict[str, Problem] = {}
    for seed in range(20 * count):
        problem = make_problem(kind, seed, limits, regional)
        found.setdefault(problem.ask, problem)
        if len(found) == count:
            break
    return list(found.values())


def topics(folder: MillFolder, place: int) -> list[Topic]:
    """Return every topic with its problems of one set of numbers; sets count from 0."""
    limits, regional = limit_table(folder), regional_format(folder.mill.record)
    return [
        Topic(
            title,
            title.lower().replace(" ", "-"),
            routes.chapter(TOPICS[title]),
            [sets_of(kind, limits, place + 1, regional)[-1] for kind in kinds],
        )
        for title, kinds in by_topic().items()
    ]


def numbered(groups: Sequence[Topic]) -> Iterator[tuple[int, Problem]]:
    """Yield every problem with its number, counted across topics."""
    yield from enumerate((problem for topic in groups for problem in topic.problems), start=1)


def render_practice(folder: MillFolder, env: Environment) -> Page:
    """Return the page of practice problems.

    Parameters
    ----------
    folder : MillFolder
        The mill, for the limits that problems use.
    env : Environment
        From `templating.environment`.
    """
    groups = topics(folder, 0)
    summary = (
        f"{len(KINDS)} problems over MC, sample boards, EMC, controlling MC, rates, equalizing, "
        "surveys, shrinkage and heat treatment, each with a hint, a worked answer, and fresh "
        "numbers."
    )
    html = render(
        env,
        "exercises/practice.html",
        PATH,
        title="Practice",
        summary=summary,
        topics=groups,
        numbers={problem.kind.slug: number for number, problem in numbered(groups)},
        typed={problem.kind.slug: len(expected(problem)) for _, problem in numbered(groups)},
        kinds=[
            (topic.title, [problem.kind.slug for problem in topic.problems]) for topic in groups
        ],
        sets=SETS,
        numbers_path=NUMBERS_PATH,
    )
    text = " ".join(f"{kind.title}." for kind in KINDS.values())
    return Page(PATH, html, "Practice", "practice", text, summary)


def render_drills(drills: Sequence[Drill], env: Environment) -> Page:
    """Return the page of drills, each with its key collapsed.

    Parameters
    ----------
    drills : sequence of Drill
        From `make_drills`.
    env : Environment
        From `templating.environment`.
    """
    summary = (
        f"{len(drills)} charges made anonymous, a fault planted in each: what is wrong, where, and "
        "what do you do?"
    )
    html = _drills_page(drills, env, title="Drills", summary=summary)
    return Page(DRILLS_PATH, html, "Drills", "practice", "Drills for trainees. " + summary, summary)


def drills_alone(
    drills: Sequence[Drill], env: Environment, seed: int, style: str, script: str
) -> str:
    """Return drills as a single file that opens without the site.

    Parameters
    ----------
    drills : sequence of Drill
        From `drills_by_chance`.
    env : Environment
        From `templating.environment`.
    seed : int
        The seed of the drills, for the title.
    style, script : str
        The style sheet and ``drills.js``, embedded in the file.
    """
    from kilnfolio import __version__

    return _drills_page(
        drills,
        env,
        title=f"Drills of seed {seed}",
        alone=True,
        # the site's font files are not available here; the reader's fonts will do
        style=Markup(re.sub(r"@font-face {[^}]*}", "", style)),
        script=Markup(script),
        version=__version__,
    )


def _drills_page(drills: Sequence[Drill], env: Environment, **values: Any) -> str:
    return render(
        env,
        "exercises/drills.html",
        DRILLS_PATH,
        drills=drills,
        faults=FAULTS,
        check=routes.check,
        **{"alone": False, **values},
    )


def practice_numbers(folder: MillFolder) -> str:
    """Return the script file of every set of numbers, starting with the page's own."""
    limits, regional = limit_table(folder), regional_format(folder.mill.record)
    said: dict[str, int] = {}
    units: dict[str, Mapping[str, tuple[float, float]]] = {}

    def figure(asked: Expected) -> list[Any]:
        """Return a figure to be typed as plain data: label, figure, tolerance, units, mistakes."""
        key = f"{asked.unit}|{','.join(asked.units)}"
        units[key] = {word: (unit.factor, unit.offset) for word, unit in asked.units.items()}
        mistakes = [(value, said.setdefault(words, len(said))) for value, words in asked.wrong]
        return [asked.label, asked.value, asked.tolerance, asked.unit, key, mistakes]

    sets = {
        slug: [
            {
                "ask": str(problem.ask),
                "answer": str(problem.answer),
                "typed": [figure(asked) for asked in expected(problem)],
            }
            for problem in sets_of(kind, limits, SETS, regional)
        ]
        for slug, kind in KINDS.items()
    }
    return (
        _script("practiceNumbers", sets)
        + _script("practiceUnits", units)
        + _script("practiceMistakes", list(said))
    )


def _script(name: str, value: object) -> str:
    words = json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return f"window.{name}=" + words.replace("<", "\\u003c") + ";\n"
