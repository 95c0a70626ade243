"""A printed exam, and its key as a separate file."""

from __future__ import annotations

from jinja2 import Environment

from kilnfolio.charts.paper import for_paper
from kilnfolio.training.lessons import Paper


def exam_html(paper: Paper, env: Environment, *, answers: bool) -> str:
    """Return the paper for the trainee, or its key for the trainer.

    Parameters
    ----------
    paper : Paper
        From `lessons.exam`.
    env : Environment
        From `templating.environment`.
    answers : bool
        True for the key; the exam itself holds no answers.
    """
    from kilnfolio import __version__

    template = env.get_template("exercises/exam.html")
    title = f"{'Key to the exam' if answers else 'Exam'}: {paper.lesson.title}"
    return for_paper(
        template.render(title=title, paper=paper, answers=answers, version=__version__)
    )
