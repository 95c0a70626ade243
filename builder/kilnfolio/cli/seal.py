"""kilnfolio seal: sign a charge or lot and add it to the ledger."""

from __future__ import annotations

import argparse
import sys

from kilnfolio.cli.arguments import add_folder
from kilnfolio.cli.errors import ERROR, OK, print_problems, print_reasons

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path

    from kilnfolio.archive.entries import SealEntry
    from kilnfolio.archive.keys import Keys
    from kilnfolio.records.folder import MillFolder

DESCRIPTION = (
    "Seal a charge or a lot: sign it and add it to the ledger. The seal covers a charge's files "
    "and figures, or the record a lot's customer reads; labels carry a lot's seal."
)
EXAMPLE = "kilnfolio seal HB-26-003 --by 'R. Quill'"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_subject(parser)
    parser.add_argument(
        "--new-key", action="store_true", help="first make the mill's key in FOLDER/keys"
    )


def add_subject(parser: argparse.ArgumentParser) -> None:
    """Add what is sealed or amended, and by whom."""
    parser.add_argument("number", help="the number of a charge or lot")
    add_folder(parser)
    parser.add_argument("--by", required=True, help="who seals it; printed with the seal")
    parser.add_argument(
        "--lot", action="store_true", help="seal the lot, if a charge has the same number"
    )


def run(arguments: argparse.Namespace) -> int:
    """Seal a charge or lot."""
    return enter(arguments)


def enter(arguments: argparse.Namespace, reason: str | None = None) -> int:
    """Seal a charge or lot, or amend it if a reason is given."""
    from kilnfolio.archive.adding import SealRefusedError
    from kilnfolio.archive.keys import MILL_KEYS, UnusableKeyError, find_keys, make_keys
    from kilnfolio.archive.sealed_mill import sealed_except
    from kilnfolio.records.checking import checked_mill
    from kilnfolio.records.problems import RecordProblems

    root, number = arguments.folder, arguments.number
    try:
        folder = checked_mill(root, sealed_except(charge=number, lot=number))
        is_lot = number in folder.lots and (arguments.lot or number not in folder.charges)
        if incomplete := _not_complete(folder, number):
            return print_reasons(incomplete, "nothing was sealed")
        if not is_lot and (arguments.lot or number not in folder.charges):
            print(
                f"kilnfolio: there is no {'lot' if arguments.lot else 'charge or lot'} "
                f"'{number}' in {root}",
                file=sys.stderr,
            )
            return ERROR
        keys = (
            make_keys(root / MILL_KEYS) if getattr(arguments, "new_key", False) else find_keys(root)
        )
        at = now_at(root)
        enter = _enter_lot if is_lot else _enter_charge
        entry = enter(folder, number, arguments.by, keys, at, reason)
    except RecordProblems as error:  # the list of public keys is a record too
        return print_problems(error)
    except UnusableKeyError as error:
        print(f"kilnfolio: {error}", file=sys.stderr)
        return ERROR
    except SealRefusedError as error:
        return print_reasons(*error.reasons)
    if keys.demo:
        print("kilnfolio: sealed with the demonstration key, which proves nothing", file=sys.stderr)
    print(
        f"{entry.subject}: {entry.kind} {entry.seal}, entry {entry.number} of the ledger, key "
        f"{entry.public_key}"
    )
    return OK


def _not_complete(folder: MillFolder, number: str) -> str:
    """Return why a charge or lot that is not complete cannot be sealed; empty if it is."""
    if draft := folder.drafts.get(f"lot {number}"):
        return f"{number} cannot be sealed before it is filled in ({draft.file}): " + ", ".join(
            draft.keys
        )
    lot = folder.waiting_lots.get(number)
    if lot is None and number not in folder.open_charges:
        return ""
    charges = (
        [number]
        if lot is None
        else sorted({pack.charge for pack in lot.record.packs} & folder.open_charges.keys())
    )
    lacking = "; ".join(f"charge {name}, {folder.open_charges[name].file}" for name in charges)
    return (
        f"{number} cannot be sealed before its charge is complete ({lacking}): 'kilnfolio "
        "check' names what is still to be filled in"
    )


def _enter_charge(
    mill: MillFolder, charge: str, by: str, keys: Keys, at: dt.datetime, reason: str | None
) -> SealEntry:
    from kilnfolio.archive.seal import amend, seal
    from kilnfolio.records.checking import refuse_problems_of
    from kilnfolio.review.reviews import charge_dossier

    refuse_problems_of(mill, [(charge_dossier, charge)])
    dossier = charge_dossier(mill.graph, charge)
    return (
        seal(mill, dossier, by, keys, at)
        if reason is None
        else amend(mill, dossier, by, keys, at, reason)
    )


def _enter_lot(
    mill: MillFolder, lot: str, by: str, keys: Keys, at: dt.datetime, reason: str | None
) -> SealEntry:
    from kilnfolio.records.checking import refuse_problems_of
    from kilnfolio.review.reviews import lot_dossier
    from kilnfolio.site.sealed import enter_lot

    refuse_problems_of(mill, [(lot_dossier, lot)])
    return enter_lot(mill, lot, by, keys, at, reason)


def now_at(root: Path) -> dt.datetime:
    """Return the clock's time in the mill's zone, or SOURCE_DATE_EPOCH if it is set.

    Raises
    ------
    SealRefusedError
        SOURCE_DATE_EPOCH lies in the future: nothing is sealed before its time.
    """
    import datetime as dt

    from kilnfolio.archive.adding import SealRefusedError
    from kilnfolio.records.build_date import source_date
    from kilnfolio.records.mill import Mill
    from kilnfolio.records.validation import validate
    from kilnfolio.records.yaml_source import read_yaml

    name = "content/mill.yaml"
    zone = validate(read_yaml(root / name, name), Mill).record.zone
    now, told = dt.datetime.now(zone), source_date(zone)
    if told and told > now:
        raise SealRefusedError(
            f"{told.isoformat()} is later than this computer's clock; check "
            "SOURCE_DATE_EPOCH, and the clock"
        )
    return told or now
