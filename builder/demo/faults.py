"""The findings that each planted fault should cause.

The slugs are those of the checks. `must` are the checks that find the fault; `entails` are others
that fail for the same cause, each with the reason. A correct review has all of these findings and
no others.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from demo.recording import written

if TYPE_CHECKING:
    from demo.simulate import MadeCharge


@dataclass(frozen=True)
class Expected:
    """The findings expected for a planted fault."""

    say: str
    must: tuple[str, ...]
    entails: Mapping[str, str] = field(default_factory=dict)


EXPECTED = {
    "dry wick": Expected(
        "The recorder's wet bulb drifts above the hand readings until the wick is changed: the log "
        "shows air more humid than it was, and its EMC in that time cannot be used. The hand "
        "readings and the loss of the boards show that the air stayed as set.",
        ("dry-wick",),
        {
            "air-as-asked": "By the recorder's wet bulb the air was more humid than asked; that is "
            "what a dry wick shows."
        },
    ),
    "stopped fan": Expected(
        "The fans stood for hours above 30 % MC and nobody wrote a stop down; the sides of the "
        "load drifted apart. Inspect for stain and checks.",
        ("fans-stopped",),
        {
            "zone-spread": "Without fans no air carries the coil's heat to the other side of the "
            "load.",
            "shock-change": "Damp air from the load fills the still kiln and the vents then clear "
            "it; as the fans start, the coil's heat comes before the moisture. The "
            "EMC falls fast both times.",
        },
    ),
    "mis-weighed board": Expected(
        "One mass was written with two digits transposed: the board seems to lose too much and "
        "then to gain. The weighings before and after agree with each other; the mass should be "
        "corrected with the old value kept.",
        ("gained-weight-while-drying",),
    ),
    "arithmetic slip": Expected(
        "The MC written for one board does not follow from its mass, and the controlling MC of "
        "that round is wrong with it, by less than a point. Masses and steps are right.",
        ("stated-mc",),
    ),
    "cold core": Expected(
        "One core probe never reached the required temperature; its highest reading is about half "
        "a kelvin short. No heat treatment can be stated for this charge, whatever the air record "
        "and the other three probes show.",
        ("heat-treatment-run",),
    ),
    "small survey": Expected(
        "Twelve readings, none outside, do not show the share the order wants shown at its "
        "confidence. The strongest honest sentence is much weaker; 45 would be needed.",
        ("sample-size-for-claim",),
        {"survey-coverage": "Twelve readings picked at random leave a pack or two without one."},
    ),
    "early step": Expected(
        "One step was made about two points before the controlling MC was due.", ("step-timing",)
    ),
    "equalizing cut short": Expected(
        "Equalizing was ended while the wettest board was still above the target.",
        ("equalizing-end",),
    ),
}


def truth_of(made: MadeCharge) -> dict[str, Any]:
    """Return what really happened in a charge, for the truth file."""
    truth: dict[str, Any] = {"load": made.truth}
    fault = made.plan.fault
    if fault is None:
        return truth | {"clean": True}
    expected = EXPECTED[fault.kind]
    return truth | {
        "clean": False,
        "fault": fault.kind,
        "planted": _planted(made),
        "say": expected.say,
        "must": list(expected.must),
        "entails": dict(expected.entails),
    }


def _planted(made: MadeCharge) -> dict[str, Any]:
    """Return the details of the fault, with minutes converted to times."""
    found: dict[str, Any] = {}
    for key, value in made.planted.items():
        if key in ("minute", "first"):
            found["at"] = written(made.moment(value))
        elif isinstance(value, float):
            found[key] = round(value, 2)
        else:
            found[key] = value
    return found
