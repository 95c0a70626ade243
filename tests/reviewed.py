"""A mill folder with its reviews, for tests that look at more than one of them."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tests.conftest import PROJECT

from kilnfolio.graph.derived import Bound
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.folder import MillFolder, open_mill
from kilnfolio.review.dossier import Dossier, LotDossier
from kilnfolio.review.open_review import OpenReview
from kilnfolio.review.reviews import dossiers, lot_dossiers, open_reviews, review_all


@dataclass(frozen=True)
class Reviewed:
    """The records of a mill, and what the review says of them."""

    folder: MillFolder
    dossiers: Mapping[str, Dossier]
    lots: Mapping[str, LotDossier]
    open_reviews: Mapping[str, OpenReview]


@functools.cache
def demo_mill() -> MillFolder:
    """Return the demonstration's records, read and checked once in a process.

    For tests that change nothing: what is computed of it is kept for all of them.
    """
    return checked_mill(PROJECT)


def reviewed_mill(root: Path, bound: Bound | None = None) -> Reviewed:
    """Read, check and review a mill folder as it is written, or as `bound` says."""
    mill = open_mill(root, bound=bound)
    review_all(mill)
    return Reviewed(mill, dossiers(mill), lot_dossiers(mill), open_reviews(mill))
