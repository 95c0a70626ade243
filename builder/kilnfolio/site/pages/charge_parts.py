"""What the mill's and the auditor's page of a charge print alike, as HTML."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from jinja2 import Environment
from markupsafe import Markup

from kilnfolio.rendering import routes
from kilnfolio.rendering.compiled import releasing_contexts
from kilnfolio.site.context import SiteContext

if TYPE_CHECKING:
    from kilnfolio.site.pages.charges import ChargeView


@dataclass(frozen=True)
class ChargeParts:
    """Parts of a charge's page in one language, whichever edition it is for."""

    checks: Markup
    """What the checks say."""
    behind_chart: Markup
    """The tables behind the chart."""
    course: Markup
    """From the air to water and heat."""
    workings: Markup


def charge_parts(context: SiteContext, env: Environment, view: ChargeView) -> ChargeParts:
    """Return the parts of a charge's page."""
    with releasing_contexts():
        made: Any = env.get_template("charge_parts.html").make_module(
            {
                "view": view,
                "here": routes.charge(view.record.id),
                "publications": context.folder.sources.record.publications,
            }
        )
        return ChargeParts(
            made.checks(),
            made.behind_chart(),
            made.course(),
            made.workings(),
        )
