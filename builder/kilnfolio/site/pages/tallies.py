"""Each check's outcomes over all charges and lots, by year, so that a charge affects only one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence

from kilnfolio.rendering import routes
from kilnfolio.review.dossier import Word
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.pages.summaries import ChargeLine, CheckLine, LotLine


@dataclass(frozen=True)
class NamedFinding:
    """A check's finding on a charge or lot."""

    name: str
    target: str
    outcome: Word
    message: str


@dataclass(frozen=True)
class Tally:
    """A check's outcomes."""

    counts: Mapping[Word, int]
    named: tuple[NamedFinding, ...]
    """Findings that a reader must know of, charges before lots, newest first."""
    more: int
    """Number of further such findings, not listed in `named`."""


@dataclass(frozen=True)
class YearTally:
    """Every check's outcomes over the charges and lots of a year."""

    counts: Mapping[str, Mapping[Word, int]]
    charges: Mapping[str, tuple[NamedFinding, ...]]
    lots: Mapping[str, tuple[NamedFinding, ...]]


def tally_year(charges: Iterable[ChargeLine], lots: Iterable[LotLine]) -> YearTally:
    """Return every check's outcomes over charges and lots, in the order given."""
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


def tally_over_years(slug: str, years: Sequence[YearTally], most: int) -> Tally:
    """Return one check's outcomes over several years.

    Parameters
    ----------
    slug : str
        The check.
    years : sequence of YearTally
        Newest first.
    most : int
        Most charges and lots to name.
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
