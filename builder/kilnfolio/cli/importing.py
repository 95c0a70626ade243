"""kilnfolio import: read a logger's export or a mill's own sheet into the records."""

from __future__ import annotations

import argparse
import shlex
import sys
from pathlib import Path

from kilnfolio.adopt.this_mill import this_mill
from kilnfolio.cli.arguments import asker
from kilnfolio.cli.errors import ERROR, FINDINGS, OK, print_reasons

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    from typing import Any

EXAMPLE = "kilnfolio import log kiln-1.csv --kiln kiln-1"
_AIR = "the air of a charge (dry bulb with wet bulb, depression, RH or EMC)"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    kinds = parser.add_subparsers(required=True, metavar="kind")
    _add_log(kinds)
    _add_sheets(kinds)


def _add_log(kinds: argparse._SubParsersAction[Any]) -> None:
    log = kinds.add_parser(
        "log",
        help="propose how a logger's export is read, and try it",
        description="Show what each column of a logger's export could be. Only what a "
        "person confirms is written: in the terminal, or by options and --yes.",
        epilog="example: kilnfolio import log kiln-1.csv --kiln kiln-1 --charge 26-014",
    )
    log.add_argument(
        "paths",
        type=Path,
        nargs="+",
        metavar="FILE",
        help="the logger's export; several, a folder of them or a pattern such as "
        "'logs/*.csv' if the logger begins a new file each day; last, the mill "
        "folder (default: the one you are in)",
    )
    log.add_argument("--kiln", required=True, help="id of the kiln it is from")
    log.add_argument("--id", help="id of the profile (default: KILN-export)")
    log.add_argument(
        "--charge", help="copy the file into this charge's folder and list it in the record"
    )
    _add_reading(log)
    log.add_argument(
        "--yes", action="store_true", help="write without asking; all of the above is given"
    )
    log.set_defaults(act=_import_log)


def _add_reading(log: argparse.ArgumentParser) -> None:
    """Add the options that say how the export is read."""
    log.add_argument(
        "--column",
        action="append",
        default=[],
        metavar="HEADING=CHANNEL:UNIT",
        help="what a column is, as in 'T1=dry-bulb:°C'",
    )
    log.add_argument(
        "--ignore", action="append", default=[], metavar="HEADING", help="a column to ignore"
    )
    log.add_argument(
        "--missing",
        action="append",
        default=[],
        metavar="MARK",
        help="a mark for a missing value, as in --missing=-999",
    )
    log.add_argument(
        "--time-format", metavar="FORMAT", help="format of the times, as in '%%d/%%m/%%Y %%H:%%M'"
    )
    log.add_argument(
        "--clock",
        choices=("local", "standard", "utc", "offset"),
        help="the time that the logger's clock shows",
    )
    log.add_argument(
        "--repeated-hour",
        choices=("by-row-order",),
        help="how to tell apart the hour repeated in autumn, for a local clock",
    )
    log.add_argument(
        "--skip-rows",
        action="append",
        default=[],
        metavar="BEGINNING",
        help="beginning of a cell that marks a row without readings, as in EVENT",
    )


def _add_sheets(kinds: argparse._SubParsersAction[Any]) -> None:
    from kilnfolio.adopt.sheets.kinds import SHEETS
    from kilnfolio.records.sheet_words import roles

    held = {name: kind.words for name, kind in SHEETS.items()} | {"air": _AIR}
    for name, words in held.items():
        sheet = kinds.add_parser(
            name,
            help=f"read {words} from a .csv or .xlsx sheet",
            description=f"Read {words} from a .csv or .xlsx sheet into a charge's record.",
            epilog=f"example: kilnfolio import {name} sheet.xlsx --charge 26-014 --dry-run",
        )
        _file_and_folder(sheet, "the sheet")
        sheet.add_argument("--charge", required=True, help="number of the charge")
        sheet.add_argument(
            "--dry-run", action="store_true", help="print what would be written, and write nothing"
        )
        sheet.add_argument(
            "--yes",
            action="store_true",
            help="write without asking: the columns are read correctly",
        )
        sheet.add_argument("--sheet", help="name of the sheet, if the file has several")
        sheet.add_argument(
            "--column",
            action="append",
            metavar="HEADING=ROLE",
            help="role of a column whose heading does not tell it: "
            + ", ".join(role.name for role in roles().values())
            + (", CHANNEL:UNIT as in dry-bulb:°C" if name == "air" else ", board:TAG")
            + ", or ignore",
        )
        sheet.add_argument("--decimal", choices=(".", ","), help="decimal separator")
        sheet.add_argument(
            "--dates", choices=("day-first", "month-first"), help="how to read 3/4/2026"
        )
        sheet.add_argument("--time", help="time of day of every row, as in 07:10")
        if name not in ("mc", "air"):
            sheet.add_argument("--unit", help="unit of numbers without one, as in g")
        if name != "air":
            sheet.add_argument("--by", help="who weighed or measured, if the sheet does not say")
        if name == "survey":
            _add_survey_options(sheet)
        if name == "mc":
            sheet.add_argument(
                "--method",
                choices=("hand meter", "pins", "as recorded"),
                help="how the MC was had (default: as recorded)",
            )
        sheet.set_defaults(act=_import_sheet, kind_of_sheet=name)


def _add_survey_options(sheet: argparse.ArgumentParser) -> None:
    sheet.add_argument("--at", help="when the survey was made, as in 2026-03-30T10:00")
    sheet.add_argument("--method", help="resistance meter, or oven-dry sections")
    sheet.add_argument("--instrument", help="id of the meter among the kiln's instruments")
    sheet.add_argument(
        "--corrected-for",
        nargs="*",
        choices=("temperature", "species"),
        help="corrections that the readings already include",
    )
    sheet.add_argument(
        "--wood-temperature", help="temperature of the wood when measured, as in '20 °C'"
    )
    sheet.add_argument(
        "--calibration-temperature", help="wood temperature that the meter's scale assumes"
    )
    sheet.add_argument(
        "--chosen", help="how the boards were chosen: at random, systematic or convenience"
    )


def _file_and_folder(parser: argparse.ArgumentParser, words: str) -> None:
    parser.add_argument("file", type=Path, help=words)
    parser.add_argument(
        "folder",
        type=Path,
        nargs="?",
        default=this_mill(),
        help="the mill folder (default: the one you are in)",
    )


def run(arguments: argparse.Namespace) -> int:
    """Import a file, or print the open questions and how to answer them."""
    from kilnfolio.adopt.kinds import UnansweredError

    try:
        code: int = arguments.act(arguments)
    except UnansweredError as error:
        return print_reasons(str(error), code=ERROR)
    return code


def _import_log(arguments: argparse.Namespace) -> int:
    from kilnfolio.adopt.import_log import import_log

    *files, last = arguments.paths
    if files and (last / "content").is_dir():
        arguments.files, arguments.folder = files, last
    else:
        arguments.files, arguments.folder = [*files, last], this_mill()
    return import_log(arguments, asker(), print)


def _import_sheet(arguments: argparse.Namespace) -> int:
    from dataclasses import fields

    from kilnfolio.adopt.sheets.air import AirImport, import_air
    from kilnfolio.adopt.sheets.importing import SheetImport, import_sheet
    from kilnfolio.adopt.sheets.kinds import SHEETS
    from kilnfolio.adopt.sheets.profiles import recall, remember
    from kilnfolio.adopt.sheets.table import Options
    from kilnfolio.adopt.tables import open_elsewhere

    if open_there := open_elsewhere(arguments.file):
        _say(open_there)
    options = Options(
        **{option.name: getattr(arguments, option.name, None) for option in fields(Options)}
    )
    kind = arguments.kind_of_sheet
    options, recalled = recall(arguments.folder, arguments.file, kind, options)
    found: SheetImport | AirImport
    if kind == "air":
        found = import_air(arguments.folder, arguments.file, arguments.charge, options)
    else:
        found = import_sheet(
            arguments.folder, arguments.file, SHEETS[kind], arguments.charge, options
        )
    print(found.part, end="")
    ask = asker()
    if recalled:
        _say(f"same headings as before, so read with the same options: {recalled}")
    for words in found.read_as if found.proposed or ask else ():
        _say(words)
    for words in found.unused:
        _say(words)
    if found.same:
        _say(f"{found.same} values are already in {found.name}")
    if not found.part:
        _say("the sheet holds nothing new; nothing was written")
        return OK
    if arguments.dry_run:
        _say(f"nothing was written; without --dry-run this would go into {found.name}")
        return OK
    if not arguments.yes:
        if ask is None and found.proposed:
            columns = shlex.join(w for one in found.proposed for w in ("--column", one))
            _say(
                "nothing was written; some headings above do not say what their columns are. If they "
                f"are read correctly, repeat the command with --yes; otherwise correct {columns}"
            )
            return FINDINGS
        if ask and ask(f"Write this into {found.name}? [y/N]: ").strip().lower() not in (
            "y",
            "yes",
        ):
            _say("nothing was written")
            return FINDINGS
    found.save()
    remember(arguments.folder, kind, found.headings, options, found.proposed)
    _say(f"written into {found.name}; next: kilnfolio check {arguments.folder}")
    return OK


def _say(words: str) -> None:
    """Print a line to standard error: standard output is for the part of the record."""
    print(f"kilnfolio: {words}", file=sys.stderr)
