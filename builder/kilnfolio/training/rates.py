"""Problems about drying rates, equalizing and conditioning."""

from __future__ import annotations

from kilnfolio.training.expressions import Term, computed, either, result_of, rounded, words
from kilnfolio.training.problem import Draw, Written, kind

RATES = "Drying rates"
EQUALIZING = "Equalizing and conditioning"


def _hours(draw: Draw) -> Term:
    return words(draw.pick((11.5, 12.0, 17.0, 18.0, 23.0, 24.0, 25.0, 36.0)), "h", 1)


@kind("daily-loss", RATES, "Points a day")
def _daily_loss(draw: Draw) -> Written:
    start = draw.number(30.0, 62.0, 0.1)
    return Written(
        "A board falls from {rate.mc_from} to {rate.mc_to} in {rate.time}. How many points a day "
        "is that?",
        "Bring the loss to 24 hours by the true time between the weighings.",
        [
            {
                "let": "rate",
                "compute": "drying_rate",
                "mc_from": words(start, "%"),
                "mc_to": words(start - draw.number(1.0, 4.2, 0.1), "%"),
                "time": _hours(draw),
            }
        ],
        "It loses {rate}.",
    )


@kind("rate-from-masses", RATES, "Points a day from two masses")
def _rate_from_masses(draw: Draw) -> Written:
    dry = draw.number(1650.0, 3200.0, 1.0)
    start = draw.number(30.0, 58.0, 0.1)
    dried = words(dry, "g", 0)
    masses = [
        words(rounded(computed("mass_at", oven_dry_mass=dry, mc=mc), 1.0), "g", 0)
        for mc in (start, start - draw.number(1.2, 3.6, 0.1))
    ]
    return Written(
        "A board of oven-dry mass {before.oven_dry_mass} weighed {before.mass}; {rate.time} later "
        "it weighs {after.mass}. How many points a day did it lose?",
        "Two MCs, then their difference brought to 24 hours.",
        [
            {
                "let": "before",
                "compute": "moisture_content",
                "mass": masses[0],
                "oven_dry_mass": dried,
            },
            {
                "let": "after",
                "compute": "moisture_content",
                "mass": masses[1],
                "oven_dry_mass": dried,
            },
            {
                "let": "rate",
                "compute": "drying_rate",
                "mc_from": "before",
                "mc_to": "after",
                "time": _hours(draw),
            },
        ],
        "From {before} to {after}: {rate}.",
    )


@kind("rate-for-thick-stock", RATES, "The safe rate of thicker stock")
def _thick_rate(draw: Draw) -> Written:
    return Written(
        "Your species sheet allows {rate.rate} for 4/4. By this mill's rule for thick stock, what "
        "do you allow for {rate.thickness}?",
        "Twice the thickness takes the rate divided by the mill's figure; between, by the power.",
        [
            {
                "let": "rate",
                "compute": "thickness_scaled_rate",
                "rate": words(draw.number(2.4, 12.0, 0.1), "points/day"),
                "thickness": draw.pick(("5/4", "6/4", "8/4", "10/4", "12/4")),
            }
        ],
        "{rate}. The divisor is a limit of this mill, and like every limit may be changed there.",
    )


@kind("within-the-safe-rate", RATES, "Within the safe rate?")
def _within(draw: Draw) -> Written:
    allowed = draw.number(2.0, 6.0, 0.1)
    start = draw.number(32.0, 58.0, 0.1)
    hours = draw.pick((12.0, 18.0, 24.0))
    lost = rounded(allowed * draw.pick((0.75, 0.8, 0.85, 1.15, 1.2, 1.3)) * hours / 24.0, 0.1)
    return Written(
        "The safe daily loss on the species sheet is {allowed}. The fastest board fell "
        "from {rate.mc_from} to {rate.mc_to} in {rate.time}. Is it within?",
        "The limit is for 24 hours; the weighings were not 24 hours apart.",
        [
            {
                "let": "rate",
                "compute": "drying_rate",
                "mc_from": words(start, "%"),
                "mc_to": words(rounded(start - lost, 0.1), "%"),
                "time": words(hours, "h", 0),
            }
        ],
        "It loses {rate}: {verdict}",
        {
            "allowed": words(allowed, "points"),
            "verdict": either(
                allowed >= result_of("rate"),
                "within the limit.",
                "over the limit. Make the air damper, look for surface checks, and write both down.",
            ),
        },
    )


@kind("part-day-running", RATES, "A kiln that rests at night")
def _part_day(draw: Draw) -> Written:
    start = draw.number(30.0, 52.0, 0.1)
    ends = {
        "mc_from": words(start, "%"),
        "mc_to": words(start - draw.number(1.6, 3.8, 0.1), "%"),
    }
    running = words(draw.pick((10.0, 12.0, 14.0, 16.0)), "h", 0)
    return Written(
        "A board falls from {day.mc_from} to {day.mc_to} between two weighings {day.time} apart. "
        "The fans ran only {ran.time} of them. How fast did it dry by the calendar, and how fast "
        "while the kiln ran?",
        "The timber feels the rate while the fans run, whatever the calendar says.",
        [
            {"let": "day", "compute": "drying_rate", **ends, "time": "24 h"},
            {"let": "ran", "compute": "drying_rate", **ends, "time": running},
        ],
        "By the calendar {day}; while it ran, as if {ran}. Compare the second with the safe rate.",
    )


# --- equalizing and conditioning ------------------------------------------------------------------


def _target(draw: Draw) -> Term:
    return words(draw.number(6.0, 14.0, 0.5), "%")


@kind("equalizing-settings", EQUALIZING, "When equalizing begins")
def _equalizing(draw: Draw) -> Written:
    target = _target(draw)
    return Written(
        "The order is for {start.target}. By this mill's limits, at what MC of the driest board "
        "does equalizing begin, to what EMC is the air set, and when does it end?",
        "The driest board gives the start, the wettest the end; the clock gives neither.",
        [
            {"let": "start", "compute": "equalizing_start", "target": target},
            {"let": "emc", "compute": "equalizing_emc", "target": target},
        ],
        "Begin when the driest board is at {start}, at an EMC of {emc}; go on until the wettest is "
        "at {start.target}.",
    )


@kind("equalizing-air", EQUALIZING, "The air for equalizing")
def _equalizing_air(draw: Draw) -> Written:
    dry = words(draw.number(60.0, 77.0, 1.0), "°C", 0)
    return Written(
        "For an order of {emc.target} you equalize at a dry bulb of {rh.temperature}, "
        "{wet.altitude} above sea level. Which wet bulb do you set?",
        "Equalizing EMC first; then EMC to RH and RH to wet bulb.",
        [
            {"let": "emc", "compute": "equalizing_emc", "target": _target(draw)},
            {
                "let": "rh",
                "compute": "relative_humidity_for_emc",
                "temperature": dry,
                "emc": "emc",
            },
            {
                "let": "wet",
                "compute": "wet_bulb",
                "dry_bulb": dry,
                "relative_humidity": "rh",
                "altitude": "310 m",
            },
        ],
        "An EMC of {emc} is an RH of {rh}: set the wet bulb to {wet}.",
    )


@kind("conditioning-air", EQUALIZING, "The air for conditioning")
def _conditioning_air(draw: Draw) -> Written:
    dry = words(draw.number(60.0, 77.0, 1.0), "°C", 0)
    timber = draw.pick(("hardwood", "softwood"))
    return Written(
        "A {emc.kind} charge equalized to {emc.target} is to be conditioned at a dry bulb of "
        "{rh.temperature}, {wet.altitude} above sea level. Which EMC, and which wet bulb?",
        "Conditioning air stands above the target; by how much is one of the mill's limits.",
        [
            {
                "let": "emc",
                "compute": "conditioning_emc",
                "target": _target(draw),
                "kind": timber,
            },
            {
                "let": "rh",
                "compute": "relative_humidity_for_emc",
                "temperature": dry,
                "emc": "emc",
            },
            {
                "let": "wet",
                "compute": "wet_bulb",
                "dry_bulb": dry,
                "relative_humidity": "rh",
                "altitude": "310 m",
            },
        ],
        "An EMC of {emc}, which is an RH of {rh}: set the wet bulb to {wet}. The stress test says "
        "when it is done.",
    )


@kind("equalizing-masses", EQUALIZING, "Equalizing read off the scale")
def _equalizing_masses(draw: Draw) -> Written:
    target = _target(draw)
    dry, wet = (words(draw.number(1650.0, 3200.0, 1.0), "g", 0) for _ in range(2))
    return Written(
        "The target is {start.target}. The driest board has an oven-dry mass of "
        "{begin.oven_dry_mass}, the wettest {end.oven_dry_mass}. At what mass of the first does "
        "equalizing begin, and at what mass of the second does it end?",
        "First the two MCs the rule gives, then the two masses.",
        [
            {"let": "start", "compute": "equalizing_start", "target": target},
            {"let": "begin", "compute": "mass_at", "oven_dry_mass": dry, "mc": "start"},
            {"let": "end", "compute": "mass_at", "oven_dry_mass": wet, "mc": target},
        ],
        "It begins with the driest board at {start}, which is {begin}, and ends when the wettest "
        "has come down to {end}.",
    )
