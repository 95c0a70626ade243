"""Timber in a room: the MC it settles at, and how much its width changes on the way.

The customer's page prints it for three rooms and, with script, for a room the reader describes;
`chooser` gives the script the constants, the timber and the sentences.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache, lru_cache
from typing import Any

from kilnfolio.calculators.script import from_house
from kilnfolio.physics import shrinkage as physics
from kilnfolio.physics import sorption
from kilnfolio.records.quantities import Length, Temperature
from kilnfolio.rendering.regional import PLAIN, RegionalFormat
from kilnfolio.review import figures
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.editions import EditionView
from kilnfolio.site.pages.workings import Shown, percent, shown, work_out

#: Rooms a customer may have in mind: words, temperature [°C], relative humidity [%]. Examples, not
#: advice; common practice, no source.
ROOMS = (
    ("A heated room in winter", 21.0, 30.0),
    ("A living room through most of the year", 20.0, 50.0),
    ("An unheated room, or a damp summer", 20.0, 70.0),
)
#: Board width that movement is given for.
WIDTH = Length(100.0, "100 mm")
#: Range of rooms [°C], [%]: where people keep timber and the EMC equation is valid.
TEMPERATURE_C, HUMIDITY_PCT = (0.0, 50.0), (5.0, 95.0)
#: Movement too small to see [mm].
_NOTHING_MM = 0.05
#: Sentences shared by this module and the page's script.
WORDS = {
    "settles": "In air of {air} humidity it settles at about {emc} MC.",
    "moves": "A width of {width} moves on the way: {moves}.",
    "same": "{cut} stays as it is",
    "shrinks": "{cut} shrinks by about {by}",
    "swells": "{cut} swells by about {by}",
    "refused": f"Write a temperature from {TEMPERATURE_C[0]:g} to {TEMPERATURE_C[1]:g} °C "
    f"({TEMPERATURE_C[0] * 1.8 + 32:g} to {TEMPERATURE_C[1] * 1.8 + 32:g} °F) and a humidity from "
    f"{HUMIDITY_PCT[0]:g} to {HUMIDITY_PCT[1]:g} %.",
}


@dataclass(frozen=True)
class Timber:
    """A lot's timber as it enters a room."""

    mc_pct: float
    """As delivered [%]."""
    cuts: tuple[tuple[str, float], ...]
    """Ways of sawing, each with the shrinkage across the width, green to oven-dry [%]."""


@dataclass(frozen=True)
class Indoors:
    """One room."""

    room: str
    words: str
    """How the timber behaves there, in words."""


def timber_of(mc_pct: float, species: EditionView, regional: RegionalFormat = PLAIN) -> Timber:
    """Return a lot's timber; without cuts if its shrinkage is not known."""
    known = species.shrinkage
    flat = regional.term("flat-sawn")
    ways = ((flat, known.tangential), ("quarter-sawn", known.radial)) if known else ()
    return Timber(mc_pct, tuple((cut, total.value) for cut, total in ways if total is not None))


def indoors(timber: Timber) -> tuple[Indoors, ...]:
    """Return how timber behaves in each example room."""
    return tuple(Indoors(room, room_words(timber, *air)) for room, *air in ROOMS)


def room_words(timber: Timber, temp_c: float, humidity_pct: float) -> str:
    """Return how timber behaves in a room, in words.

    Parameters
    ----------
    timber : Timber
        The lot's.
    temp_c : float
        Temperature of the room, within `TEMPERATURE_C`. [°C]
    humidity_pct : float
        Relative humidity of its air, within `HUMIDITY_PCT`. [%]
    """
    air, emc, settles = _air(temp_c, humidity_pct)
    words = WORDS["settles"].format(air=air, emc=settles)
    moves = "; ".join(_moves(timber, emc))
    if not moves:
        return words
    return f"{words} {WORDS['moves'].format(width=_width(), moves=moves)}"


@lru_cache(maxsize=64)
def _air(temp_c: float, humidity_pct: float) -> tuple[str, float, str]:
    """Return a room's air in words, its EMC [%], and the EMC in words."""
    emc = float(sorption.equilibrium_moisture_content(temp_c, humidity_pct))
    both = f"{figures.metric(temp_c, Temperature, 0)} ({figures.customary(temp_c, Temperature)})"
    return f"{both}, {figures.measure(humidity_pct, '%', 0)}", emc, figures.measure(emc, "%", 0)


def _width() -> str:
    return f"{figures.as_entered(WIDTH)} (4{figures.NBSP}in)"


def _moves(timber: Timber, emc_pct: float) -> Iterator[str]:
    for cut, total in timber.cuts:
        change = float(
            physics.dimension_change_from_shrinkage(WIDTH.value, total, timber.mc_pct, emc_pct)
        )
        if abs(change) < _NOTHING_MM:
            yield WORDS["same"].format(cut=cut)
            continue
        inches = figures.measure(figures.CUSTOMARY[Length][0].of(abs(change)), "in", 3)
        yield WORDS["swells" if change > 0 else "shrinks"].format(
            cut=cut, by=f"{figures.measure(abs(change), 'mm', 1)} ({inches})"
        )


def chooser(timber: Timber) -> Mapping[str, Any]:
    """Return the data of the page's script, as plain values."""
    return {"mc_pct": timber.mc_pct, "cuts": timber.cuts, **_everywhere()}


@cache
def _everywhere() -> Mapping[str, Any]:
    """Return what the script is told of every timber."""
    return {
        "constants": {
            "hydrate_coefficients": sorption.HYDRATE_COEFFICIENTS,
            "hydrate_scale": sorption.HYDRATE_SCALE,
            "fibre_saturation_pct": physics.FIBRE_SATURATION_PCT,
        },
        "fahrenheit": from_house(figures.CUSTOMARY[Temperature][0]),
        "inch": from_house(figures.CUSTOMARY[Length][0]),
        "rooms": {room: air for room, *air in ROOMS},
        "width": _width(),
        "width_mm": WIDTH.value,
        "nothing_mm": _NOTHING_MM,
        "temperature_c": TEMPERATURE_C,
        "humidity_pct": HUMIDITY_PCT,
        "words": WORDS,
    }


def indoor_workings(timber: Timber) -> Iterator[Shown]:
    """Yield the working of the MC that timber reaches in a room, and of its change in width."""
    room, temp_c, humidity_pct = ROOMS[0]
    yield _settling(room, temp_c, humidity_pct)
    yield shown(
        "movement",
        "How far a width moves",
        (
            work_out(
                "movement_by_shrinkage",
                f"{room}, {cut}",
                size=WIDTH,
                total=percent(total, 1),
                mc_from=percent(timber.mc_pct),
                mc_to=percent(_air(temp_c, humidity_pct)[1]),
            )
            for cut, total in timber.cuts
        ),
        "The other rooms in the same way.",
        sample=True,
    )


@lru_cache(maxsize=4)
def _settling(room: str, temp_c: float, humidity_pct: float) -> Shown:
    return shown(
        "settles",
        "The MC it settles at",
        [
            work_out(
                "equilibrium_moisture_content",
                room,
                temperature=Temperature(temp_c, f"{temp_c:g} °C"),
                relative_humidity=percent(humidity_pct, 0),
            )
        ],
        "The other rooms in the same way.",
        sample=True,
    )
