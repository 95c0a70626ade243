"""The fenced directives: figure, table, chart, example and problem."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

from markupsafe import Markup

from kilnfolio.handbook import (  # noqa: F401  (each module registers its kinds of table)
    tables,
    tables_air,
    tables_books,
    tables_cost,
    tables_drying,
    tables_facts,
    tables_schedules,
    tables_species,
    tables_yard,
)
from kilnfolio.handbook.chapter import FIGURES
from kilnfolio.handbook.directive_charts import CHARTS, ChartOptions, behind
from kilnfolio.handbook.examples import Step, WorkedSteps, work_steps
from kilnfolio.handbook.source import Block
from kilnfolio.handbook.svg import read_drawing
from kilnfolio.records.model import Located, Name, Record, Slug, Text
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import Document, parse_yaml
from kilnfolio.review.limits import limit_table

if TYPE_CHECKING:
    from kilnfolio.handbook.rendered import Builder

R = TypeVar("R", bound=Record)
_NONE = Markup("")


class FigureOptions(Record):
    """``::: figure``."""

    name: Slug
    """The drawing: content/handbook/figures/NAME.svg."""
    caption: Text
    """What the reader should see in it."""
    alt: Text
    """A description for those who cannot see it."""


class ExampleOptions(Record):
    """``::: example``."""

    title: Name
    """What it is about."""
    say: Text
    """The case."""
    steps: list[Step]
    """The steps of the working."""
    close: Text | None = None
    """What to learn from it."""


class ProblemOptions(Record):
    """``::: problem``."""

    id: Slug
    """Its address."""
    ask: Text
    """The question."""
    hint: Text | None = None
    """A hint."""
    steps: list[Step]
    """The steps of the working."""
    answer: Text
    """The answer in words."""


def render(builder: Builder, block: Block) -> Markup:
    """Return a directive as HTML; its errors are added to the builder's problems."""
    make = _DIRECTIVES.get(block.name)
    place = Place(builder.file, block.line)
    if make is None:
        near = difflib.get_close_matches(block.name, list(_DIRECTIVES), n=1)
        builder.problem(
            Problem(
                place,
                f"the directive '{block.name}'",
                "there is no such directive",
                f"Did you mean '{near[0]}'?" if near else "Known ones: " + ", ".join(_DIRECTIVES),
            )
        )
        return Markup("<div></div>")
    try:
        # empty lines before the options make line numbers in messages those of the chapter
        document = parse_yaml(("\n" * block.line + block.text + "\n").encode(), builder.file)
        return make(builder, document)
    except RecordProblems as error:
        for problem in error.problems:
            at = problem.place if problem.place.line > 1 else place
            builder.problem(Problem(at, problem.what, problem.why, problem.instead))
        return Markup("<div></div>")


def _options(document: Document, model: type[R]) -> Located[R]:
    return validate(document, model)


def _framed(
    kind: str, number: str, anchor: str, inside: Markup, caption: Markup, after: Markup = _NONE
) -> Markup:
    css = "drawing" if kind == "Figure" else "chart"
    return Markup(
        '<figure class="{}" id="{}"><div class="scroll-x" tabindex="0" role="region" '
        'aria-label="Figure {}">{}</div>{}<figcaption><b>Figure {}.</b> {}</figcaption></figure>'
    ).format(css, anchor, number, inside, after, number, caption)


def _figure(builder: Builder, document: Document) -> Markup:
    options = _options(document, FigureOptions).record
    name, place = options.name, document.place("name")
    shown_as = f"{FIGURES}/{name}.svg"
    path = builder.setting.folder.root / shown_as
    number, anchor = builder.number("figure"), builder.anchor(f"fig-{name}", place)
    if not path.is_file():
        known = sorted(p.stem for p in path.parent.glob("*.svg"))
        near = difflib.get_close_matches(name, known, n=1)
        builder.problem(
            Problem(
                place,
                f"name '{name}'",
                f"there is no drawing {shown_as}",
                f"Did you mean '{near[0]}'?" if near else "Draw it, or remove this",
            )
        )
        return Markup("<div></div>")
    drawing, problems = read_drawing(path, shown_as, anchor)
    for problem in problems:
        builder.problem(problem)
    caption = builder.caption("figure", number, anchor, options.caption, document.place("caption"))
    alt = Markup('<p class="visually-hidden">{}</p>').format(options.alt)
    return _framed("Figure", number, anchor, Markup(drawing), caption, alt)


def _chart(builder: Builder, document: Document) -> Markup:
    options = _options(document, ChartOptions).record
    make = CHARTS.get(options.kind)
    if make is None:
        builder.problem(
            Problem(
                document.place("kind"),
                f"kind '{options.kind}'",
                "there is no such chart",
                "Known ones: " + ", ".join(CHARTS),
            )
        )
        return Markup("<div></div>")
    number = builder.number("figure")
    anchor = builder.anchor(f"chart-{options.kind}", document.place("kind"))
    try:
        chart = make(builder, options, anchor)
    except ValueError as error:
        builder.problem(
            Problem(
                document.place("temperature" if options.temperature else "kind"),
                "the chart cannot be drawn",
                str(error),
                "Change its options",
            )
        )
        return Markup("<div></div>")
    caption = builder.caption("figure", number, anchor, options.caption, document.place("caption"))
    return _framed("Chart", number, anchor, chart.drawing, caption, behind(builder, chart))


def _table(builder: Builder, document: Document) -> Markup:
    number = builder.number("table")
    anchor = builder.anchor(f"table-{number.replace('.', '-')}", document.place())
    made = tables.make(builder, document)
    if made is None:
        return Markup("<div></div>")
    caption = builder.caption(
        "table", number, anchor, made.caption, document.place("caption"), document.value["kind"]
    )
    publications = builder.setting.publications if builder.setting.target == "site" else None
    return tables.html(
        made, number, anchor, caption, publications, builder.setting.regional.localized
    )


def _work(builder: Builder, document: Document, steps: list[Step]) -> WorkedSteps:
    limits = limit_table(builder.setting.folder)
    board, problems = work_steps(document, steps, limits, builder.setting.regional)
    for problem in problems:
        builder.problem(problem)
    return board


def _example(builder: Builder, document: Document) -> Markup:
    options = _options(document, ExampleOptions).record
    board = _work(builder, document, options.steps)
    number = builder.number("example")
    anchor = builder.anchor(f"example-{number.replace('.', '-')}", document.place())
    say = builder.prose(options.say, document.place("say"), board)
    close = builder.prose(options.close, document.place("close"), board) if options.close else ""
    return Markup(
        '<section class="example" id="{}"><h3>Example {}. {}</h3>\n{}\n{}\n{}</section>'
    ).format(anchor, number, options.title, say, board.html(), close)


def _problem(builder: Builder, document: Document) -> Markup:
    from kilnfolio.handbook.rendered import Answer

    options = _options(document, ProblemOptions).record
    board = _work(builder, document, options.steps)
    number = builder.number("problem")
    anchor = builder.anchor(options.id, document.place("id"))
    ask = builder.prose(options.ask, document.place("ask"), board)
    answer = builder.prose(options.answer, document.place("answer"), board) + board.html()
    hint = Markup("")
    if options.hint:
        said = builder.line(options.hint, document.place("hint"), board)
        hint = Markup("<details><summary>Hint</summary><p>{}</p></details>").format(said)
        if builder.setting.target == "book":
            hint = Markup('<p class="hint"><b>Hint.</b> {}</p>').format(said)
    builder.body.answers.append(Answer(number, anchor, answer))
    shown = Markup("<details><summary>Answer</summary>{}</details>").format(answer)
    if builder.setting.target == "book":
        shown = Markup(
            '<p class="meta"><a class="page-ref" href="#answer-{}">Answer on page</a></p>'
        ).format(anchor)
    return Markup(
        '<section class="problem" id="{}"><h3>Problem {}</h3>\n{}\n{}\n{}</section>'
    ).format(anchor, number, ask, hint, shown)


_DIRECTIVES: dict[str, Callable[[Builder, Document], Markup]] = {
    "figure": _figure,
    "table": _table,
    "chart": _chart,
    "example": _example,
    "problem": _problem,
}
