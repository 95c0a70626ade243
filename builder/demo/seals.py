"""`python -m demo.seals [ROOT]`: seal the invented mill's charges and lots with its own key.

Times come from the records and the key is the one everybody has, so the same records give the same
ledger. It is written anew: only an invented mill may do so. A real mill amends.
"""

from __future__ import annotations

import argparse
import datetime as dt
import shutil
import sys
from pathlib import Path

from kilnfolio.archive.adding import SealRefusedError
from kilnfolio.archive.keys import find_keys
from kilnfolio.archive.seal import seal
from kilnfolio.pipeline import review_folder
from kilnfolio.sealing import enter_lot

#: Who seals at the demonstration mill; invented.
BY = "R. Quill (invented)"
#: The office seals a charge two days after drying ended, and a lot in the afternoon it is issued.
_AFTER = dt.timedelta(days=2)
_AFTERNOON = dt.time(15, 0)


def seal_mill(root: Path) -> tuple[list[str], list[str]]:
    """Write the ledger of an invented mill anew.

    Parameters
    ----------
    root : Path
        The mill folder.

    Returns
    -------
    tuple of (list of str, list of str)
        What was sealed, and what was not, with the reason.

    Raises
    ------
    ValueError
        The mill is not invented: its ledger is only ever added to.
    """
    reviewed = review_folder(root)
    folder, zone = reviewed.folder, reviewed.folder.mill.record.zone
    if not folder.mill.record.invented:
        raise ValueError(f"{root}: this mill is not marked as invented; its ledger stays")
    shutil.rmtree(root / "content/ledger", ignore_errors=True)
    keys, sealed, left = find_keys(root), [], []
    ended = {name: dossier.ended + _AFTER for name, dossier in reviewed.dossiers.items()}
    events = [(at.astimezone(zone), "charge", name) for name, at in ended.items()]
    events += [(max([dt.datetime.combine(folder.lots[name].record.issued, _AFTERNOON, zone),
                     *(ended[charge].astimezone(zone) for charge in dossier.charges)]), "lot", name)
               for name, dossier in reviewed.lots.items()]
    for at, kind, name in sorted(events):
        try:
            if kind == "charge":
                seal(folder, reviewed.dossiers[name], BY, keys, at)
            else:
                enter_lot(folder, reviewed.dossiers, reviewed.lots[name], BY, keys, at)
            sealed.append(f"{kind} {name}")
        except SealRefusedError as error:
            left.append(f"{kind} {name}: {error.reasons[0]}")
    return sealed, left


def main(arguments: list[str] | None = None) -> int:
    """Seal the mill and return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m demo.seals", description=__doc__)
    parser.add_argument("root", type=Path, nargs="?", default=Path(), help="the mill folder")
    sealed, left = seal_mill(parser.parse_args(arguments).root)
    sys.stdout.write("".join(f"sealed {line}\n" for line in sealed))
    sys.stdout.write("".join(f"left unsealed, {line}\n" for line in left))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
