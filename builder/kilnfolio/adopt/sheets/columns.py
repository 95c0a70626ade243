"""Proposes roles for columns of a mill's sheet whose headings do not tell, by their content.

Nothing here decides. A role is proposed by unit, by range and by physics (a section weighs less
oven-dry than green; a board's mass lies between its oven-dry and green mass), and only if exactly
one column fits. A person confirms it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from itertools import permutations
from operator import is_

from kilnfolio.adopt.cells import Cell
from kilnfolio.runtime.values import dataclass

#: MC of green and air-dried timber, which a section's two masses must give [%].
_SECTION_MC = (3.0, 250.0)
#: MC found by a survey at the end of drying [%].
_SURVEY_MC = (3.0, 40.0)
#: The fraction of a column's cells that must fit.
_MOST = 0.8
_DATE = re.compile(
    r"\d{4}-\d{2}-\d{2}(?:[T ].*)?|\d{1,2}[./-]\d{1,2}[./-](?:\d{2}|\d{4})(?:[, ].*)?"
)
_CLOCK = re.compile(r"\d{1,2}:\d{2}(?::\d{2})?(?:\s*[AaPp]\.?[Mm]\.?)?")
#: A number, possibly with a unit.
_NUMBER = re.compile(r"(\d+(?:[.,]\d+)?)\s*(kg|g|lb|oz|%)?")
_GRAMS = {"kg": 1000.0, "g": 1.0, "lb": 453.59237, "oz": 28.349523125}
#: A unit in a heading.
_HEAD_UNIT = re.compile(r"(?<![a-z])(kg|g|lb|oz|%)s?(?![a-z])", re.IGNORECASE)


@dataclass(frozen=True)
class Proposal:
    """What a column could be, and why."""

    column: int
    role: str
    why: str


@dataclass(frozen=True)
class _Column:
    """A column's cells below its heading, including empty ones."""

    index: int
    heading: str
    texts: tuple[str, ...]

    @property
    def filled(self) -> list[str]:
        return [text for text in self.texts if text]

    def mostly(self, fits: Callable[[str], object]) -> bool:
        """Return whether most of the filled cells fit."""
        return bool(self.filled) and sum(map(bool, map(fits, self.filled))) >= _MOST * len(
            self.filled
        )

    def numbers(self, unit: str | None) -> list[float | None]:
        """Return a number for each cell: a mass in g or an MC in %; None for others."""
        head = _HEAD_UNIT.search(self.heading)
        told = head[1].lower() if head else unit
        values: list[float | None] = []
        for text in self.texts:
            found = _NUMBER.fullmatch(text)
            scale = _GRAMS.get((found[2] if found and found[2] else told) or "", 1.0)
            values.append(float(found[1].replace(",", ".")) * scale if found else None)
        return values

    def has_unit(self, *units: str) -> bool:
        """Return whether its heading or cells name one of these units."""
        head = _HEAD_UNIT.search(self.heading)
        return bool(head and head[1].lower() in units) or self.mostly(
            lambda text: (found := _NUMBER.fullmatch(text)) and found[2] in units
        )


def propose(
    heading: Sequence[Cell],
    rows: Sequence[Sequence[Cell]],
    taken: Mapping[str, int],
    wanted: Sequence[str],
    boards: Mapping[str, tuple[float, float]],
    unit: str | None,
) -> list[Proposal]:
    """Return proposals for columns whose headings are not known.

    Parameters
    ----------
    heading : sequence of Cell
        The row of headings.
    rows : sequence
        The rows below it.
    taken : mapping of str to int
        Known columns, by role.
    wanted : sequence of str
        Roles that may be proposed.
    boards : mapping of str to tuple of float
        Oven-dry and green mass of each of the charge's boards, by tag. [g]
    unit : str, optional
        Unit of masses written without one.

    Returns
    -------
    list of Proposal
        At most one for each role and each column.
    """
    columns = [
        _Column(
            index, cell.text, tuple(row[index].text if index < len(row) else "" for row in rows)
        )
        for index, cell in enumerate(heading)
    ]
    known = dict(taken)
    found: list[Proposal] = []

    def free() -> list[_Column]:
        return [one for one in columns if one.index not in known.values() and one.filled]

    def only(role: str, fits: Callable[[_Column], object], why: str) -> None:
        """Propose the only column that fits a wanted role."""
        fitting = [one for one in free() if fits(one)]
        if role in wanted and role not in known and len(fitting) == 1:
            known[role] = fitting[0].index
            found.append(Proposal(fitting[0].index, role, why))

    def tags() -> tuple[str, ...]:
        return columns[known["board"]].texts if "board" in known else ()

    only("at", lambda one: one.mostly(_DATE.fullmatch), "its cells are dates")
    only("time", lambda one: one.mostly(_CLOCK.fullmatch), "its cells are times")
    only(
        "board",
        lambda one: one.mostly(boards.__contains__),
        "its cells are tags of the charge's boards",
    )
    only("section", lambda one: _sections_of(one, tags()), "its cells begin with the board's tag")
    if {"green", "oven_dry"} <= set(wanted) and not {"green", "oven_dry"} & known.keys():
        for role, column, why in _section_masses(free(), unit):
            only(role, partial(is_, column), why)
    only(
        "mass",
        lambda one: _fits_boards(one, tags(), boards, unit),
        "its numbers lie between the boards' oven-dry and green masses",
    )
    only("mc", lambda one: one.has_unit("%"), "its unit is %")
    only(
        "mc",
        _is_survey,
        f"its numbers lie from {_SURVEY_MC[0]:g} to {_SURVEY_MC[1]:g}, as an MC does",
    )
    return found


def _sections_of(column: _Column, tags: Sequence[str]) -> bool:
    """Return whether each cell of a column names a section, as S1a of board S1."""
    filled = column.filled
    return (
        bool(tags)
        and len(set(filled)) == len(filled) > 1
        and all(
            text.startswith(tag) and text != tag
            for text, tag in zip(column.texts, tags, strict=True)
            if text
        )
    )


def _is_survey(column: _Column) -> bool:
    values = [value for value in column.numbers(None) if value is not None]
    return len(values) == len(column.filled) and all(
        _SURVEY_MC[0] <= value <= _SURVEY_MC[1] for value in values
    )


def _section_masses(free: Sequence[_Column], unit: str | None) -> list[tuple[str, _Column, str]]:
    """Return the columns of a section's two masses and its board's, if only one choice fits."""
    masses = {one.index: one.numbers(unit) for one in free if not one.has_unit("%")}
    weighed = [one for one in free if any(value is not None for value in masses.get(one.index, []))]
    low, high = (1 + mc / 100 for mc in _SECTION_MC)

    def dries(wet: _Column, dry: _Column) -> bool:
        both = list(zip(masses[wet.index], masses[dry.index], strict=True))
        return all(
            (a is None and b is None) or bool(a and b and low <= a / b <= high) for a, b in both
        )

    pairs = [(wet, dry) for wet, dry in permutations(weighed, 2) if dries(wet, dry)]
    if len(pairs) != 1:
        return []
    wet, dry = pairs[0]
    whole = [
        one
        for one in weighed
        if one not in (wet, dry)
        and all(
            mass is None or section is None or mass > section
            for mass, section in zip(masses[one.index], masses[wet.index], strict=True)
        )
    ]
    return [
        (
            "green",
            wet,
            f"each mass is above that of '{dry.heading}', as a section's before the oven",
        ),
        (
            "oven_dry",
            dry,
            f"each mass is below that of '{wet.heading}', as a section's after the oven",
        ),
        *(
            ("board_mass", one, "its masses are above the sections'")
            for one in whole[:1]
            if len(whole) == 1
        ),
    ]


def _fits_boards(
    column: _Column,
    tags: Sequence[str],
    boards: Mapping[str, tuple[float, float]],
    unit: str | None,
) -> bool:
    known = [
        (value, boards[tag])
        for value, tag in zip(column.numbers(unit), tags, strict=False)
        if value is not None and tag in boards
    ]
    return bool(known) and all(dry <= value <= 1.02 * green for value, (dry, green) in known)
