"""A small invented mill, sealed and amended, for the tests of what can be trusted."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from tests.archive.sealing import CHARGE, SEALED_AT, amend_charge, change, key, sealed_mill
from tests.minimal import FILES

from kilnfolio.archive.entries import LotEntry
from kilnfolio.archive.sealed_mill import sealed_except
from kilnfolio.archive.tokens import make_token_key
from kilnfolio.records.folder import open_mill
from kilnfolio.site.sealed import enter_lot

LOT = FILES["lot"]


def seal_lot_again(root: Path, reason: str | None = None, *, days: int = 0) -> LotEntry:
    """Seal the lot of the small mill, or amend it if a reason is given."""
    mill = open_mill(root, bound=sealed_except(lot="L1"))
    return enter_lot(
        mill, "L1", "A. N. Other", key(), SEALED_AT + dt.timedelta(days=days, hours=1), reason
    )


def labelled_mill(root: Path, **changes: object) -> Path:
    """Write the small mill with its charge and its lot sealed, and a key for addresses."""
    sealed_mill(root, **changes)
    make_token_key(root / "keys/lot-addresses.key")
    seal_lot_again(root)
    return root


def amended_mill(root: Path) -> Path:
    """Write the small mill, with its charge and its lot amended."""
    labelled_mill(root)
    charge = root / CHARGE
    lines = charge.read_text().splitlines()
    place = next(n for n, line in enumerate(lines) if line.startswith("survey:"))
    reading = next(n for n in range(place, len(lines)) if "12.1 %" in lines[n])
    lines[reading] = lines[reading].replace("12.1 %", "12.3 %", 1)
    charge.write_text("\n".join(lines) + "\n")
    amend_charge(root, "A survey reading was copied wrongly from the sheet", days=1)
    seal_lot_again(root, "The charge's survey was amended", days=2)
    return root


__all__ = ["CHARGE", "LOT", "amended_mill", "change", "labelled_mill", "seal_lot_again"]
