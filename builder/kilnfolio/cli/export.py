"""kilnfolio export: write a mill's tables for other programs."""

from __future__ import annotations

import argparse
from pathlib import Path

from kilnfolio.cli.arguments import add_folder
from kilnfolio.cli.errors import ERROR, OK, print_reasons

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    from kilnfolio.api import MillView
    from kilnfolio.api.lines import LineEdition
    from kilnfolio.api.tables import Edition

DESCRIPTION = (
    "Write a mill's tables with their keys and units: a Data Package of CSV files, an "
    "SQLite database, Parquet files or JSON. An auditor's or customer's export holds only "
    "what that reader may see."
)
EXAMPLE = "kilnfolio export --format sqlite --out mill.sqlite"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_folder(parser)
    parser.add_argument(
        "--format",
        choices=("package", "sqlite", "parquet", "json", "lines"),
        default="package",
        help="what to write (default: %(default)s); lines are for 'kilnfolio group'",
    )
    parser.add_argument(
        "--out",
        type=Path,
        required=True,
        help="the folder or file to write; an earlier export is replaced",
    )
    parser.add_argument(
        "--edition",
        choices=("mill", "auditor", "customer"),
        help="who will read it (default: mill; lines: auditor)",
    )
    parser.add_argument(
        "--own", metavar="NAME", help="a format of the mill's own, from content/checks/"
    )
    parser.add_argument("--lot", help="one lot only; a customer's export needs it")


def run(arguments: argparse.Namespace) -> int:
    """Write the export."""
    from kilnfolio.api import open_mill
    from kilnfolio.api.export import ExportRefusedError, export

    mill = open_mill(arguments.folder)
    mill.check()
    if arguments.lot is not None and arguments.lot not in mill.lots:
        return print_reasons(f"there is no complete lot '{arguments.lot}'", code=ERROR)
    if arguments.format == "lines":
        return _export_lines(mill, arguments)
    if arguments.own is not None:
        return _export_by_own(mill, arguments.folder, arguments.own, arguments.out)
    try:
        edition: Edition = arguments.edition or "mill"
        counts = export(mill, arguments.out, arguments.format, edition, arguments.lot)
    except ExportRefusedError as error:
        return print_reasons(str(error), "nothing was written", code=ERROR)
    for name, count in counts.items():
        print(f"{count:>8,} {name}")
    print(f"written to {arguments.out}")
    return OK


def _export_lines(mill: MillView, arguments: argparse.Namespace) -> int:
    """Write one line for each charge and lot, for a group of mills."""
    from kilnfolio.api.lines import lines_of, write_lines
    from kilnfolio.archive.sealed_mill import open_sealed_mill

    edition: LineEdition = arguments.edition or "auditor"
    if arguments.edition == "customer" or arguments.lot is not None:
        return print_reasons(
            "lines are of all charges and lots, and for no customer",
            "nothing was written",
            code=ERROR,
        )
    if arguments.out.is_dir():
        return print_reasons(f"{arguments.out} is a folder; name a file with --out", code=ERROR)
    lines = lines_of(mill, open_sealed_mill(arguments.folder), edition)
    write_lines(lines, arguments.out)
    print(f"{len(lines.charges):>8,} {'charge' if len(lines.charges) == 1 else 'charges'}")
    print(f"{len(lines.lots):>8,} {'lot' if len(lines.lots) == 1 else 'lots'}")
    print(f"{edition} edition written to {arguments.out}")
    return OK


def _export_by_own(mill: MillView, folder: Path, name: str, out: Path) -> int:
    """Write by an exporter of the mill's own, which sees everything the mill has."""
    from kilnfolio.records.folder import open_mill as open_folder
    from kilnfolio.review.own_code import own_code

    known = own_code(open_folder(folder).graph).exporters
    if name not in known:
        said = f"this mill has {', '.join(sorted(known))}" if known else "this mill has none"
        return print_reasons(f"there is no format '{name}' of the mill's own: {said}", code=ERROR)
    if out.exists():
        return print_reasons(f"{out} is there already; name another with --out", code=ERROR)
    known[name].run(mill, out)
    print(f"written to {out}")
    return OK
