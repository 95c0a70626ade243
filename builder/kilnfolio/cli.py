"""Words in, words out; nothing else."""

from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import re
import sys
from collections.abc import Sequence
from pathlib import Path

from kilnfolio import __version__

#: Exit codes: fine; findings or differences; bad input or usage.
FINE, FOUND, BAD = 0, 1, 2


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; return its exit code."""
    arguments = _parser().parse_args(argv)
    try:
        return arguments.run(arguments)
    except KeyboardInterrupt:
        print("kilnfolio: stopped; the site is as it was", file=sys.stderr)
        return BAD
    except OSError as error:
        name = f"{error.filename}: " if error.filename else ""
        print(f"kilnfolio: {name}{(error.strerror or str(error)).lower()}", file=sys.stderr)
        return BAD


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="kilnfolio", description="Drying schedules, checked charges and lot records: reads a "
        "mill's YAML records and logger files, recomputes every number, and builds the handbook and "
        "a record page for every lot.",
        epilog="Guidance only. Nothing printed here is a permission to enter a kiln.")
    parser.add_argument("--version", action="version", version=f"kilnfolio {__version__}")
    commands = parser.add_subparsers(required=True, metavar="command")
    build = _command(commands, "build", _build, "build the site from a mill folder",
                     "kilnfolio build ~/mill --out ~/mill/site")
    build.add_argument("--out", type=Path, help="where the editions go (default: FOLDER/site)")
    build.add_argument("--workers", type=int, help="processes that print PDFs")
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
    schema = commands.add_parser("schema", help="print the JSON Schema of a record kind",
                                 epilog="example: kilnfolio schema charge")
    schema.add_argument("kind", help="charge, kiln, limits, logger, lot, mill, notation, schedule, "
                                     "sources or species")
    schema.set_defaults(run=_schema)
    return parser


def _sealing_commands(commands: argparse._SubParsersAction) -> None:
    seal = commands.add_parser(
        "seal", help="seal a charge so that any later change shows",
        description="Seal a charge: its files and figures are signed and added to the ledger.",
        epilog="example: kilnfolio seal HB-26-003 --by 'R. Quill'")
    amend = commands.add_parser(
        "amend", help="seal a changed charge again, with the reason",
        description="Seal a changed charge again. The record it takes the place of is kept.",
        epilog="example: kilnfolio amend HB-26-003 --by 'R. Quill' --reason 'Board S3 was weighed "
               "twice; the second mass stands'")
    for command, run in ((seal, _seal), (amend, _amend)):
        command.add_argument("charge", help="the charge's number")
        command.add_argument("folder", type=Path, nargs="?", default=Path(),
                             help="the mill folder (default: this one)")
        command.add_argument("--by", required=True, help="who seals; it is printed")
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
    audit.set_defaults(run=_audit)


def _public_key(text: str) -> str:
    if not re.fullmatch(r"[0-9a-fA-F]{64}", text):
        raise argparse.ArgumentTypeError(f"'{text}' is not a public key, 64 hex digits")
    return text.lower()


def _command(commands: argparse._SubParsersAction, name: str, run: object, words: str,
             example: str) -> argparse.ArgumentParser:
    command = commands.add_parser(name, help=words, description=words.capitalize() + ".",
                                  epilog=f"example: {example}")
    command.add_argument("folder", type=Path, nargs="?", default=Path("."),
                         help="the mill folder, with content/ and schedules/ (default: this one)")
    command.set_defaults(run=run)
    return command


def _build(arguments: argparse.Namespace) -> int:
    from kilnfolio.pipeline import build_site
    from kilnfolio.records.problems import RecordProblems

    def say(line: str) -> None:
        print(f"kilnfolio: {line}", file=sys.stderr, flush=True)

    out = arguments.out or arguments.folder / "site"
    try:
        report = build_site(arguments.folder, out, workers=arguments.workers, say=say)
    except RecordProblems as error:
        return _print_problems(error)
    for warning in report.warnings:
        print(f"kilnfolio: warning: {warning}", file=sys.stderr)
    print(f"{report.pages} pages and {report.pdfs} PDFs in {out}; open {out}/mill/index.html")
    return FOUND if arguments.strict and report.warnings else FINE


def _print_problems(error: Exception) -> int:
    problems = error.problems
    for problem in problems:
        print(problem, file=sys.stderr)
    print(f"kilnfolio: {len(problems)} problem{'s' if len(problems) != 1 else ''} to mend; "
          "nothing was written", file=sys.stderr)
    return BAD


def _check(arguments: argparse.Namespace) -> int:
    from kilnfolio.pipeline import review_folder
    from kilnfolio.records.problems import RecordProblems

    try:
        reviewed = review_folder(arguments.folder, arguments.charge)
    except RecordProblems as error:
        if arguments.format == "json":
            print(json.dumps({"problems": [_problem(p) for p in error.problems]}, indent=1))
            return BAD
        return _print_problems(error)
    except KeyError:
        print(f"kilnfolio: there is no charge '{arguments.charge}' in {arguments.folder}",
              file=sys.stderr)
        return BAD
    everything = {**reviewed.dossiers, **{f"lot {k}": v for k, v in reviewed.lots.items()}}
    if arguments.format == "json":
        print(json.dumps({name: [f.model_dump(mode="json") for f in dossier.findings]
                          for name, dossier in everything.items()}, indent=1, ensure_ascii=False))
    else:
        for name, dossier in everything.items():
            _print_findings(name, dossier.findings, everything=arguments.all)
    outcomes = {f.outcome for dossier in everything.values() for f in dossier.findings}
    return FOUND if outcomes & {"query", "refused"} else FINE


def _problem(problem: object) -> dict[str, object]:
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
    """Seal a charge, or amend it where there is a reason."""
    from kilnfolio.archive.adding import SealRefusedError
    from kilnfolio.archive.keys import MILL_KEYS, UnusableKeyError, find_keys, make_keys
    from kilnfolio.archive.seal import amend, seal
    from kilnfolio.pipeline import review_folder
    from kilnfolio.records.problems import RecordProblems

    root, charge = arguments.folder, arguments.charge
    try:
        reviewed = review_folder(root, charge)
    except RecordProblems as error:
        return _print_problems(error)
    except KeyError:
        print(f"kilnfolio: there is no charge '{charge}' in {root}", file=sys.stderr)
        return BAD
    try:
        keys = make_keys(root / MILL_KEYS) if getattr(arguments, "new_key", False) \
            else find_keys(root)
        given = (reviewed.folder, reviewed.dossiers[charge], arguments.by, keys,
                 _now(reviewed.folder.mill.record.zone))
        entry = seal(*given) if reason is None else amend(*given, reason)
    except RecordProblems as error:  # the list of public keys is a record too
        return _print_problems(error)
    except UnusableKeyError as error:
        print(f"kilnfolio: {error}", file=sys.stderr)
        return BAD
    except SealRefusedError as error:
        for line in error.reasons:
            print(f"kilnfolio: {line}", file=sys.stderr)
        return FOUND
    if keys.demo:
        print("kilnfolio: sealed with the demonstration key, which proves nothing", file=sys.stderr)
    print(f"{charge}: {entry.kind} {entry.seal}, entry {entry.number} of the ledger, key "
          f"{entry.public_key}")
    return FINE


def _now(zone: dt.tzinfo) -> dt.datetime:
    """Return the clock's time, or SOURCE_DATE_EPOCH where it is set."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    return dt.datetime.fromtimestamp(int(epoch), zone) if epoch.isdigit() else dt.datetime.now(zone)


def _audit(arguments: argparse.Namespace) -> int:
    from kilnfolio.archive.audit import NothingToAuditError, audit
    from kilnfolio.archive.report import report_text

    try:
        report = audit(arguments.path, trusted=arguments.key)
    except NothingToAuditError as error:
        print(f"kilnfolio: {error}", file=sys.stderr)
        return BAD
    if arguments.format == "json":
        print(report.model_dump_json(indent=1))
    else:
        print(report_text(report), end="")
    return FINE if report.holds else FOUND


def _schema(arguments: argparse.Namespace) -> int:
    from kilnfolio.records.folder import RECORD_KINDS
    from kilnfolio.records.schema import record_schema

    if arguments.kind not in RECORD_KINDS:
        print(f"kilnfolio: '{arguments.kind}' is not a record kind; they are: "
              + ", ".join(RECORD_KINDS), file=sys.stderr)
        return BAD
    print(json.dumps(record_schema(arguments.kind), indent=1, ensure_ascii=False))
    return FINE
