"""Every kind of practice problem, by topic, in the order of the handbook."""

from __future__ import annotations

from collections.abc import Mapping

from kilnfolio.training.air import AIR
from kilnfolio.training.ending import HEAT, SURVEY
from kilnfolio.training.moisture import BOARDS, CONTROL, MC
from kilnfolio.training.problem import KINDS, Kind
from kilnfolio.training.rates import EQUALIZING, RATES
from kilnfolio.training.timber import SHRINKAGE, WATER

#: Topics in order, each with its chapter of the handbook.
TOPICS: Mapping[str, str] = {
    MC: "calculations",
    BOARDS: "sampling",
    AIR: "wood-and-water",
    CONTROL: "calculations",
    RATES: "running-a-charge",
    EQUALIZING: "equalizing-and-conditioning",
    SURVEY: "final-survey-and-stress",
    SHRINKAGE: "wood-and-water",
    WATER: "calculations",
    HEAT: "heat-treatment",
}


def by_topic() -> dict[str, list[Kind]]:
    """Return the kinds of problem of every topic."""
    return {topic: [kind for kind in KINDS.values() if kind.topic == topic] for topic in TOPICS}
