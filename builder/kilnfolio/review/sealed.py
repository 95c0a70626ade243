"""What the archive supplies to the review of a sealed charge or lot."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kilnfolio.graph.derived import inline

if TYPE_CHECKING:
    from kilnfolio.graph.graph import Graph
    from kilnfolio.records.folder import MillFolder
    from kilnfolio.review.dossier import Dossier


@inline("dossier as sealed")
def dossier_as_sealed(graph: Graph, number: str) -> Dossier | None:  # noqa: ARG001
    """Return the review of a charge as sealed; None if it is not sealed. The archive binds this."""
    return None


@inline("library of sealed lot")
def library_of_sealed_lot(graph: Graph, number: str) -> MillFolder | None:  # noqa: ARG001
    """Return the mill with the limits and species of a lot's seal. The archive binds this."""
    return None
