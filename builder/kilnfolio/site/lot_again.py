"""A lot's record made again from what travels in a bag: the audit compares it with the sealed one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from kilnfolio.archive.canonical import canonical
from kilnfolio.records.folder import MillFolder
from kilnfolio.records.lot import Lot
from kilnfolio.records.model import validate
from kilnfolio.records.yaml_source import Document
from kilnfolio.review.dossier import Dossier
from kilnfolio.review.review import review_lot
from kilnfolio.site.lot_record import lot_record
from kilnfolio.site.pages.customer import customer_lot


def lot_record_again(folder: MillFolder, asked: Mapping[str, Any], charges: Sequence[str],
                     dossiers: Mapping[str, Dossier]) -> bytes:
    """Return the record of a lot as canonical JSON.

    Parameters
    ----------
    folder : MillFolder
        The library and the charges as sealed; its lots are left aside.
    asked : mapping
        What the sealed record says it was made from: `LotRecord.asked`.
    charges : sequence of str
        Its charges, in the order of its entry.
    dossiers : mapping of str to Dossier
        Their sealed dossiers.

    Raises
    ------
    RecordProblems
        `asked` is no record of a lot.
    """
    entered = {"format": 1, **asked}
    entered["packs"] = [{**{key: value for key, value in pack.items() if key != "from"},
                         "charge": charges[pack["from"]]} for pack in asked["packs"]]
    located = validate(Document(f"content/lots/{asked['id']}.yaml", entered, {}, {}), Lot,
                       zone=ZoneInfo(folder.mill.record.time_zone))
    name = located.record.id
    lots = MillFolder(folder.root, folder.mill, folder.sources, folder.limits, folder.species,
                      folder.schedules, folder.notations, folder.kilns, folder.loggers,
                      folder.charges, {name: located})
    review = review_lot(lots, name, dossiers)
    view = customer_lot(lots, name, dossiers, review, "")
    return canonical(lot_record(view).model_copy(update={"asked": dict(asked)}))
