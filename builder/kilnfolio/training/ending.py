"""Problems about the final survey and about heat treatment."""

from __future__ import annotations

from kilnfolio.training.expressions import (
    Part,
    Term,
    each,
    either,
    first,
    least,
    replaced,
    result_of,
    rounded,
    words,
)
from kilnfolio.training.problem import Draw, Written, kind

SURVEY = "The final survey"
HEAT = "Heat treatment"
#: Core temperature and minutes of ISPM 15, annex 1; for practice only, never a permission. With its
#: tenth, so that it is 132.8 °F beside readings in tenths of °F, and not 133.
_THRESHOLD, _MINUTES = "56.0 °C", 30.0


@kind("mean-and-spread", SURVEY, "Mean and standard deviation")
def _mean_and_spread(draw: Draw) -> Written:
    middle = draw.number(7.0, 13.5, 0.1)
    readings = each(draw.readings(8, middle, 0.8, 0.1), lambda mc: words(mc, "%"))
    return Written(
        "Eight corrected readings: {mean.of}. What are their mean and standard deviation?",
        "Squares of the distances from the mean, their sum over one less than the count, its root.",
        [
            {"let": "mean", "compute": "mean", "of": readings},
            {"let": "sd", "compute": "standard_deviation", "of": readings},
        ],
        "The mean is {mean}, the standard deviation {sd}.",
    )


@kind("mean-of-the-lot", SURVEY, "Between which limits the lot's mean lies")
def _mean_of_lot(draw: Draw) -> Written:
    return Written(
        "{interval.readings} random readings have a mean of {interval.mean} and a standard "
        "deviation of {interval.sd}. Between which limits does the mean of the whole lot lie, at "
        "{interval.confidence} confidence?",
        "Student's t for one less than the count, times the standard deviation, over the root of "
        "the count.",
        [
            {
                "let": "interval",
                "compute": "confidence_interval",
                "mean": words(draw.number(6.8, 14.0, 0.1), "%"),
                "sd": words(draw.number(0.4, 1.6, 0.02), "%", 2),
                "readings": words(draw.pick((12, 20, 25, 30, 40, 50, 60)), "", 0),
                "confidence": "95 %",
            }
        ],
        "From {interval}. That is the mean; single boards lie much farther apart.",
    )


@kind("share-these-show", SURVEY, "What so many readings can show")
def _share_shown(draw: Draw) -> Written:
    return Written(
        "Of {share.readings} boards picked at random, {share.failures} lie outside the ordered "
        "band. What share of the lot may you say lies inside, at {share.confidence} confidence?",
        "Ask which lot would show so few failures only once in twenty surveys.",
        [
            {
                "let": "share",
                "compute": "share_shown",
                "readings": words(draw.number(12.0, 80.0, 1.0), "", 0),
                "failures": words(draw.pick((0, 0, 1, 2)), "", 0),
                "confidence": "95 %",
            }
        ],
        "At least {share} of the lot. More may well lie inside; these readings cannot show it.",
    )


@kind("readings-to-take", SURVEY, "How many readings to take")
def _readings_to_take(draw: Draw) -> Written:
    return Written(
        "An order asks that {count.share} of the boards be shown to lie within, at "
        "{count.confidence} confidence. If none fails, how few readings can show it?",
        "Each reading multiplies the chance that a lot just too poor slips through.",
        [
            {
                "let": "count",
                "compute": "readings_needed",
                "share": words(draw.number(80.0, 98.0, 0.5), "%"),
                "confidence": words(draw.pick((90.0, 95.0)), "%", 0),
            }
        ],
        "{count} readings, picked at random, none outside.",
    )


@kind("mean-to-dry-to", SURVEY, "The mean to dry to")
def _mean_to_dry_to(draw: Draw) -> Written:
    return Written(
        "{mean.share} of the boards must lie at or below {mean.limit}. Your lots of this stock "
        "scatter with a standard deviation of {mean.sd}. To which mean do you dry, if the boards "
        "follow the normal curve?",
        "Go down from the limit by z standard deviations, z for the share.",
        [
            {
                "let": "mean",
                "compute": "mean_for_share_below",
                "limit": words(draw.pick((12.0, 15.0, 18.0, 19.0, 20.0)), "%", 0),
                "sd": words(draw.number(0.8, 3.2, 0.1), "%"),
                "share": words(draw.pick((90.0, 93.5, 95.0, 97.5)), "%"),
            }
        ],
        "To a mean of {mean} at most. A smaller spread would let you stop sooner.",
    )


@kind("limits-for-the-lot", SURVEY, "Limits that hold most of the lot")
def _tolerance(draw: Draw) -> Written:
    return Written(
        "{limits.readings} random readings: mean {limits.mean}, standard deviation {limits.sd}. "
        "Between which limits do at least {limits.share} of the boards lie, at "
        "{limits.confidence} confidence?",
        "Mean plus and minus k standard deviations, k from the table for the count.",
        [
            {
                "let": "limits",
                "compute": "tolerance_limits",
                "mean": words(draw.number(7.0, 13.0, 0.1), "%"),
                "sd": words(draw.number(0.4, 1.2, 0.02), "%", 2),
                "readings": words(draw.pick((15, 20, 30, 40, 60)), "", 0),
                "share": words(draw.pick((90.0, 95.0)), "%", 0),
                "confidence": "95 %",
            }
        ],
        "From {limits}.",
    )


@kind("warm-wood-on-the-meter", SURVEY, "A resistance meter on warm wood")
def _meter(draw: Draw) -> Written:
    return Written(
        "Boards still at {true.wood_temperature} read {true.reading} on a resistance meter whose "
        "scale holds at {true.calibration_temperature}. What is the reading worth, before any "
        "species correction?",
        "Half a point for each 5.6 K; warm wood reads wet.",
        [
            {
                "let": "true",
                "compute": "meter_temperature_correction",
                "reading": words(draw.number(7.0, 17.0, 0.1), "%"),
                "wood_temperature": words(draw.number(28.0, 52.0, 1.0), "°C", 0),
                "calibration_temperature": "20 °C",
            }
        ],
        "It is worth {true}. Correct once: look whether the meter has already done it.",
    )


# --- heat treatment -------------------------------------------------------------------------------


def _minutes(step: str) -> Term:
    """Return a run in whole minutes, because hours as floats can be slightly too short."""
    return rounded(result_of(step) * 60.0, 0.001)


def _cores(draw: Draw, count: Part, most: int) -> Term:
    """Return core temperatures that rise past the threshold, in most cases with a dip."""
    rise = [rounded(55.0 + 0.25 * i + draw.number(-0.3, 0.3, 0.1), 0.1) for i in range(most)]
    temps = [least(temp, 57.2 + draw.number(-0.4, 0.4, 0.1)) for temp in rise]
    dips = draw.pick((True, True, False))
    place = either(dips, count - draw.pick((4, 3, 2)), -1)
    shown = replaced(first(temps, count), place, draw.number(55.4, 55.9, 0.1))
    return each(shown, lambda temp: words(temp, "°C"))


@kind("longest-run", HEAT, "The longest unbroken run")
def _longest_run(draw: Draw) -> Written:
    return Written(
        "A core probe, read every {run.interval}: {run.temperatures}. The rule claimed asks for "
        f"{_MINUTES:.0f} unbroken minutes at {{run.threshold}} or more. How long is the longest "
        "run, and does it do?",
        "From the first to the last reading of the run; a single reading below breaks it.",
        [
            {
                "let": "run",
                "compute": "longest_run_above",
                "interval": "5 min",
                "temperatures": _cores(draw, draw.pick((11, 12, 13)), 13),
                "threshold": _THRESHOLD,
            }
        ],
        "The longest run is {run}: {verdict}",
        {
            "verdict": either(
                _minutes("run") >= _MINUTES,
                "long enough by these readings. Whether the load may be marked is for those the "
                "plant-health authority has authorized.",
                "too short. No heat treatment can be stated.",
            )
        },
    )


@kind("coldest-probe", HEAT, "Two probes")
def _two_probes(draw: Draw) -> Written:
    rest = {"compute": "longest_run_above", "interval": "10 min", "threshold": _THRESHOLD}
    return Written(
        "Two core probes, read every {east.interval}. East: {east.temperatures}. West: "
        f"{{west.temperatures}}. {_MINUTES:.0f} unbroken minutes at {{east.threshold}} are "
        "claimed. What does the load's record show?",
        "Each probe must keep the rule by itself; the slower one decides.",
        [
            {"let": "east", **rest, "temperatures": _cores(draw, 9, 9)},
            {"let": "west", **rest, "temperatures": _cores(draw, 9, 9)},
        ],
        "East {east}, west {west}: {verdict}",
        {
            "verdict": either(
                least(_minutes("east"), _minutes("west")) >= _MINUTES,
                "both are long enough by these readings.",
                "at least one is too short, so the load is not treated.",
            )
        },
    )


@kind("probe-margin", HEAT, "A margin for the probe's own error")
def _probe_margin(draw: Draw) -> Written:
    lowest = draw.number(56.0, 57.6, 0.1)
    error = draw.pick((0.3, 0.5, 0.8, 1.0))
    return Written(
        "Through its run a core probe never fell below {margin.a}, where {margin.b} is required. "
        "The probe is good to ±{error}. Is the margin larger than what the probe may be out?",
        "Subtract, and set the difference beside the probe's uncertainty.",
        [
            {
                "let": "margin",
                "compute": "difference",
                "a": words(lowest, "°C"),
                "b": _THRESHOLD,
            }
        ],
        "The margin is {margin}: {verdict}",
        {
            "error": words(error, "K"),
            "verdict": either(
                rounded(result_of("margin"), 0.1) >= error,
                "it covers the ±{error}.",
                "less than the ±{error}, so this record does not show that the core kept the rule. "
                "Say so to whoever reviews it.",
            ),
        },
    )


@kind("air-is-not-the-core", HEAT, "How far the core lags the air")
def _air_not_core(draw: Draw) -> Written:
    air = draw.number(62.0, 74.0, 0.5)
    core = rounded(air - draw.number(4.0, 16.0, 0.1), 0.1)
    return Written(
        "Two hours after warm-up the air is at {lag.a} and the core of the thickest piece at "
        "{lag.b}. How far does the core lag, and what does the air record alone prove?",
        "The rule is about the core. The air only says what the surface was offered.",
        [
            {
                "let": "lag",
                "compute": "difference",
                "a": words(air, "°C"),
                "b": words(core, "°C"),
            }
        ],
        "The core lags by {lag}. The air record alone proves nothing about the core.",
    )
