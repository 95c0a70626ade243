"""The review of a practice charge on its page: which checks the script runs, and what it needs for them.

``assets/charge-review.js`` follows the checks function by function. Its limits are the mill's own, as they apply
to the load; a check that what a trainee does cannot change is left to the review of the saved record.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kilnfolio.physics.moisture import maximum_moisture_content
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.species import Species
from kilnfolio.rendering import routes
from kilnfolio.review.checks.rate import class_loss, safe_loss
from kilnfolio.review.findings import CHECKS
from kilnfolio.review.limits import LimitTable, Subject, limit_table

#: The checks that the script runs, in the order of the review.
REVIEWED = (
    "wet-bulb-above-dry-bulb",
    "wetter-than-wood-can-be",
    "drier-than-the-air-allows",
    "gained-weight-while-drying",
    "hand-weights-rounded",
    "dry-wick",
    "clock-against-hand",
    "weighing-interval",
    "step-timing",
    "step-late",
    "step-skipped",
    "dry-bulb-overshoot",
    "air-too-dry-while-wet",
    "air-as-asked",
    "too-hot-while-wet",
    "daily-loss",
    "rewetted",
    "shock-change",
    "stain-conditions",
    "outlier-board",
    "driest-board",
    "signed",
)
#: Those that go by the sheet, the kiln's record, the form of the log, or a survey that the bench does not have: only
#: the review of the saved record runs them. All others do not apply to a charge of the bench.
LEFT_TO_CHECK = (
    "board-sides",
    "boards-against-survey",
    "calibration-due",
    "clock-repeats",
    "cooled-before-survey",
    "dates-in-order",
    "drying-stress",
    "fan-reversal",
    "fans-stopped",
    "gap-in-log",
    "loss-per-running-hour",
    "mass-below-oven-dry",
    "meter-against-oven",
    "meter-corrections",
    "oven-constancy",
    "sample-count",
    "schedule-approved",
    "schedule-ceiling",
    "schedule-emc-against-mc",
    "schedule-order",
    "schedule-within-kiln",
    "section-pair",
    "shell-and-core",
    "stuck-sensor",
    "survey-coverage",
    "survey-shape",
    "target-reached",
    "thick-stock-limit",
    "thickness-rule",
    "unit-slip",
    "vent-against-spray",
    "who-wrote-it",
)


def review_data(folder: MillFolder, given: Mapping[str, Any]) -> dict[str, Any]:
    """Return a load with the limits and facts of its species that the script needs.

    Parameters
    ----------
    folder : MillFolder
        The mill.
    given : mapping
        The load, from `scenario.read_scenarios`.
    """
    species = folder.species[given["species"]].record
    thickness, target = float(given["thickness_mm"]), float(given["target"])
    subject = Subject((species.id,), species.kind, thickness, target)
    limits = limit_table(folder, subject)
    ceiling = species.ceiling_at(thickness)
    gravity = species.basic_specific_gravity
    return {
        **given,
        "limits": {
            key: limits.value(key) for slug in REVIEWED for key in sorted(CHECKS[slug].limits)
        },
        "refractory": species.refractory,
        "wettest": None if gravity is None else float(maximum_moisture_content(gravity)),
        "ceiling_above": ceiling[1] if ceiling else limits.value("ceiling-while-wet-above"),
        "safe": _safe_loss(species, thickness, limits),
    }


def _safe_loss(species: Species, thickness: float, limits: LimitTable) -> dict[str, Any] | None:
    """Return the safe daily loss, the timber in words, and whether the species sheet gives it."""
    words = f"{thickness:g} mm"
    listed = safe_loss(species, thickness, limits.value("thick-stock-divisor"))
    if listed is not None:
        return {"rate": listed[1], "words": words, "own": True}
    rate = class_loss(species, thickness, limits)
    return (
        None if rate is None else {"rate": rate, "words": f"{words} of its density", "own": False}
    )


def titles(slugs: tuple[str, ...]) -> list[tuple[str, str, str]]:
    """Return checks with their titles and the addresses of their pages."""
    return [(slug, CHECKS[slug].title, routes.check(slug)) for slug in slugs]
