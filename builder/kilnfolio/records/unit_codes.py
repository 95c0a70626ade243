"""The codes by which other programs know our units: UN/CEFACT Recommendation 20, from memory."""

from __future__ import annotations

from functools import cache

#: Common code of each unit.
UNIT_CODES = {
    "%": "P1",
    "°C": "CEL",
    "g": "GRM",
    "kg": "KGM",
    "mm": "MMT",
    "m³": "MTQ",
    "min": "MIN",
    "h": "HUR",
    "d": "DAY",
    "kWh": "KWH",
    "piece": "H87",
    "1": "C62",
}

#: Units of figures, by how the name of a figure ends.
_ENDINGS = {"_pct": "%", "_c": "°C", "_mm": "mm", "_m3": "m³", "_minutes": "min"}


@cache
def unit_of(figure: str) -> str:
    """Return the unit of a figure whose name ends with it, as ``volume_m3``; "1" for a count.

    Parameters
    ----------
    figure : str
        The figure's name.
    """
    if figure == "pieces":
        return "piece"
    return next((unit for ending, unit in _ENDINGS.items() if figure.endswith(ending)), "1")


def unit_code(figure: str) -> str:
    """Return the code of the unit of a figure; see `unit_of`.

    Parameters
    ----------
    figure : str
        The figure's name.
    """
    return UNIT_CODES[unit_of(figure)]
