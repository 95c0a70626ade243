"""How the pages of one mill say things: which units come first, and which of the trade's words.

A mill's practice is resolved once, into a value that templates and view models are handed. Records,
reviews and seals know nothing of it: their words are the same whatever the practice, and their
figures are the same on every page. Only what stands first, and what a heading calls it, differs.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import TypeVar

from kilnfolio.records.mill import Mill
from kilnfolio.records.practice import PracticeName, practices
from kilnfolio.records.quantities import Quantity, fahrenheit_from_celsius
from kilnfolio.review import figures

T = TypeVar("T")

_SLOT = re.compile(r"\{([\w -]+)\}")


@dataclass(frozen=True)
class RegionalFormat:
    """How a mill's pages say things."""

    customary_first: bool = False
    """Whether US customary units come before metric ones."""
    words: Mapping[str, str] = field(default_factory=dict)
    """The practice's word for one of ours, where it has another."""

    def ordered(self, metric: T, customary: T) -> tuple[T, T]:
        """Return two things in the order of the practice: figures, units, heads of columns.

        Where there is no customary one, the metric one comes first under any.
        """
        return (customary, metric) if self.customary_first and customary else (metric, customary)

    def both(self, quantity: Quantity) -> tuple[str, str]:
        """Return a quantity in both unit systems; the second is "" where they have one unit."""
        return self.ordered(*figures.both(quantity))

    def side_by_side(self, quantity: Quantity) -> str:
        """Return a quantity in both unit systems as plain text."""
        return figures.beside(*self.both(quantity))

    def temperature(self, celsius: float | None, decimals: int = 1) -> str:
        """Return a temperature held in °C in both unit systems."""
        if celsius is None:
            return figures.NOTHING
        return figures.beside(*self.ordered(
            figures.measure(celsius, "°C", decimals),
            figures.measure(fahrenheit_from_celsius(celsius), "°F", 0)))

    def retold(self, words: str) -> str:
        """Return a record's own words with every pair of amounts in the order of the practice.

        Records and workings put metric first, always; a page may turn the pair, and nothing else.
        """
        if not self.customary_first:
            return words
        return figures.PAIR.sub(lambda pair: figures.beside(pair[2], pair[1]), words)

    def term(self, word: str) -> str:
        """Return the practice's word for one of ours, with its capital and its plural."""
        ours = word[0].lower() + word[1:]
        theirs = self.words.get(ours)
        if theirs is None and ours.endswith("s") and ours[:-1] in self.words:
            theirs = self.words[ours[:-1]] + "s"
        if theirs is None:
            return word
        return theirs[0].upper() + theirs[1:] if word[0].isupper() else theirs

    def defect(self, slug: str) -> str:
        """Return a defect's name: each of its words as the practice has it."""
        return " ".join(self.term(word) for word in slug.split("-"))

    def say(self, phrase: str) -> str:
        """Return a fixed phrase with its marked words said in the practice's own.

        As in ``Volume of {timber}``; what is not marked stays as it is.
        """
        return _SLOT.sub(lambda slot: self.term(slot[1]), phrase)


#: Metric first and our own words: for what belongs to no mill.
PLAIN = RegionalFormat()


def regional_format(mill: Mill) -> RegionalFormat:
    """Return how a mill's pages say things."""
    return _of_practice(mill.practice)


@cache
def _of_practice(name: PracticeName) -> RegionalFormat:
    practice = practices()[name]
    return RegionalFormat(practice.customary_first,
                  {ours: custom.is_ for ours, custom in practice.words.items()
                   if custom.is_ != ours})
