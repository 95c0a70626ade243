"""The working of what drying a charge cost."""

from __future__ import annotations

from collections.abc import Iterator

from kilnfolio.review.cost import LINES, Cost
from kilnfolio.site.pages.workings import Shown, shown


def cost_workings(cost: Cost) -> Iterator[Shown]:
    """Yield the working of every line of a cost, and of its sum."""
    for line in cost.lines:
        yield shown(f"cost-{line.what}", LINES[line.what], line.working)
    yield shown("cost-sum", "Cost of a cubic metre", cost.working)
