"""What each planted fault should make an honest review say.

The slugs are the checks' own names. `must` are the checks that have to speak; `may` are those the
same cause can touch without being wrong to.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from demo.recording import written

if TYPE_CHECKING:
    from demo.simulate import MadeCharge


@dataclass(frozen=True)
class Expected:
    """What is expected of the review where a fault is planted."""

    say: str
    must: tuple[str, ...]
    may: tuple[str, ...] = ()


EXPECTED = {
    "dry wick": Expected(
        "The recorder's wet bulb drifts above the hand readings until the wick is changed: the log "
        "shows air more humid than it was, and its EMC in that time cannot be used. The hand "
        "readings and the loss of the boards show that the air stayed as set.",
        ("dry-wick",), ("shock-change", "air-too-dry-while-wet")),
    "stopped fan": Expected(
        "The fans stood for hours above 30 % MC and nobody wrote a stop down; the sides of the "
        "load drifted apart. Inspect for stain and checks.",
        ("fans-stopped",), ("zone-spread", "dry-bulb-overshoot", "stain-conditions", "shock-change",
                            "dry-wick")),
    "mis-weighed board": Expected(
        "One mass was written with two digits transposed: the board seems to lose too much and "
        "then to gain. The weighings before and after agree with each other; the mass should be "
        "corrected with the old value kept.",
        ("gained-weight-while-drying",), ("rewetted", "daily-loss")),
    "arithmetic slip": Expected(
        "The MC written for one board does not follow from its mass, and the controlling MC of "
        "that round is wrong with it, by less than a point. Masses and steps are right.",
        ("stated-mc",), ("controlling-mc",)),
    "cold core": Expected(
        "One core probe never reached the required temperature; its highest reading is about half "
        "a kelvin short. No heat treatment can be stated for this charge, whatever the air record "
        "and the other three probes show.",
        ("heat-treatment-run",)),
    "small survey": Expected(
        "Twelve readings, none outside, do not show the share the order wants shown at its "
        "confidence. The strongest honest sentence is much weaker; 45 would be needed.",
        ("sample-size-for-claim",)),
    "early step": Expected(
        "One step was made about two points before the controlling MC was due.",
        ("step-timing",)),
    "equalizing cut short": Expected(
        "Equalizing was ended while the wettest board was still above the target.",
        ("equalizing-end",)),
}


def truth_of(made: MadeCharge) -> dict[str, Any]:
    """Return what truly happened in a charge, for the file of truths."""
    truth: dict[str, Any] = {"load": made.truth}
    fault = made.plan.fault
    if fault is None:
        return truth | {"clean": True}
    expected = EXPECTED[fault.kind]
    return truth | {"clean": False, "fault": fault.kind, "planted": _planted(made),
                    "say": expected.say, "must": list(expected.must), "may": list(expected.may)}


def _planted(made: MadeCharge) -> dict[str, Any]:
    """Return the details of the fault, minutes turned into times."""
    found: dict[str, Any] = {}
    for key, value in made.planted.items():
        if key in ("minute", "first"):
            found["at"] = written(made.moment(value))
        elif isinstance(value, float):
            found[key] = round(value, 2)
        else:
            found[key] = value
    return found
