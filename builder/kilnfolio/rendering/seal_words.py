"""A seal's digits as words, for people who compare a label with a page by eye or aloud.

The list is the project's own: 256 short words of timber and landscape, one for each value of a
byte, in the order of ``assets/label-words.txt``. Sixteen hex digits are eight bytes and therefore
eight words. The list must never change, because labels in use were printed with it.
"""

from __future__ import annotations

from functools import lru_cache
from importlib import resources

_FILE = "label-words.txt"


@lru_cache(maxsize=1)
def word_list() -> tuple[str, ...]:
    """Return the 256 words, starting with that of byte 0."""
    text = (resources.files("kilnfolio.site") / "assets" / _FILE).read_text("utf-8")
    return tuple(text.split())


def words_of(digits: str) -> tuple[str, ...]:
    """Return hex digits as words, one for each byte.

    Parameters
    ----------
    digits : str
        An even number of hex digits.

    Raises
    ------
    ValueError
        If `digits` are not hex, or their number is odd.
    """
    return tuple(word_list()[byte] for byte in bytes.fromhex(digits))


def grouped(digits: str) -> str:
    """Return digits in groups of four, as people read them out."""
    return " ".join(digits[start : start + 4] for start in range(0, len(digits), 4))
