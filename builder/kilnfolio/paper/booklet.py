"""The trainee's booklet and the trainer's key, laid out like the handbook."""

from __future__ import annotations

from collections.abc import Sequence

from jinja2 import Environment

from kilnfolio.charts.paper import for_paper
from kilnfolio.records.folder import MillFolder
from kilnfolio.training.drills import Drill
from kilnfolio.training.pages import BOOKLET_SEED, numbered, topics
from kilnfolio.training.problem import KINDS

#: Paths of the two in the mill edition, and their titles.
TRAINEE, TRAINER = "practice.pdf", "practice-key.pdf"
_TITLES = {TRAINEE: "Practice booklet", TRAINER: "Key to the practice booklet"}


def booklets(
    folder: MillFolder, env: Environment, drills: Sequence[Drill], seed: int = BOOKLET_SEED
) -> dict[str, str]:
    """Return the HTML of the booklet and of its key, by the name of the PDF.

    Parameters
    ----------
    folder : MillFolder
        The mill, for the limits that problems use.
    env : Environment
        From `templating.environment`.
    drills : sequence of Drill
        From `make_drills`.
    seed : int
        Seed of the numbers; by default not the one whose answers the page shows.
    """
    from kilnfolio import __version__

    groups = topics(folder, seed)
    template = env.get_template("exercises/booklet.html")
    return {
        name: for_paper(
            template.render(
                title=title,
                answers=name == TRAINER,
                topics=groups,
                numbers={problem.kind.slug: number for number, problem in numbered(groups)},
                count=len(KINDS),
                drills=drills,
                set=seed + 1,
                version=__version__,
            )
        )
        for name, title in _TITLES.items()
    }
