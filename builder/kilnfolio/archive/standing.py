"""How every sealed charge and lot of a mill stands: as it was sealed, or not.

A charge or lot whose own files were changed goes on being shown as it was sealed, and is named by
`check` and `build` until it is amended or the change is taken back.
"""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from kilnfolio.archive.as_sealed import as_sealed_library, folder_as_sealed, sealed_dossier
from kilnfolio.archive.entries import LotEntry
from kilnfolio.archive.keyring import read_keyring
from kilnfolio.archive.ledger import Ledger, read_ledger
from kilnfolio.archive.lots import LotState, lot_state
from kilnfolio.archive.seal import SealState, state
from kilnfolio.records.charge import Charge
from kilnfolio.records.folder import MillFolder, read_mill_folder, refuse_other_folder
from kilnfolio.records.model import Located
from kilnfolio.records.problems import RecordProblems
from kilnfolio.review.dossier import Dossier, Finding, LotDossier
from kilnfolio.review.review import review_lot

#: The slug a broken seal is reported under, beside the findings of the checks.
AS_SEALED = "as-sealed"
#: Differences a message names.
_NAMED = 3


@dataclass(frozen=True)
class Standing:
    """How the sealed charges and lots of a mill stand."""

    root: Path
    ledger: Ledger
    charges: Mapping[str, SealState] = field(default_factory=dict)
    lots: Mapping[str, LotState] = field(default_factory=dict)

    def findings(self) -> dict[str, Finding]:
        """Return what is not as sealed, by the name `check` prints: ``C1``, ``lot L1``."""
        found = {name: broken_finding(stands, name) for name, stands in self.charges.items()
                 if stands.differences}
        return found | {f"lot {name}": broken_finding(stands, f"lot {name}")
                        for name, stands in self.lots.items() if stands.differences}

    def settled_charges(self) -> dict[str, tuple[Located[Charge], Dossier]]:
        """Return the charges that are as they were sealed: the record and dossier as sealed."""
        found = {}
        for name, stands in self.charges.items():
            if stands.last and stands.word != "changed":
                with contextlib.suppress(RecordProblems):  # a copy is gone: today's files serve
                    folder = folder_as_sealed(self.root, stands.last)
                    found[name] = (folder.charges[name], sealed_dossier(
                        self.root, stands.last, len(stands.entries), folder))
        return found


def standing(root: Path, only: frozenset[str] | None = None, *, numbers: bool = True) -> Standing:
    """Return how a mill's sealed charges and lots stand.

    Parameters
    ----------
    root : Path
        The mill folder.
    only : frozenset of str, optional
        These charges alone, and no lots.
    numbers : bool
        As for `archive.seal.state`.
    """
    ledger = read_ledger(root)
    return Standing(
        root, ledger,
        {name: state(root, name, ledger, numbers=numbers) for name in ledger.charges
         if only is None or name in only},
        {name: lot_state(root, name, ledger) for name in ledger.lots} if only is None else {})


@dataclass(frozen=True)
class SealedMill:
    """A mill folder whose sealed charges are read as they were sealed."""

    folder: MillFolder
    dossiers: Mapping[str, Dossier]
    """The dossiers of charges that are as they were sealed."""
    lots: Mapping[str, LotEntry]
    """The last entries of lots that are as they were sealed."""

    def review_lot(self, lot: str, dossiers: Mapping[str, Dossier]) -> LotDossier:
        """Review a lot: a sealed one by the limits and species it was sealed with."""
        folder = self.folder
        if lot in self.lots:
            folder = as_sealed_library(folder, folder.root, self.lots[lot])
        return review_lot(folder, lot, dossiers)


def read_sealed_mill(root: Path) -> SealedMill:
    """Read a mill folder; what was sealed and is unchanged is read from the copies of its seal.

    Raises
    ------
    RecordProblems
        Every problem in every other file.
    """
    refuse_other_folder(root)
    stands = standing(root, numbers=False)
    charges = stands.settled_charges()
    lots = {name: one.last for name, one in stands.lots.items() if one.last and not one.differences}
    folder = read_mill_folder(root, {*charges, *(f"lot {name}" for name in lots)})
    here = {name: charge for name, (charge, _) in charges.items() if name in folder.charges}
    return SealedMill(replace(folder, charges={**folder.charges, **here}),
                      {name: charges[name][1] for name in here},
                      {name: entry for name, entry in lots.items() if name in folder.lots})


def broken_finding(stands: SealState | LotState, name: str) -> Finding:
    """Return what is said of a charge or lot that is not as it was sealed."""
    last, differences = stands.entries[-1], stands.differences
    named = "; ".join(f"{d.where}: {d.what}" for d in differences[:_NAMED])
    more = len(differences) - _NAMED
    rest = f"; and {more} more, which 'kilnfolio audit' names" if more > 0 else ""
    number = name.removeprefix("lot ")
    return Finding(check=AS_SEALED, outcome="fail", message=(
        f"it is not as {last.by} sealed it on {last.at:%Y-%m-%d}, and is published as it was "
        f"sealed. {named}{rest}. Undo the change, or run: kilnfolio amend {number} --by NAME "
        "--reason '…'"))


def changed_words(stands: SealState | LotState) -> str:
    """Return what of a charge or lot is not as sealed, for its own page; empty where all is."""
    named = list(dict.fromkeys(f"{d.where}: {d.what}" for d in stands.differences))
    more = f"; and {len(named) - _NAMED} more" if len(named) > _NAMED else ""
    return f"{'; '.join(named[:_NAMED])}{more}." if named else ""


def broken_words(stands: SealState | LotState, name: str) -> str:
    """Return the same in a sentence that names it."""
    return f"{name}: {broken_finding(stands, name).message}"


def demo_keys(root: Path) -> frozenset[str]:
    """Return the public keys of a mill that are the demonstration's."""
    with contextlib.suppress(RecordProblems):  # then the ledger does not hold, which is said
        keyring = read_keyring(root)
        return frozenset(key.public_key for key in keyring.keys if key.demo) if keyring \
            else frozenset()
    return frozenset()
