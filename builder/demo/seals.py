"""`python -m demo.seals [ROOT]`: seal the invented mill's charges and lots with its own key.

Times come from the records, and the key is the demonstration key that everybody has, so the same
records give the same ledger. The ledger is rewritten, which only an invented mill may do; a real
mill amends.

For its first seal, later corrections in a record are undone, so that the ledger looks like that of
a real mill: a seal, then an amendment with its reason.
"""

from __future__ import annotations

import argparse
import datetime as dt
import shutil
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from kilnfolio.archive.adding import SealRefusedError
from kilnfolio.archive.bag import write_bag
from kilnfolio.archive.keys import Keys, find_keys
from kilnfolio.archive.places import LEDGER
from kilnfolio.archive.seal import amend, seal
from kilnfolio.records.folder import MillFolder, open_mill
from kilnfolio.records.model import Located
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.review.checks.record_keeping import path_of
from kilnfolio.review.reviews import dossiers, lot_dossiers, review_all
from kilnfolio.review.versions import rules_version
from kilnfolio.site.sealed import enter_lot

#: Who seals at the demonstration mill; invented.
BY = "R. Quill (invented)"
#: The office seals a charge on the morning after the last entry of its record, and a lot before
#: noon on the day of issue.
_MORNING, _BEFORE_NOON = dt.time(10, 0), dt.time(11, 30)
#: Charges kept as witnesses of a version of the rules. Together they cover boards sectioned again,
#: equalizing, conditioning, stress, a corrected survey, a timed schedule, heat treatment, a waiver.
WITNESSES = ("HB-25-048", "HB-26-034")


@dataclass
class _Event:
    """A charge or lot to seal or amend."""

    at: dt.datetime
    noun: str
    name: str
    reason: str | None = None

    def __str__(self) -> str:
        return f"{self.noun} {self.name}"


@dataclass
class Done:
    """The result of sealing a mill's charges and lots."""

    sealed: list[str] = field(default_factory=list)
    amended: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    """Records that were not sealed, each with the reason."""


def seal_mill(root: Path) -> Done:
    """Rewrite the ledger of an invented mill.

    Parameters
    ----------
    root : Path
        The mill folder.

    Raises
    ------
    ValueError
        If the mill is not invented: entries may only be added to its ledger.
    """
    now = _reviewed(root)
    if not now.mill.record.invented:
        raise ValueError(f"{root}: this mill is not marked as invented; its ledger stays")
    earlier = _earlier(now)
    with tempfile.TemporaryDirectory(prefix="kilnfolio-seals-") as name:
        yard, done = Path(name), Done()
        for tree in ("content", "schedules"):
            shutil.copytree(root / tree, yard / tree)
        shutil.rmtree(yard / LEDGER.parent, ignore_errors=True)
        for file, text in earlier.items():
            (yard / file).write_text(text, encoding="utf-8", newline="\n")
        _enter_all(yard, root, now, earlier, done)
        shutil.rmtree(root / LEDGER.parent, ignore_errors=True)
        shutil.copytree(yard / LEDGER.parent, root / LEDGER.parent)
    return done


def _reviewed(root: Path) -> MillFolder:
    """Return a mill with all records read, checked and reviewed."""
    mill = open_mill(root)
    review_all(mill)
    return mill


def _enter_all(
    yard: Path, root: Path, now: MillFolder, earlier: dict[str, str], done: Done
) -> None:
    """Seal in order of time, restoring each later correction when it is amended."""
    keys, mill = find_keys(yard), _reviewed(yard)
    events = [*_events(mill), *_amendments(now, earlier)]
    for event in sorted(events, key=lambda event: event.at):
        if event.reason is not None:
            nouns: dict[str, Any] = {"charge": now.charges, "lot": now.lots}
            file = nouns[event.noun][event.name].file
            shutil.copyfile(root / file, yard / file)
            mill = _reviewed(yard)
        try:
            _enter(mill, event, keys)
        except SealRefusedError as error:
            done.left.append(f"{event}: {error.reasons[0]}")
            continue
        (done.sealed if event.reason is None else done.amended).append(str(event))


def _enter(mill: MillFolder, event: _Event, keys: Keys) -> None:
    name = event.name
    if event.noun == "lot":
        enter_lot(mill, name, BY, keys, event.at, event.reason)
    elif event.reason is None:
        seal(mill, dossiers(mill)[name], BY, keys, event.at)
    else:
        amend(mill, dossiers(mill)[name], BY, keys, event.at, event.reason)


def _events(mill: MillFolder) -> Iterator[_Event]:
    zone, ready, reviews = mill.mill.record.zone, {}, lot_dossiers(mill)
    for name, charge in mill.charges.items():
        ready[name] = _morning_after(charge.record, zone)
        yield _Event(ready[name], "charge", name)
    for name, lot in mill.lots.items():
        issued = dt.datetime.combine(lot.record.issued, _BEFORE_NOON, zone)
        charges = (ready[charge] for charge in reviews[name].charges)
        yield _Event(max([issued, *charges]), "lot", name)


def _amendments(now: MillFolder, earlier: dict[str, str]) -> Iterator[_Event]:
    zone = now.mill.record.zone
    for name, charge in now.charges.items():
        if charge.file in earlier:
            reasons = dict.fromkeys(item.reason for item in charge.record.corrections)
            yield _Event(_morning_after(charge.record, zone), "charge", name, " ".join(reasons))
    for name, lot in now.lots.items():
        if lot.file in earlier:
            charges = " and ".join(lot_dossiers(now)[name].charges)
            yield _Event(
                dt.datetime.combine(lot.record.issued, _BEFORE_NOON, zone),
                "lot",
                name,
                f"The survey of charge {charges} was corrected.",
            )


def _morning_after(record: BaseModel, zone: dt.tzinfo) -> dt.datetime:
    """Return the morning after the last time in a record."""
    last = max(_days(record.model_dump(), zone))
    return dt.datetime.combine(last + dt.timedelta(days=1), _MORNING, zone)


def _days(value: Any, zone: dt.tzinfo) -> Iterator[dt.date]:
    if isinstance(value, dt.datetime):
        yield value.astimezone(zone).date()
    elif isinstance(value, dt.date):
        yield value
    elif isinstance(value, (dict, list, tuple)):
        for item in value.values() if isinstance(value, dict) else value:
            yield from _days(item, zone)


# --- records as they were -------------------------------------------------------------------------


def _earlier(folder: MillFolder) -> dict[str, str]:
    """Return records that were corrected later, by file, as they were before."""
    found = {}
    for number in folder.charges:
        charge = folder.located_charge(number)
        if isinstance(charge, Located) and charge.record.corrections:
            lines = (folder.root / charge.file).read_text("utf-8").splitlines(keepends=True)
            for correction in charge.record.corrections:
                path = path_of(charge.document.value, correction.field)
                if path is None:
                    raise ValueError(f"{charge.file}: {correction.field} is not there")
                row = charge.place(*path).line - 1
                lines[row] = lines[row].replace(correction.new, correction.old, 1)
            found[charge.file] = "".join(_without(lines, "corrections:"))
    for lot in folder.lots.values():
        if lot.record.version > 1 and lot.record.shipped:
            text = (folder.root / lot.file).read_text("utf-8")
            shipped = lot.record.shipped.astimezone(folder.mill.record.zone).date()
            text = text.replace(f"version: {lot.record.version}", "version: 1")
            found[lot.file] = text.replace(f"issued: {lot.record.issued}", f"issued: {shipped}")
    return found


def _without(lines: list[str], key: str) -> Iterator[str]:
    """Yield the lines of a record without a top-level key and its value."""
    inside = False
    for line in lines:
        inside = line.startswith(key) or (inside and line[:1] in " -")
        if not inside:
            yield line


# --- witnesses ------------------------------------------------------------------------------------


def keep_witnesses(root: Path, out: Path) -> Path:
    """Keep the bags of some sealed charges as witnesses of this version of the rules.

    Parameters
    ----------
    root : Path
        The mill folder, sealed.
    out : Path
        The folder that holds a folder of bags for each version.
    """
    folder = out / str(rules_version())
    shutil.rmtree(folder, ignore_errors=True)
    for charge in WITNESSES:
        write_bag(root, charge, folder, notice=SAFETY)
    return folder


def main(arguments: list[str] | None = None) -> int:
    """Seal the mill and return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m demo.seals", description=__doc__)
    parser.add_argument("root", type=Path, nargs="?", default=Path(), help="the mill folder")
    parser.add_argument(
        "--witness",
        type=Path,
        metavar="FOLDER",
        help="also keep the bags of two charges there, under the version of the "
        "rules: never for a version that a release has carried",
    )
    chosen = parser.parse_args(arguments)
    done = seal_mill(chosen.root)
    for words, names in (
        ("sealed", done.sealed),
        ("amended", done.amended),
        ("left unsealed,", done.left),
    ):
        sys.stdout.write("".join(f"{words} {name}\n" for name in names))
    if chosen.witness:
        sys.stdout.write(f"witnesses in {keep_witnesses(chosen.root, chosen.witness)}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
