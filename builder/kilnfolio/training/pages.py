"""The pages of practice problems and drills, and the numbers that a script exchanges.

The page of problems holds one set and works without script. With script, every problem can be shown
with new numbers, drawn and worked out in the browser.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

from jinja2 import Environment
from markupsafe import Markup

from kilnfolio.records.folder import MillFolder
from kilnfolio.rendering import routes
from kilnfolio.rendering.page import Page
from kilnfolio.rendering.regional import regional_format
from kilnfolio.rendering.templating import render
from kilnfolio.review.limits import limit_table
from kilnfolio.runtime.values import dataclass
from kilnfolio.training.drills import Drill
from kilnfolio.training.expected import expected
from kilnfolio.training.faults import FAULTS
from kilnfolio.training.kinds import TOPICS, by_topic
from kilnfolio.training.problem import KINDS, Problem, make_problem
from kilnfolio.training.problem_script import problem_data, script

#: Path of the page in the edition, and of the data that its script loads.
PATH = "practice.html"
PROBLEMS_PATH = "assets/practice-problems.js"
#: Path of the drills.
DRILLS_PATH = "drills.html"
#: Seed of the numbers of the printed booklet, beyond all that the page's script draws by itself.
BOOKLET_SEED = 1_000_000


@dataclass(frozen=True)
class Topic:
    """A topic's problems, and its chapter of the handbook."""

    title: str
    anchor: str
    chapter: str
    """Address of the chapter."""
    problems: Sequence[Problem]


def topics(folder: MillFolder, seed: int) -> list[Topic]:
    """Return every topic with its problems, with the numbers of a seed."""
    limits, regional = limit_table(folder), regional_format(folder.mill.record)
    return [
        Topic(
            title,
            title.lower().replace(" ", "-"),
            routes.chapter(TOPICS[title]),
            [make_problem(kind, seed, limits, regional) for kind in kinds],
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
        "surveys, shrinkage and heat treatment, each with a hint, a worked answer, and new "
        "numbers as often as you like."
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
        problems_path=PROBLEMS_PATH,
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


def practice_problems(folder: MillFolder) -> str:
    """Return the script file of every kind of problem, which holds no answer."""
    return script("practiceProblems", problem_data(folder))
