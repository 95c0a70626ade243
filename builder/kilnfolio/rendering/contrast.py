"""Contrast of two colours, and the nearest shade with enough contrast.

Relative luminance and contrast ratio are as defined in WCAG 2.2, which requires 4.5 for text
(1.4.3, level AA).
"""

from __future__ import annotations

from collections.abc import Iterable

#: Least contrast of text with its background.
TEXT = 4.5


def luminance(colour: str) -> float:
    """Return the relative luminance of a colour such as ``#7a4719``, from 0 to 1."""
    parts = (int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours, from 1 to 21."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def nearest(colour: str, grounds: Iterable[str], least: float = TEXT) -> str | None:
    """Return the nearest shade of a colour with enough contrast on every background.

    Parameters
    ----------
    colour : str
        As in ``#7a4719``.
    grounds : iterable of str
        The background colours.
    least : float
        Least contrast ratio.

    Returns
    -------
    str or None
        The nearest such shade, darker or lighter; None if even black and white have too little.
    """
    grounds = tuple(grounds)
    for share in range(101):
        for end in (0, 255):
            shade = _mixed(colour, end, share / 100)
            if all(contrast(shade, ground) >= least for ground in grounds):
                return shade
    return None


def _mixed(colour: str, end: int, share: float) -> str:
    parts = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return "#" + "".join(f"{round(part + (end - part) * share):02x}" for part in parts)
