"""Calculators of surveys and meter readings."""

from __future__ import annotations

from kilnfolio.calculators.fields import MC, percent, temperature
from kilnfolio.calculators.form import Calculator, Field, Range, Step, Trusted
from kilnfolio.physics import meters
from kilnfolio.review.working import Bare

_BY_CHANCE = (
    "It holds for pieces chosen at random from the whole lot, their number fixed "
    "beforehand; readings picked by hand support no share at all."
)
_READ_ON = (
    ("Table of readings for a share", "final-survey-and-stress", "statistics"),
    ("Choosing boards at random", "final-survey-and-stress", "sampling"),
)
_CONFIDENCE = percent("confidence", "Confidence", "95 %")
_RELIABLE = Range(*meters.RESISTANCE_RANGE_PCT)


def surveys() -> tuple[Calculator, ...]:
    """Return the calculators of readings at the end of a charge."""
    return (
        _readings_needed(),
        _share_shown(),
        _meter_temperature(),
    )


def _readings_needed() -> Calculator:
    return Calculator(
        "readings-needed",
        "Readings needed to show a share",
        "How many readings, all within the limits, it takes to say that a share of the lot is.",
        (percent("share", "Share of the lot to be within", "90 %"), _CONFIDENCE),
        (
            Step(
                "readings",
                "Readings needed, none outside",
                "readings_needed",
                {"share": "share", "confidence": "confidence"},
            ),
        ),
        _BY_CHANCE,
        _READ_ON,
    )


def _share_shown() -> Calculator:
    return Calculator(
        "share-shown",
        "Share shown by a survey",
        "What share of the lot a finished survey supports, with so many of its readings outside.",
        (
            Field("readings", "Readings taken", Bare, "60"),
            Field("failures", "Of these outside the limits", Bare, "2"),
            _CONFIDENCE,
        ),
        (
            Step(
                "share",
                "Share of the lot within, at least",
                "share_shown",
                {"readings": "readings", "failures": "failures", "confidence": "confidence"},
            ),
        ),
        _BY_CHANCE,
        _READ_ON,
    )


def _meter_temperature() -> Calculator:
    return Calculator(
        "meter-temperature",
        "Meter reading corrected for temperature",
        "A resistance reading brought to the temperature its meter was calibrated at.",
        (
            percent("reading", "Reading", "11.5 %"),
            temperature("wood_temperature", "Wood at the pins", "38 °C"),
            temperature("calibration_temperature", "Calibration temperature", "20 °C"),
        ),
        (
            Step(
                "corrected",
                "Corrected reading",
                "meter_temperature_correction",
                {name: name for name in ("reading", "wood_temperature", "calibration_temperature")},
            ),
        ),
        f"A resistance meter is usable from {_RELIABLE.low:g} to {_RELIABLE.high:g} % MC. Correct "
        "once only: not where the meter has done it. Correct for the species afterwards. Frozen "
        "wood follows no rule.",
        (("Table of corrections", "final-survey-and-stress", "meter"),),
        trusted=(
            Trusted(
                "reading", _RELIABLE, "It lies outside what a resistance meter reads reliably."
            ),
            Trusted("corrected", MC, "The correction does not reach so far: let the wood cool."),
            Trusted(
                "wood_temperature",
                Range(0.0, meters.WOOD_TEMP_RANGE_C[1]),
                "Frozen wood follows no such rule.",
            ),
        ),
    )
