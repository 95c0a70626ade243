"""Figures of the mill's own on the page of a charge: its code draws them, and they are checked."""

from __future__ import annotations

from markupsafe import Markup

from kilnfolio.handbook.svg import embedded
from kilnfolio.records.charge import Charge
from kilnfolio.records.problems import RecordProblems
from kilnfolio.review.own_code import own_code
from kilnfolio.site.context import SiteContext


def own_figures(context: SiteContext, record: Charge) -> list[tuple[str, Markup]]:
    """Return the title and the drawing of each of the mill's own figures of a charge.

    Raises
    ------
    RecordProblems
        A drawing holds what a page may not, such as a script.
    """
    found = []
    for slug, part in own_code(context.folder.graph).figures.items():
        text = part.run(record, context.dossiers[record.id])
        if text:
            svg, problems = embedded(text, f"figure '{slug}' of charge {record.id}", f"{slug}-")
            if problems:
                raise RecordProblems(problems)
            # the elements and attributes were compared with a list
            found.append((part.title, Markup(svg)))
    return found
