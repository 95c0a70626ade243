"""Reviews as derived values: of charges, of lots, and of charges that are not complete."""

from __future__ import annotations

from kilnfolio.graph.derived import NoValueError, Step, derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records import checking, reading
from kilnfolio.records.folder import Derivations, MillFolder, mill_of
from kilnfolio.records.model import Located
from kilnfolio.review.dossier import Dossier, LotDossier
from kilnfolio.review.open_review import OpenReview, review_open
from kilnfolio.review.own_code import own_code
from kilnfolio.review.review import review_charge, review_lot
from kilnfolio.review.sealed import dossier_as_sealed, library_of_sealed_lot


@derived("dossier", keys=lambda graph: graph.names("charge"), code="review", batch=8)
def charge_dossier(graph: Graph, number: str) -> Dossier:
    """Return the review of a complete charge."""
    checking.charge_check(graph, number)
    if not isinstance(reading.charge(graph, number), Located):
        raise NoValueError(number)
    return dossier_as_sealed(graph, number) or review_charge(
        mill_of(graph), number, own_code(graph)
    )


@derived("open review", keys=reading.open_charges, code="review")
def open_review(graph: Graph, number: str) -> OpenReview:
    """Return the review of a charge that is not complete."""
    checking.charge_check(graph, number)
    return review_open(mill_of(graph), number)


@derived("lot dossier", keys=lambda graph: graph.names("lot"), code="review", batch=300)
def lot_dossier(graph: Graph, number: str) -> LotDossier:
    """Return the review of a complete lot against its order."""
    checking.lot_check(graph, number)
    if not isinstance(reading.lot(graph, number), Located):
        raise NoValueError(number)
    mill = mill_of(graph)
    return review_lot(library_of_sealed_lot(graph, number) or mill, number, dossiers(mill))


def dossiers(mill: MillFolder) -> Derivations[Dossier]:
    """Return the reviews of the complete charges, each computed on demand."""
    return Derivations(mill.graph, charge_dossier, lambda: tuple(mill.charges))


def open_reviews(mill: MillFolder) -> Derivations[OpenReview]:
    """Return the reviews of the charges that are not complete."""
    return Derivations(mill.graph, open_review, lambda: tuple(mill.open_charges))


def lot_dossiers(mill: MillFolder) -> Derivations[LotDossier]:
    """Return the reviews of the complete lots."""
    return Derivations(mill.graph, lot_dossier, lambda: tuple(mill.lots))


#: Steps that read, check and review records: what a build does before it makes pages, and all that
#: `check` does.
REVIEWS: tuple[Step, ...] = (
    *checking.LIBRARY_STEPS,
    (*checking.CHARGE_STEP, charge_dossier),
    checking.LOT_STEP,
    (*checking.LOT_CHECK_STEP, lot_dossier),
    checking.ORDER_CHECK_STEP,
    (open_review,),
)


def review_all(mill: MillFolder) -> None:
    """Read, check and review everything.

    Raises
    ------
    RecordProblems
        Every problem in every file, logger files included.
    """
    checking.refuse_problems(mill, REVIEWS)
