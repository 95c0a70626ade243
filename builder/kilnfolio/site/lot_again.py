"""Rebuild a lot's record from a bag, for the audit to compare with the sealed one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kilnfolio.archive.canonical import canonical
from kilnfolio.records.folder import MillFolder
from kilnfolio.review.dossier import Dossier
from kilnfolio.review.review import review_lot
from kilnfolio.site.lot_words import lot_record


def lot_record_again(
    folder: MillFolder, lot: str, asked: Mapping[str, Any], dossiers: Mapping[str, Dossier]
) -> bytes:
    """Return the record of a lot as canonical JSON.

    Parameters
    ----------
    folder : MillFolder
        The library, the charges and the lot as sealed.
    lot : str
        The lot.
    asked : mapping
        The part of the mill's own lot record that the sealed record keeps: `LotRecord.asked`.
    dossiers : mapping of str to Dossier
        The sealed dossiers of its charges.
    """
    record = lot_record(folder, lot, dossiers, review_lot(folder, lot, dossiers))
    return canonical(record.model_copy(update={"asked": dict(asked)}))
