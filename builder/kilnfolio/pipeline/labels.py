"""Labels for the packs of sealed lots."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from kilnfolio.archive.sealed_mill import SEALED, is_sealed
from kilnfolio.archive.standing import broken_words, lot_standing
from kilnfolio.archive.tokens import NO_KEY
from kilnfolio.paper.label_sheets import labels_of, write_sheets
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.folder import MillFolder
from kilnfolio.rendering.languages import language
from kilnfolio.rendering.regional import regional_format
from kilnfolio.runtime.errors import SealBrokenError
from kilnfolio.site.sealed import address_keys, lot_view


def print_labels(
    root: Path, lots: Sequence[str], sheet: str, skip: int, out: Path
) -> tuple[int, list[str]]:
    """Print a label for each pack of some sealed lots, or of all.

    Parameters
    ----------
    root : Path
        The mill folder.
    lots : sequence of str
        The lots; all sealed lots if empty.
    sheet : str
        Name of the sheet, from `paper.label_sheets.SHEETS`.
    skip : int
        Number of labels already used on the first sheet.
    out : Path
        The PDF to write.

    Returns
    -------
    tuple of int and list of str
        Number of labels printed, and warnings.

    Raises
    ------
    RecordProblems
        Records have problems.
    SealBrokenError
        A lot is missing, not sealed or changed since; or the key of addresses is missing.
    """
    mill = checked_mill(root, SEALED)
    graph = mill.graph
    wanted = list(lots) or [name for name in mill.lots if is_sealed(graph, "lot", name)]
    reasons = [*_not_ready(mill), *(reason for name in wanted if (reason := _refused(mill, name)))]
    if reasons or not wanted:
        raise SealBrokenError(reasons or ["no lot is sealed: kilnfolio seal LOT --by NAME"])
    record = mill.mill.record
    regional, tag = regional_format(record), record.customer_languages[0]
    labels = [
        label for name in wanted for label in labels_of(lot_view(graph, name).view, regional, tag)
    ]
    signed = record.has_signed(tag, language(tag).safety_digest)
    return len(labels), write_sheets(labels, sheet, out, skip=skip, tag=tag, signed=signed)


def _not_ready(mill: MillFolder) -> list[str]:
    """Return what the mill must have before any label can be printed."""
    record = mill.mill.record
    reasons = [] if address_keys(mill.graph) else [NO_KEY]
    return reasons + [
        f"{key} in content/mill.yaml is {value}, where nothing is: set it before a label is printed"
        for key, value in (
            ("records_address", record.records_address),
            ("email", record.contact.email),
        )
        if value.endswith(".invalid")
    ]


def _refused(mill: MillFolder, lot: str) -> str:
    """Return why a lot may have no labels; empty if it may."""
    if f"lot {lot}" in mill.drafts or lot in mill.waiting_lots:
        return f"lot {lot} is not complete: 'kilnfolio check' names what is missing"
    if lot not in mill.lots:
        return f"there is no lot '{lot}' in {mill.graph.folder}"
    if not is_sealed(mill.graph, "lot", lot):
        return (
            f"lot {lot} is not sealed, and its label would bind nothing: kilnfolio seal {lot} "
            "--by NAME"
        )
    stands = lot_standing(mill.graph, lot)
    return broken_words(stands, f"lot {lot}") if stands.differences else ""
