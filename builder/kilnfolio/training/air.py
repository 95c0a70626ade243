"""Problems about the air in a kiln and in a shed: RH and EMC."""

from __future__ import annotations

from kilnfolio.training.expressions import Term, either, rounded, words
from kilnfolio.training.problem import Draw, Written, kind

AIR = "EMC and the kiln air"


def _bulbs(draw: Draw) -> tuple[Term, Term]:
    """Return a dry and a wet bulb as set in a kiln [°C]."""
    dry = draw.number(40.0, 72.0, 0.5)
    depression = draw.number(2.0, either(dry < 50.0, 5.0, 18.0), 0.5)
    return dry, dry - depression


def _altitude(draw: Draw) -> Term:
    return words(draw.pick((50.0, 150.0, 310.0, 450.0, 600.0, 900.0)), "m", 0)


@kind("humidity-from-bulbs", AIR, "RH from the two bulbs")
def _humidity(draw: Draw) -> Written:
    dry, wet = _bulbs(draw)
    return Written(
        "A kiln {rh.altitude} above sea level stands at {rh.dry_bulb} dry bulb and {rh.wet_bulb} "
        "wet bulb. What is the RH?",
        "The wet bulb's saturation pressure, less the depression's share, over the dry bulb's.",
        [
            {
                "let": "rh",
                "compute": "relative_humidity",
                "dry_bulb": words(dry, "°C"),
                "wet_bulb": words(wet, "°C"),
                "altitude": _altitude(draw),
            }
        ],
        "The RH is {rh}.",
    )


@kind("emc-from-bulbs", AIR, "EMC from the two bulbs")
def _emc_of_bulbs(draw: Draw) -> Written:
    dry, wet = _bulbs(draw)
    return Written(
        "The log of a kiln {emc.altitude} above sea level shows {emc.dry_bulb} dry bulb and "
        "{emc.wet_bulb} wet bulb. Toward which MC does this air draw the timber?",
        "First RH from the bulbs; then EMC from RH and dry bulb. The handbook's table comes close.",
        [
            {
                "let": "emc",
                "compute": "emc_from_bulbs",
                "dry_bulb": words(dry, "°C"),
                "wet_bulb": words(wet, "°C"),
                "altitude": _altitude(draw),
            }
        ],
        "The EMC is {emc}.",
    )


@kind("emc-in-a-shed", AIR, "EMC in a shed")
def _emc_in_shed(draw: Draw) -> Written:
    return Written(
        "A dry store has been at {emc.temperature} and {emc.relative_humidity} RH for months. At "
        "what MC does timber come to rest there?",
        "EMC from temperature and RH: the handbook's table, or the equation.",
        [
            {
                "let": "emc",
                "compute": "equilibrium_moisture_content",
                "temperature": words(draw.number(5.0, 26.0, 1.0), "°C", 0),
                "relative_humidity": words(draw.number(32.0, 84.0, 1.0), "%", 0),
            }
        ],
        "It comes to rest at {emc}. Timber kiln-dried below that will take moisture up there.",
    )


@kind("emc-by-altitude", AIR, "The same bulbs on a mountain")
def _emc_by_altitude(draw: Draw) -> Written:
    dry = draw.number(48.0, 72.0, 1.0)
    bulbs = {
        "dry_bulb": words(dry, "°C"),
        "wet_bulb": words(dry - draw.number(12.0, 20.0, 1.0), "°C"),
    }
    return Written(
        "A schedule sets {high.dry_bulb} and {high.wet_bulb}. How far apart is the EMC of these "
        "bulbs at sea level and {high.altitude} above it?",
        "Thin air brings the wick less heat, so less evaporates at the same depression: damper air.",
        [
            {"let": "low", "compute": "emc_from_bulbs", **bulbs, "altitude": "0 m"},
            {
                "let": "high",
                "compute": "emc_from_bulbs",
                **bulbs,
                "altitude": words(draw.pick((1500.0, 1800.0, 2100.0, 2400.0)), "m", 0),
            },
            {"let": "apart", "compute": "difference", "a": "high", "b": "low"},
        ],
        "{low} below, {high} above: {apart}. Little, but print the pressure beside the EMC.",
    )


@kind("wet-bulb-to-set", AIR, "Which wet bulb to set")
def _wet_bulb_to_set(draw: Draw) -> Written:
    return Written(
        "You want {wet.relative_humidity} RH at a dry bulb of {wet.dry_bulb}, {wet.altitude} above "
        "sea level. Which wet bulb do you set?",
        "Try a wet bulb, work out its RH, and close in; or read the table backwards.",
        [
            {
                "let": "wet",
                "compute": "wet_bulb",
                "dry_bulb": words(draw.number(42.0, 72.0, 1.0), "°C", 0),
                "relative_humidity": words(draw.number(32.0, 88.0, 1.0), "%", 0),
                "altitude": _altitude(draw),
            }
        ],
        "Set the wet bulb to {wet}.",
    )


@kind("set-points-for-emc", AIR, "Set-points for a wanted EMC")
def _set_points(draw: Draw) -> Written:
    dry = words(draw.number(44.0, 78.0, 1.0), "°C", 0)
    return Written(
        "The step asks for an EMC of {rh.emc} at a dry bulb of {rh.temperature}, {wet.altitude} "
        "above sea level. Which RH is that, and which wet bulb?",
        "Go backwards through the same two steps: EMC to RH, RH to wet bulb.",
        [
            {
                "let": "rh",
                "compute": "relative_humidity_for_emc",
                "temperature": dry,
                "emc": words(draw.number(3.5, 15.0, 0.5), "%"),
            },
            {
                "let": "wet",
                "compute": "wet_bulb",
                "dry_bulb": dry,
                "relative_humidity": "rh",
                "altitude": _altitude(draw),
            },
        ],
        "An RH of {rh}: set the wet bulb to {wet}.",
    )


@kind("dew-point", AIR, "Where water will settle")
def _dew_point(draw: Draw) -> Written:
    return Written(
        "Kiln air at {dew.dry_bulb} and {dew.relative_humidity} RH leaks past a door seal. Below "
        "which surface temperature does it leave water on the steel?",
        "At the dew point the vapour in the air is all that air can hold.",
        [
            {
                "let": "dew",
                "compute": "dew_point",
                "dry_bulb": words(draw.number(40.0, 66.0, 1.0), "°C", 0),
                "relative_humidity": words(draw.number(38.0, 88.0, 1.0), "%", 0),
            }
        ],
        "Below {dew}.",
    )


@kind("warm-wick", AIR, "A wick that reads warm")
def _warm_wick(draw: Draw) -> Written:
    dry = draw.number(42.0, 52.0, 0.1)
    wet = rounded(dry - draw.number(2.0, 4.5, 0.1), 0.1)
    high = draw.pick((0.4, 0.5, 0.6, 0.8))
    step = {"compute": "emc_from_bulbs", "dry_bulb": words(dry, "°C"), "altitude": "310 m"}
    return Written(
        "{true.altitude} above sea level the dry bulb is at {true.dry_bulb}. A fresh wick reads "
        "{true.wet_bulb}; yours, two weeks old, reads {shown.wet_bulb}. Which EMC does the sheet "
        "show, which is true, and which way will the kiln err?",
        "Work the EMC of both. The kiln acts on what it is shown.",
        [
            {"let": "shown", **step, "wet_bulb": words(rounded(wet + high, 0.1), "°C")},
            {"let": "true", **step, "wet_bulb": words(wet, "°C")},
            {"let": "off", "compute": "difference", "a": "shown", "b": "true"},
        ],
        "Shown {shown}, true {true}: {off} out. The kiln believes itself damp, opens the vents, "
        "and dries harder than anyone set.",
    )
