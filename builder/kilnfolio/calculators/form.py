"""What a calculator is: fields and choices, the steps between them, and its answers' limits."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from kilnfolio.records.quantities import Quantity
from kilnfolio.records.sourced import Known
from kilnfolio.records.species import Species


@dataclass(frozen=True)
class Range:
    """Where a number may lie, in the house unit; both ends included unless said."""

    low: float
    high: float
    above: bool = False
    """The lower end itself is refused."""
    below: bool = False
    """The upper end itself is refused."""
    whole: bool = False
    """It must be a whole number."""
    open: bool = False
    """The upper end is far beyond anything met, and not worth telling."""

    def holds(self, value: float) -> bool:
        """Return whether a value lies within."""
        low = value > self.low if self.above else value >= self.low
        high = value < self.high if self.below else value <= self.high
        return low and high and not (self.whole and value % 1.0)

    def and_(self, other: Range) -> Range:
        """Return the range both allow."""
        low, high = max(self.low, other.low), min(self.high, other.high)
        above = any(r.above for r in (self, other) if r.low == low)
        below = any(r.below for r in (self, other) if r.high == high)
        return Range(low, high, above, below, self.whole or other.whole, self.open and other.open)


@dataclass(frozen=True)
class Field:
    """A number a calculator asks for."""

    name: str
    label: str
    of: type[Quantity]
    example: str
    """What it holds at first, as a person would write it."""
    units: tuple[str, ...] = ()
    """Units offered, the metric one first."""
    us: str = ""
    """The one offered to whoever works in US customary units."""
    many: bool = False
    """Several numbers, set apart by spaces."""
    optional: bool = False
    """It may be left empty."""
    when: tuple[str, str] | None = None
    """It is asked for only where this choice has this value."""
    range: Range | None = None
    """Limits of its own, beside those of the formulas it goes into."""


@dataclass(frozen=True)
class Choice:
    """A word a calculator asks for."""

    name: str
    label: str
    options: tuple[tuple[str, str], ...]
    """Value and words; the first is chosen at first."""


@dataclass(frozen=True)
class Timber:
    """A list of species that fills a field from the records."""

    fills: str
    """The field."""
    figure: Callable[[Species, str], tuple[str, Known] | None]
    """Its words, as a person would write them, by species and direction; None: not on record."""
    direction: Choice | None = None
    """The choice that picks among a species' figures."""


@dataclass(frozen=True)
class Step:
    """A formula put to work."""

    name: str
    """What later steps call its result."""
    label: str
    """What the result is called."""
    formula: str
    """A key of `formulas`."""
    arguments: Mapping[str, str | tuple[str, ...]]
    """By argument: the field or earlier step it takes; several for a list."""
    each: str = ""
    """A field of many numbers: the step is worked once for each."""
    when: tuple[str, str] | None = None
    """As for a field."""
    intermediate: bool = False
    """Shown in the working only."""


@dataclass(frozen=True)
class Trusted:
    """Where a value should lie for the answer to mean what it says."""

    name: str
    """A field or a step."""
    range: Range
    words: str
    """What to say outside it."""


@dataclass(frozen=True)
class Calculator:
    """One form."""

    slug: str
    title: str
    purpose: str
    """What it does, in a sentence or two."""
    fields: tuple[Field, ...]
    steps: tuple[Step, ...]
    holds: str
    """Where the answer holds, and where not."""
    read_on: tuple[tuple[str, str, str], ...]
    """Words, chapter and anchor of the handbook: the rule explained, the table on paper."""
    choices: tuple[Choice, ...] = ()
    timber: Timber | None = None
    trusted: tuple[Trusted, ...] = ()

    @property
    def all_choices(self) -> tuple[Choice, ...]:
        """Every choice, that of a direction included."""
        direction = self.timber.direction if self.timber else None
        return (*self.choices, *((direction,) if direction else ()))
