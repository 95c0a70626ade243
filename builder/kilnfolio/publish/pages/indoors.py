"""What timber does in a room: the MC it settles at, and how much its width changes on the way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from kilnfolio.physics.shrinkage import dimension_change_from_shrinkage
from kilnfolio.physics.sorption import equilibrium_moisture_content
from kilnfolio.publish.editions import Seen
from kilnfolio.review import figures

#: Rooms a customer may have in mind: words, temperature [°C], relative humidity [%]. Examples, not
#: advice; common practice, no source.
ROOMS = (
    ("A heated room in winter", 21.0, 30.0),
    ("A living room through most of the year", 20.0, 50.0),
    ("An unheated room, or a damp summer", 20.0, 70.0),
)
#: The width that movement is told for [mm].
WIDTH_MM = 100.0
#: Below this nobody can see it [mm].
_NOTHING_MM = 0.05


@dataclass(frozen=True)
class Indoors:
    """One room."""

    room: str
    air: str
    settles: str
    """The MC it comes to, with its unit."""
    movement: str
    """What its width does, in words; "" where the species' shrinkage is not known."""


def indoors(mc_pct: float, species: Seen) -> tuple[Indoors, ...]:
    """Return what timber of an MC does in each room.

    Parameters
    ----------
    mc_pct : float
        As delivered [%].
    species : Seen
        With its shrinkage from green to oven-dry.
    """
    return tuple(_room(mc_pct, species.shrinkage, *room) for room in ROOMS)


def _room(mc_pct: float, shrinkage: Seen | None, words: str, temp_c: float, humidity: float
          ) -> Indoors:
    emc = float(equilibrium_moisture_content(temp_c, humidity))
    air = f"{figures.measure(temp_c, '°C', 0)}, {figures.measure(humidity, '%', 0)} humidity"
    moves = "; ".join(_moves(mc_pct, emc, shrinkage)) if shrinkage else ""
    return Indoors(words, air, figures.measure(emc, "%", 0), moves)


def _moves(mc_pct: float, emc_pct: float, shrinkage: Seen) -> Iterator[str]:
    for cut, total in (("flat-sawn", shrinkage.tangential), ("quarter-sawn", shrinkage.radial)):
        if total is None:
            continue
        change = float(dimension_change_from_shrinkage(WIDTH_MM, total.value, mc_pct, emc_pct))
        if abs(change) < _NOTHING_MM:
            yield f"{cut} stays as it is"
        else:
            does = "swells" if change > 0 else "shrinks"
            yield f"{cut} {does} by about {figures.measure(abs(change), 'mm', 1)}"
