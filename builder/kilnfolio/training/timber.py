"""Problems about shrinkage, movement, and the water in a load."""

from __future__ import annotations

from kilnfolio.training.expressions import words
from kilnfolio.training.problem import Draw, Written, kind

SHRINKAGE = "Shrinkage and movement"
WATER = "Water in a load"


@kind("shrinkage-so-far", SHRINKAGE, "Shrinkage at an MC")
def _shrinkage(draw: Draw) -> Written:
    total = words(draw.number(4.0, 11.5, 0.1), "%")
    return Written(
        "A timber shrinks {shrunk.total} tangentially from green to oven-dry. By how many per cent of its "
        "green width has it shrunk at {shrunk.mc}, if its fibre saturation point is {shrunk.fsp}?",
        "Nothing shrinks above the fibre saturation point; below it, shrinkage runs evenly.",
        [
            {
                "let": "shrunk",
                "compute": "shrinkage_at",
                "total": total,
                "mc": words(draw.number(6.0, 22.0, 1.0), "%", 0),
                "fsp": words(draw.pick((28.0, 30.0)), "%", 0),
            }
        ],
        "It has shrunk by {shrunk}.",
    )


@kind("green-size", SHRINKAGE, "What to saw")
def _green_size(draw: Draw) -> Written:
    return Written(
        "Boards must still be {green.dry_size} thick at {shrunk.mc}. The timber shrinks "
        "{shrunk.total} across that face in all. What is the least green thickness, before any "
        "allowance for sawing and planing?",
        "Shrinkage is counted from the green size, so divide.",
        [
            {
                "let": "shrunk",
                "compute": "shrinkage_at",
                "total": words(draw.number(3.5, 10.0, 0.1), "%"),
                "mc": words(draw.number(6.0, 14.0, 1.0), "%", 0),
            },
            {
                "let": "green",
                "compute": "green_size",
                "dry_size": words(draw.pick((22.0, 25.4, 27.0, 32.0, 38.0, 52.0)), "mm"),
                "shrinkage": "shrunk",
            },
        ],
        "It shrinks by {shrunk} on the way, so it must leave the saw at {green} at least.",
    )


@kind("dry-width", SHRINKAGE, "A board's width after drying")
def _dry_width(draw: Draw) -> Written:
    return Written(
        "A flat-sawn board is {dry.size} wide when green. It is dried to {shrunk.mc}; the timber "
        "shrinks {shrunk.total} tangentially in all. How wide is it then?",
        "First the share of the shrinkage that has happened, then the width less that share.",
        [
            {
                "let": "shrunk",
                "compute": "shrinkage_at",
                "total": words(draw.number(5.5, 11.5, 0.1), "%"),
                "mc": words(draw.number(6.0, 14.0, 1.0), "%", 0),
            },
            {
                "let": "dry",
                "compute": "shrunk_size",
                "size": words(draw.number(120.0, 280.0, 5.0), "mm", 0),
                "shrinkage": "shrunk",
            },
        ],
        "It has shrunk by {shrunk} and is {dry} wide.",
    )


@kind("movement-in-use", SHRINKAGE, "Movement in use")
def _movement(draw: Draw) -> Written:
    start = draw.number(6.0, 9.0, 0.5)
    return Written(
        "A panel {change.size} wide is fitted at {change.mc_from}; its timber moves by "
        "{change.coefficient} of its width per point of MC. In a damp summer it comes to "
        "{change.mc_to}. How much wider is it?",
        "Width times coefficient times the change in MC.",
        [
            {
                "let": "change",
                "compute": "dimension_change",
                "size": words(draw.number(120.0, 600.0, 10.0), "mm", 0),
                "coefficient": words(draw.number(0.0015, 0.0037, 0.0001), "", 4),
                "mc_from": words(start, "%"),
                "mc_to": words(start + draw.number(2.0, 5.0, 0.5), "%"),
            }
        ],
        "It grows by {change}. Leave that much room.",
    )


@kind("from-winter-to-summer", SHRINKAGE, "A floor from winter to summer")
def _floor(draw: Draw) -> Written:
    return Written(
        "A house is at {winter.temperature} and {winter.relative_humidity} RH in winter, at "
        "{summer.temperature} and {summer.relative_humidity} RH in summer. How much does a floor "
        "board {change.size} wide, coefficient {change.coefficient}, move between them if it "
        "follows the air?",
        "EMC of both climates first; the board goes from one to the other.",
        [
            {
                "let": "winter",
                "compute": "equilibrium_moisture_content",
                "temperature": words(draw.number(19.0, 22.0, 1.0), "°C", 0),
                "relative_humidity": words(draw.number(22.0, 36.0, 1.0), "%", 0),
            },
            {
                "let": "summer",
                "compute": "equilibrium_moisture_content",
                "temperature": words(draw.number(22.0, 26.0, 1.0), "°C", 0),
                "relative_humidity": words(draw.number(50.0, 66.0, 1.0), "%", 0),
            },
            {
                "let": "change",
                "compute": "dimension_change",
                "size": words(draw.number(57.0, 180.0, 1.0), "mm", 0),
                "coefficient": words(draw.number(0.0018, 0.0037, 0.0001), "", 4),
                "mc_from": "winter",
                "mc_to": "summer",
            },
        ],
        "From {winter} to {summer}: {change} on each board. A board lags the air, so this is the "
        "most it would do.",
    )


# --- the load -------------------------------------------------------------------------------------


@kind("volume-of-a-pack", WATER, "Volume of a pack")
def _volume(draw: Draw) -> Written:
    return Written(
        "A pack holds {volume.pieces} pieces, {volume.thickness} by {volume.width} by "
        "{volume.length}. What is its volume?",
        "Bring every length to one unit before multiplying.",
        [
            {
                "let": "volume",
                "compute": "volume",
                "pieces": words(draw.number(90.0, 260.0, 2.0), "", 0),
                "thickness": words(draw.pick((27.0, 32.0, 38.0, 52.0)), "mm", 0),
                "width": words(draw.number(110.0, 210.0, 5.0), "mm", 0),
                "length": words(draw.number(2.4, 4.8, 0.1), "m"),
            }
        ],
        "The pack holds {volume}.",
    )


@kind("water-out-of-a-load", WATER, "Water out of a load")
def _water(draw: Draw) -> Written:
    return Written(
        "A load of {water.volume}, basic density {water.basic_density}, goes from {water.mc_from} "
        "to {water.mc_to}. How much water must leave it?",
        "Basic density times volume is the oven-dry mass; the points of MC are shares of it.",
        [
            {
                "let": "water",
                "compute": "water_removed",
                "volume": words(draw.number(18.0, 62.0, 0.5), "m³"),
                "basic_density": words(draw.number(330.0, 640.0, 10.0), "kg/m³", 0),
                "mc_from": words(draw.number(48.0, 92.0, 1.0), "%", 0),
                "mc_to": words(draw.number(7.0, 14.0, 1.0), "%", 0),
            }
        ],
        "{water} must leave it.",
    )


@kind("least-heat-for-a-load", WATER, "The least heat for a load")
def _heat(draw: Draw) -> Written:
    return Written(
        "A load of {heat.volume}, basic density {heat.basic_density}, is loaded at "
        "{heat.start_temperature} and dried at {heat.temperature} from {heat.mc_from} to "
        "{heat.mc_to}. What is the least heat that can do it?",
        "Warm the wood and its water, evaporate what leaves, and add what frees bound water.",
        [
            {
                "let": "heat",
                "compute": "least_heat",
                "volume": words(draw.number(18.0, 62.0, 0.5), "m³"),
                "basic_density": words(draw.number(330.0, 640.0, 10.0), "kg/m³", 0),
                "mc_from": words(draw.number(48.0, 92.0, 1.0), "%", 0),
                "mc_to": words(draw.number(7.0, 14.0, 1.0), "%", 0),
                "start_temperature": words(draw.number(2.0, 22.0, 1.0), "°C", 0),
                "temperature": words(draw.number(52.0, 72.0, 1.0), "°C", 0),
            }
        ],
        "{heat} at the least. A kiln uses more: vents, walls and doors take their share.",
    )
