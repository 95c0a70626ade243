"""The parts of a calculator: fields, choices, steps, and the limits of its answers."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from kilnfolio.records.quantities import Quantity
from kilnfolio.records.sourced import Known
from kilnfolio.records.species import Species
from kilnfolio.runtime.values import dataclass


@dataclass(frozen=True)
class Range:
    """The range of a number in the house unit; both ends are included unless stated."""

    low: float
    high: float
    above: bool = False
    """Exclude the lower end."""
    below: bool = False
    """Exclude the upper end."""
    whole: bool = False
    """Require a whole number."""
    open: bool = False
    """The upper end is far beyond anything that occurs, so messages leave it out."""

    def holds(self, value: float) -> bool:
        """Return whether a value is within the range."""
        low = value > self.low if self.above else value >= self.low
        high = value < self.high if self.below else value <= self.high
        return low and high and not (self.whole and value % 1.0)

    def and_(self, other: Range) -> Range:
        """Return the intersection of two ranges."""
        low, high = max(self.low, other.low), min(self.high, other.high)
        above = any(r.above for r in (self, other) if r.low == low)
        below = any(r.below for r in (self, other) if r.high == high)
        return Range(low, high, above, below, self.whole or other.whole, self.open and other.open)


@dataclass(frozen=True)
class Field:
    """A field for a number."""

    name: str
    label: str
    of: type[Quantity]
    example: str
    """Its initial content, as a person would write it."""
    units: tuple[str, ...] = ()
    """Units offered, metric first."""
    us: str = ""
    """The unit offered in regions with US customary units."""
    many: bool = False
    """Takes several numbers, separated by spaces."""
    optional: bool = False
    """May be left empty."""
    when: tuple[str, str] | None = None
    """Shown only if this choice has this value."""
    range: Range | None = None
    """Limits of its own, besides those of the formulas that use it."""


@dataclass(frozen=True)
class Choice:
    """A field with a list of options."""

    name: str
    label: str
    options: tuple[tuple[str, str], ...]
    """Value and words of each option; the first is the default."""


@dataclass(frozen=True)
class Timber:
    """A list of species that fills a field from their records."""

    fills: str
    """Name of the field it fills."""
    figure: Callable[[Species, str], tuple[str, Known] | None]
    """Returns the value as a person would write it, by species and direction; None if unknown."""
    direction: Choice | None = None
    """The choice that selects among a species' figures."""


@dataclass(frozen=True)
class Step:
    """A formula applied to fields and earlier results."""

    name: str
    """Name of its result, for later steps."""
    label: str
    """Label of the result."""
    formula: str
    """A key of `formulas`."""
    arguments: Mapping[str, str | tuple[str, ...]]
    """For each argument, the field or earlier step that supplies it; several for a list."""
    each: str = ""
    """A field of several numbers; the step is evaluated once for each."""
    when: tuple[str, str] | None = None
    """As for `Field`."""
    intermediate: bool = False
    """Shown only in the working."""


@dataclass(frozen=True)
class Trusted:
    """The range of a value in which the answer is trustworthy."""

    name: str
    """Name of a field or step."""
    range: Range
    words: str
    """The warning shown outside the range."""


@dataclass(frozen=True)
class Calculator:
    """A calculator: a form with its steps."""

    slug: str
    title: str
    purpose: str
    """Its purpose, in a sentence or two."""
    fields: tuple[Field, ...]
    steps: tuple[Step, ...]
    holds: str
    """When the answer is valid, and when not."""
    read_on: tuple[tuple[str, str, str], ...]
    """Links to the handbook for more: words, chapter and anchor."""
    choices: tuple[Choice, ...] = ()
    timber: Timber | None = None
    trusted: tuple[Trusted, ...] = ()

    @property
    def all_choices(self) -> tuple[Choice, ...]:
        """All choices, including that of a direction."""
        direction = self.timber.direction if self.timber else None
        return (*self.choices, *((direction,) if direction else ()))
