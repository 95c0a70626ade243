"""What each check said of all charges and lots, by year: one charge then moves one year only."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from kilnfolio.rendering import routes
from kilnfolio.review.dossier import Word
from kilnfolio.site.pages.summaries import ChargeLine, CheckLine, LotLine


@dataclass(frozen=True)
class NamedFinding:
    """What a check said of one charge or lot."""

    name: str
    target: str
    outcome: Word
    message: str


@dataclass(frozen=True)
class Tally:
    """What a check came to."""

    counts: Mapping[Word, int]
    named: tuple[NamedFinding, ...]
    """What it said that a reader must know of, charges before lots, the newest first."""
    more: int
    """... and of how many it is not named."""


@dataclass(frozen=True)
class YearTally:
    """What every check said of the charges and lots of one year."""

    counts: Mapping[str, Mapping[Word, int]]
    charges: Mapping[str, tuple[NamedFinding, ...]]
    lots: Mapping[str, tuple[NamedFinding, ...]]


def tally_year(charges: Iterable[ChargeLine], lots: Iterable[LotLine]) -> YearTally:
    """Return what every check said, in the order given."""
    counts: dict[str, Counter[Word]] = {}
    of_charges: dict[str, list[NamedFinding]] = {}
    of_lots: dict[str, list[NamedFinding]] = {}

    def add(
        lines: Sequence[CheckLine], name: str, target: str, to: dict[str, list[NamedFinding]]
    ) -> None:
        for line in lines:
            counts.setdefault(line.check, Counter())[line.outcome] += 1
            if line.message:
                to.setdefault(line.check, []).append(
                    NamedFinding(name, target, line.outcome, line.message)
                )

    for charge in charges:
        add(charge.checks, f"charge {charge.row.number}", charge.row.target, of_charges)
    for lot in lots:
        add(lot.checks, f"lot {lot.number}", routes.lot(lot.number), of_lots)
    return YearTally(
        {slug: dict(found) for slug, found in counts.items()},
        {slug: tuple(found) for slug, found in of_charges.items()},
        {slug: tuple(found) for slug, found in of_lots.items()},
    )


def joined(slug: str, years: Sequence[YearTally], most: int) -> Tally:
    """Return what one check said over years, the newest year first.

    Parameters
    ----------
    slug : str
        The check.
    years : sequence of YearTally
        The newest first.
    most : int
        How many charges or lots are named.
    """
    counts: Counter[Word] = Counter()
    for year in years:
        counts.update(year.counts.get(slug, {}))
    named = [
        *_of(slug, (year.charges for year in years)),
        *_of(slug, (year.lots for year in years)),
    ]
    return Tally(dict(counts), tuple(named[:most]), max(0, len(named) - most))


def _of(
    slug: str, years: Iterable[Mapping[str, tuple[NamedFinding, ...]]]
) -> Iterator[NamedFinding]:
    for year in years:
        yield from year.get(slug, ())
