"""Words in, words out; nothing else."""

from __future__ import annotations

import argparse
import errno
import gc
import os
import re
import sys
from pathlib import Path

from kilnfolio import __version__
from kilnfolio.adopt.commands import add_commands
from kilnfolio.words import CommandParser

TYPE_CHECKING = False  # as typing has it; 'kilnfolio --help' imports only what it uses
if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence
    from typing import NoReturn

    from kilnfolio.archive.audit import AuditReport
    from kilnfolio.archive.keys import Keys
    from kilnfolio.archive.ledger import AnyEntry
    from kilnfolio.records.folder import MillFolder
    from kilnfolio.records.problems import Problem, RecordProblems
    from kilnfolio.review.dossier import Finding

#: Exit codes: fine; findings or differences; bad input or usage; stopped by Ctrl-C.
FINE, FOUND, BAD, STOPPED = 0, 1, 2, 130


def run() -> NoReturn:
    """Run the command this process was started for, and end.

    The cyclic collector looks less often than a small program needs, and at the end not at all:
    walking through the imported libraries again and again took a fifth of a short command's time,
    and after Ctrl-C up to a second.
    """
    gc.set_threshold(50_000, 10, 10)
    code = main()
    gc.freeze()
    sys.exit(code)


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; return its exit code."""
    arguments = _parser().parse_args(argv)
    try:
        code: int = arguments.run(arguments)
        return code
    except KeyboardInterrupt:
        print("kilnfolio: stopped; the site is as it was", file=sys.stderr)
        return STOPPED
    except BrokenPipeError:
        # the reader, such as head, has seen enough; Python must not complain of it at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FINE
    except OSError as error:
        name = f"{error.filename}: " if error.filename else ""
        print(f"kilnfolio: {name}{(error.strerror or str(error)).lower()}{_advice(error)}",
              file=sys.stderr)
        return BAD


def _advice(error: OSError) -> str:
    """Return what to do about an error of the system that people meet; empty for another."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return ": free some space and try again; what was there before is whole"
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return (": you may not write or read it. If it is open in another program, close it there; "
                "otherwise ask whoever keeps this computer, or name another folder")
    return ""


def _parser() -> argparse.ArgumentParser:
    parser = CommandParser(
        prog="kilnfolio", description="Drying schedules, checked charges and lot records: reads a "
        "mill's YAML records and logger files, recomputes every number, and builds the handbook "
        "and a record page for every lot.",
        epilog="Guidance only. Nothing printed here is a permission to enter a kiln.")
    parser.add_argument("--version", action="version", version=f"kilnfolio {__version__}")
    commands = parser.add_subparsers(required=True, metavar="command")
    build = _command(commands, "build", _build, "build the site from a mill folder",
                     "kilnfolio build ~/mill --out ~/mill/site")
    build.add_argument("--out", type=Path, help="where the editions go (default: FOLDER/site)")
    build.add_argument("--workers", type=int,
                       help="processes that share the work (default: one for each processor)")
    build.add_argument("--without-pdf", action="store_true",
                       help="print no PDF, which takes most of the time; those that are up to date "
                            "stay, and no page leads to one that is not there")
    build.add_argument("--cluster", metavar="ADDRESS", default="",
                       help="print the PDFs on the workers of a Dask cluster; its scheduler's "
                            "address, as tcp://10.0.0.5:8786")
    build.add_argument("--fresh", action="store_true",
                       help="make everything again, not only what has changed")
    build.add_argument("--strict", action="store_true",
                       help="end with 1 if anything had to be warned of")
    check = _command(commands, "check", _check, "read, recompute and print what the checks say",
                     "kilnfolio check --charge HB-26-003")
    check.add_argument("--charge", help="one charge only")
    check.add_argument("--all", action="store_true",
                       help="print also what held and what was not checked")
    check.add_argument("--format", choices=("text", "json"), default="text",
                       help="for a person or for a program")
    _sealing_commands(commands)
    _label_command(commands)
    _sheet_command(commands)
    _compare_command(commands)
    add_commands(commands)
    schema = commands.add_parser("schema", help="print the JSON Schema of a record kind",
                                 epilog="example: kilnfolio schema charge")
    schema.add_argument("kind", help="charge, kiln, limits, logger, lot, mill, notation, schedule, "
                                     "sources or species")
    schema.set_defaults(run=_schema)
    return parser


def _sealing_commands(commands: argparse._SubParsersAction) -> None:
    seal = commands.add_parser(
        "seal", help="seal a charge or lot so that any later change shows",
        description="Seal a charge: its files and figures are signed and added to the ledger. "
                    "Seal a lot: the record its customer reads is, and labels carry the seal.",
        epilog="example: kilnfolio seal HB-26-003 --by 'R. Quill'")
    amend = commands.add_parser(
        "amend", help="seal a changed charge or lot again, with the reason",
        description="Seal a changed charge or lot again. What it takes the place of is kept.",
        epilog="example: kilnfolio amend HB-26-003 --by 'R. Quill' --reason 'Board S3 was weighed "
               "twice; the second mass stands'")
    for command, run in ((seal, _seal), (amend, _amend)):
        command.add_argument("number", help="the number of a charge, or of a lot")
        command.add_argument("folder", type=Path, nargs="?", default=Path(),
                             help="the mill folder (default: this one)")
        command.add_argument("--by", required=True, help="who seals; it is printed")
        command.add_argument("--lot", action="store_true",
                             help="the number is a lot's, where a charge has the same")
        command.set_defaults(run=run)
    seal.add_argument("--new-key", action="store_true",
                      help="first make the mill's key, in FOLDER/keys")
    amend.add_argument("--reason", required=True, help="why it was changed; it is printed")
    audit = commands.add_parser(
        "audit", help="check seals and compute every figure again",
        description="Check a bag, a folder of bags or a mill folder: manifests, ledger, "
                    "signatures, and every figure computed again from the raw files. Nothing is "
                    "written.",
        epilog="example: kilnfolio audit HB-26-003 --key 3f0c…")
    audit.add_argument("path", type=Path, help="a bag, a folder of bags, or a mill folder")
    audit.add_argument("--key", action="append", default=[], metavar="HEX", type=_public_key,
                       help="the mill's public key, had from it by another way; no other is taken")
    audit.add_argument("--format", choices=("text", "json"), default="text",
                       help="for a person or for a program")
    audit.add_argument("--report", type=Path, metavar="FILE",
                       help="also write the report as FILE.html or FILE.pdf, outside what is "
                            "audited")
    audit.set_defaults(run=_audit)


def _label_command(commands: argparse._SubParsersAction) -> None:
    commands.add_parser(
        "labels", fill=_label_options, help="print labels for the packs of sealed lots",
        description="Print a label for each pack of the lots named, or of every sealed lot.",
        epilog="example: kilnfolio labels HBL-26-014 --sheet a4-99x67 --out labels.pdf")


def _label_options(labels: argparse.ArgumentParser) -> None:
    from kilnfolio.publish.label_sheets import SHEETS

    labels.add_argument("lots", nargs="*", metavar="LOT", help="the lots (default: all sealed)")
    labels.add_argument("--folder", type=Path, default=Path(), help="the mill folder")
    labels.add_argument("--sheet", choices=tuple(SHEETS), default=next(iter(SHEETS)),
                        help="paper, and width by height of a label in mm (default: %(default)s)")
    labels.add_argument("--skip", type=int, default=0,
                        help="labels already used on the first sheet")
    labels.add_argument("--out", type=Path, required=True, help="the PDF to write")
    labels.set_defaults(run=_labels)


def _sheet_command(commands: argparse._SubParsersAction) -> None:
    sheet = commands.add_parser(
        "sheet", help="print the kiln-side sheet of a charge",
        description="Print one page to hang at the kiln: set-points, and the mass of each sample "
                    "board at which each step falls due. Boards with their sections are enough.",
        epilog="example: kilnfolio sheet HB-26-003 --paper letter --out kiln-2.pdf")
    sheet.add_argument("charge", help="the charge's number")
    sheet.add_argument("folder", type=Path, nargs="?", default=Path(),
                       help="the mill folder (default: this one)")
    sheet.add_argument("--paper", choices=("a4", "letter"), default="a4",
                       help="the size of the page (default: %(default)s)")
    sheet.add_argument("--out", type=Path, metavar="FILE.pdf",
                       help="the PDF to write (default: CHARGE-sheet.pdf)")
    sheet.set_defaults(run=_sheet)


def _compare_command(commands: argparse._SubParsersAction) -> None:
    compare = _command(commands, "compare", _compare,
                       "fetch what is published and compare it with what was built",
                       "kilnfolio compare --at https://records.mill.example")
    compare.add_argument("--at", metavar="URL", help="where the customer edition is published "
                         "(default: records_address in content/mill.yaml)")
    compare.add_argument("--site", type=Path, help="where the editions are (default: FOLDER/site)")
    compare.add_argument("--format", choices=("text", "json"), default="text",
                         help="for a person or for a program")


def _public_key(text: str) -> str:
    if not re.fullmatch(r"[0-9a-fA-F]{64}", text):
        raise argparse.ArgumentTypeError(f"'{text}' is not a public key, 64 hex digits")
    return text.lower()


def _command(commands: argparse._SubParsersAction, name: str, run: object, words: str,
             example: str) -> argparse.ArgumentParser:
    command: argparse.ArgumentParser = commands.add_parser(
        name, help=words, description=words.capitalize() + ".",
        epilog=f"example: {example}")
    command.add_argument("folder", type=Path, nargs="?", default=Path(),
                         help="the mill folder, with content/ and schedules/ (default: this one)")
    command.set_defaults(run=run)
    return command


def _build(arguments: argparse.Namespace) -> int:
    from kilnfolio.pipeline import build_site
    from kilnfolio.progress import Progress
    from kilnfolio.records.problems import RecordProblems
    from kilnfolio.refusals import RefusedError, WorkersUnreachableError

    out = arguments.out or arguments.folder / "site"
    if out.exists() and not out.is_dir():
        print(f"kilnfolio: {out} is a file, and the site needs a folder: name another with --out",
              file=sys.stderr)
        return BAD
    try:
        report = build_site(arguments.folder, out, workers=arguments.workers,
                            pdfs=not arguments.without_pdf, fresh=arguments.fresh,
                            cluster=arguments.cluster, tell=Progress())
    except RecordProblems as error:
        return _print_problems(error)
    except RefusedError as error:
        return _print_reasons(*error.reasons, "nothing was written")
    except WorkersUnreachableError as error:
        return _print_reasons(str(error), "nothing was written") and BAD
    for warning in report.warnings:
        print(f"kilnfolio: warning: {warning}", file=sys.stderr)
    print("up to date: " if not report.made else "", end="")
    print(f"{report.pages} pages and {report.pdfs} PDFs in {out}; open {out}/mill/index.html")
    return FOUND if arguments.strict and report.warnings else FINE


def _print_problems(error: RecordProblems) -> int:
    problems = error.problems
    for problem in problems:
        print(problem, file=sys.stderr)
    print(f"kilnfolio: {len(problems)} problem{'s' if len(problems) != 1 else ''} to mend; "
          "nothing was written", file=sys.stderr)
    return BAD


def _print_reasons(*reasons: str) -> int:
    for reason in reasons:
        print(f"kilnfolio: {reason}", file=sys.stderr)
    return FOUND


def _check(arguments: argparse.Namespace) -> int:
    from kilnfolio.pipeline import review_folder
    from kilnfolio.records.problems import RecordProblems
    from kilnfolio.review.running import begun_records, waiting_lots
    from kilnfolio.sealing import sealed_state

    try:
        reviewed = review_folder(arguments.folder, arguments.charge)
    except RecordProblems as error:
        if arguments.format == "json":
            _print_json({"problems": [_problem(p) for p in error.problems]})
            return BAD
        return _print_problems(error)
    except KeyError:
        return _no_charge(arguments.folder, arguments.charge)
    broken = sealed_state(reviewed.folder, reviewed.dossiers, reviewed.lots, {}).findings()
    found: dict[str, tuple[Finding, ...]] = {k: v.findings for k, v in reviewed.dossiers.items()}
    found |= {k: v.findings for k, v in reviewed.running.items()}
    if arguments.charge is None:
        found |= {k: (v,) for k, v in begun_records(reviewed.folder).items()}
        found |= {f"lot {k}": (v,) for k, v in waiting_lots(reviewed.folder).items()}
    found |= {f"lot {k}": v.findings for k, v in reviewed.lots.items()}
    everything = {name: (*([broken[name]] if name in broken else []), *findings)
                  for name, findings in found.items()}
    if arguments.format == "json":
        _print_json({name: [f.model_dump(mode="json") for f in findings]
                     for name, findings in everything.items()})
    else:
        for name, findings in everything.items():
            _print_findings(name, findings, everything=arguments.all)
    outcomes = {f.outcome for findings in everything.values() for f in findings}
    return FOUND if outcomes & {"query", "refused"} else FINE


def _no_charge(root: Path, charge: str) -> int:
    """Say that there is no such charge, and which has a number like it."""
    import difflib

    numbers = [path.parent.name for path in (root / "content/charges").glob("*/*/charge.yaml")]
    near = difflib.get_close_matches(charge, numbers, n=1, cutoff=0.4)
    print(f"kilnfolio: there is no charge '{charge}' in {root}"
          + (f"; did you mean '{near[0]}'?" if near else ""), file=sys.stderr)
    return BAD


def _print_json(data: object) -> None:
    import json

    print(json.dumps(data, indent=1, ensure_ascii=False))


def _problem(problem: Problem) -> dict[str, object]:
    place = problem.place
    return {"file": place.file, "line": place.line, "column": place.column, "what": problem.what,
            "why": problem.why, "instead": problem.instead}


def _print_findings(name: str, findings: Sequence, *, everything: bool) -> None:
    counts: dict[str, int] = {}
    for finding in findings:
        counts[finding.outcome] = counts.get(finding.outcome, 0) + 1
    order = ("refused", "query", "waived", "held", "not checked")
    print(f"{name}: " + ", ".join(f"{counts[o]} {o}" for o in order if o in counts))
    for finding in findings:
        if finding.outcome in ("held", "not checked") and not (everything or finding.noted):
            continue
        print(f"  {finding.outcome:<11} {finding.check}: {finding.message}")
        for spot in finding.where:
            print(f"              {spot.file}:{spot.line}:{spot.column}")
        if finding.waived_by:
            print(f"              waived by {finding.waived_by}: {finding.waived_because}")


def _seal(arguments: argparse.Namespace) -> int:
    return _enter(arguments)


def _amend(arguments: argparse.Namespace) -> int:
    return _enter(arguments, arguments.reason)


def _enter(arguments: argparse.Namespace, reason: str | None = None) -> int:
    """Seal a charge or lot, or amend it where there is a reason."""
    from kilnfolio.archive.adding import SealRefusedError
    from kilnfolio.archive.keys import MILL_KEYS, UnusableKeyError, find_keys, make_keys
    from kilnfolio.records.folder import read_mill_folder
    from kilnfolio.records.problems import RecordProblems

    root, number = arguments.folder, arguments.number
    try:
        folder = read_mill_folder(root)
        is_lot = number in folder.lots and (arguments.lot or number not in folder.charges)
        if incomplete := _not_complete(folder, number):
            return _print_reasons(incomplete, "nothing was sealed")
        if not is_lot and (arguments.lot or number not in folder.charges):
            print(f"kilnfolio: there is no {'lot' if arguments.lot else 'charge or lot'} "
                  f"'{number}' in {root}", file=sys.stderr)
            return BAD
        keys = make_keys(root / MILL_KEYS) if getattr(arguments, "new_key", False) \
            else find_keys(root)
        at = _now(folder.mill.record.zone)
        enter = _enter_lot if is_lot else _enter_charge
        entry = enter(root, number, arguments.by, keys, at, reason)
    except RecordProblems as error:  # the list of public keys is a record too
        return _print_problems(error)
    except UnusableKeyError as error:
        print(f"kilnfolio: {error}", file=sys.stderr)
        return BAD
    except SealRefusedError as error:
        return _print_reasons(*error.reasons)
    if keys.demo:
        print("kilnfolio: sealed with the demonstration key, which proves nothing", file=sys.stderr)
    print(f"{entry.subject}: {entry.kind} {entry.seal}, entry {entry.number} of the ledger, key "
          f"{entry.public_key}")
    return FINE


def _not_complete(folder: MillFolder, number: str) -> str:
    """Return why a charge or lot that is not complete cannot be sealed; empty where it is."""
    if begun := folder.begun.get(f"lot {number}"):
        return (f"{number} cannot be sealed before it is filled in ({begun.file}): "
                + ", ".join(begun.keys))
    lot = folder.waiting_lots.get(number)
    if lot is None and number not in folder.open_charges:
        return ""
    charges = [number] if lot is None else sorted(
        {pack.charge for pack in lot.record.packs} & folder.open_charges.keys())
    lacking = "; ".join(f"charge {name}, {folder.open_charges[name].file}" for name in charges)
    return (f"{number} cannot be sealed before its charge is complete ({lacking}): 'kilnfolio "
            "check' names what is still to be filled in")


def _enter_charge(root: Path, charge: str, by: str, keys: Keys, at: dt.datetime,
                  reason: str | None) -> AnyEntry:
    from kilnfolio.archive.seal import amend, seal
    from kilnfolio.pipeline import review_folder

    reviewed = review_folder(root, charge)
    folder, dossier = reviewed.folder, reviewed.dossiers[charge]
    return (seal(folder, dossier, by, keys, at) if reason is None else
            amend(folder, dossier, by, keys, at, reason))


def _enter_lot(root: Path, lot: str, by: str, keys: Keys, at: dt.datetime, reason: str | None
               ) -> AnyEntry:
    from kilnfolio.pipeline import review_folder
    from kilnfolio.records.folder import read_mill_folder
    from kilnfolio.sealing import enter_lot

    packs = read_mill_folder(root).lots[lot].record.packs
    reviewed = review_folder(root, sorted({pack.charge for pack in packs}))
    return enter_lot(reviewed.folder, reviewed.dossiers, reviewed.lots[lot], by, keys, at,
                     reason)


def _now(zone: dt.tzinfo) -> dt.datetime:
    """Return the clock's time, or SOURCE_DATE_EPOCH where it is set."""
    import datetime as dt

    from kilnfolio.records.moment import source_date

    return source_date(zone) or dt.datetime.now(zone)


def _audit(arguments: argparse.Namespace) -> int:
    from kilnfolio.archive.audit import NothingToAuditError, audit
    from kilnfolio.archive.report import report_data, report_text

    try:
        report = audit(arguments.path, trusted=arguments.key)
    except NothingToAuditError as error:
        print(f"kilnfolio: {error}", file=sys.stderr)
        return BAD
    if arguments.format == "json":
        _print_json(report_data(report))
    else:
        print(report_text(report), end="")
    if arguments.report:
        return _write_report(report, arguments.report, arguments.path)
    return FINE if report.holds and report.sealed else FOUND


def _write_report(report: AuditReport, out: Path, audited: Path) -> int:
    """Write the report of an audit as a page or as a PDF, by the name it is given."""
    from kilnfolio.archive.report import report_data
    from kilnfolio.publish.audit_report import report_html, report_pdf

    if out.suffix not in (".html", ".pdf"):
        print(f"kilnfolio: {out}: the report is written as .html or .pdf", file=sys.stderr)
        return BAD
    if out.resolve().is_relative_to(audited.resolve()):
        print(f"kilnfolio: {out}: it lies inside what is audited, where nothing is written; name a "
              "file elsewhere", file=sys.stderr)
        return BAD
    data = report_data(report)
    out.write_bytes(report_html(data).encode() if out.suffix == ".html" else report_pdf(data))
    return FINE if report.holds and report.sealed else FOUND


def _labels(arguments: argparse.Namespace) -> int:
    from kilnfolio.pipeline import print_labels
    from kilnfolio.records.problems import RecordProblems
    from kilnfolio.refusals import SealBrokenError

    try:
        count, warnings = print_labels(arguments.folder, arguments.lots, arguments.sheet,
                                       arguments.skip, arguments.out)
    except RecordProblems as error:
        return _print_problems(error)
    except SealBrokenError as error:
        return _print_reasons(*error.reasons, "nothing was written")
    for warning in warnings:
        print(f"kilnfolio: warning: {warning}", file=sys.stderr)
    print(f"{count} labels in {arguments.out}; print at 100 %, not fitted to the page")
    return FINE


def _sheet(arguments: argparse.Namespace) -> int:
    from kilnfolio.publish.sheet import SheetTooLongError, kiln_sheet, write_sheet
    from kilnfolio.publish.templating import environment
    from kilnfolio.records.folder import lacking, read_mill_folder
    from kilnfolio.records.problems import RecordProblems

    charge = arguments.charge
    out = arguments.out or Path(f"{charge}-sheet.pdf")
    try:
        folder = read_mill_folder(arguments.folder)
        running = folder.open_charges.get(charge)
        if running and (lacks := [*lacking(folder, running),
                                  *([] if running.so_far else [running])]):
            raise RecordProblems(problem for one in lacks for problem in one.to_fill)
        if charge not in folder.charges and running is None:
            return _no_charge(arguments.folder, charge)
        warnings = write_sheet(kiln_sheet(folder, charge), environment(folder.mill.record), out,
                               arguments.paper)
    except RecordProblems as error:
        return _print_problems(error)
    except SheetTooLongError as error:
        print(f"kilnfolio: {error}", file=sys.stderr)
        return BAD
    for warning in warnings:
        print(f"kilnfolio: warning: {warning}", file=sys.stderr)
    print(f"kiln-side sheet of {charge} in {out}")
    return FINE


def _compare(arguments: argparse.Namespace) -> int:
    from dataclasses import asdict

    from kilnfolio.publish.serving import NothingBuiltError, NotReachedError, compare
    from kilnfolio.records.mill import Mill
    from kilnfolio.records.model import validate
    from kilnfolio.records.problems import RecordProblems
    from kilnfolio.records.yaml_source import read_yaml

    mill = "content/mill.yaml"
    edition = (arguments.site or arguments.folder / "site") / "customer"
    try:
        address = arguments.at or validate(read_yaml(arguments.folder / mill, mill),
                                           Mill).record.records_address
        found = compare(address, edition,
                        lambda line: print(f"kilnfolio: {line}", file=sys.stderr, flush=True))
    except RecordProblems as error:
        return _print_problems(error)
    except (NothingBuiltError, NotReachedError) as error:
        print(f"kilnfolio: {error}", file=sys.stderr)
        return BAD
    if arguments.format == "json":
        _print_json({"address": address, "compared_with": str(edition)} | asdict(found))
    else:
        for one in found.differences:
            print(f"{address.rstrip('/')}/{one.path}: {one.what}")
        print(f"{found.files} files of {edition} compared with {address}: "
              + (f"{len(found.differences)} differences" if found.differences else "all as built"))
    return FOUND if found.differences else FINE


def _schema(arguments: argparse.Namespace) -> int:
    from kilnfolio.records.folder import RECORD_KINDS
    from kilnfolio.records.schema import record_schema

    if arguments.kind not in RECORD_KINDS:
        print(f"kilnfolio: '{arguments.kind}' is not a record kind; they are: "
              + ", ".join(RECORD_KINDS), file=sys.stderr)
        return BAD
    _print_json(record_schema(arguments.kind))
    return FINE
