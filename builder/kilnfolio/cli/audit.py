"""kilnfolio audit: check seals and compute every figure again."""

from __future__ import annotations

import argparse
import re
import sys
from pathlib import Path

from kilnfolio.cli.arguments import add_format
from kilnfolio.cli.errors import ERROR, FINDINGS, OK, print_json

TYPE_CHECKING = False  # as typing has it; 'kilnfolio --help' imports only what it uses
if TYPE_CHECKING:
    from kilnfolio.archive.audit import AuditReport

SUMMARY = "check seals and compute every figure again"
DESCRIPTION = ("Check a bag, a folder of bags or a mill folder: manifests, ledger, signatures, and "
               "every figure computed again from the raw files. Nothing is written.")
EXAMPLE = "kilnfolio audit HB-26-003 --key 3f0c…"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("path", type=Path, help="a bag, a folder of bags, or a mill folder")
    parser.add_argument("--key", action="append", default=[], metavar="HEX", type=_public_key,
                        help="the mill's public key, had from it by another way; no other is taken")
    add_format(parser)
    parser.add_argument("--report", type=Path, metavar="FILE",
                        help="also write the report as FILE.html or FILE.pdf, outside what is "
                             "audited")


def _public_key(text: str) -> str:
    if not re.fullmatch(r"[0-9a-fA-F]{64}", text):
        raise argparse.ArgumentTypeError(f"'{text}' is not a public key, 64 hex digits")
    return text.lower()


def run(arguments: argparse.Namespace) -> int:
    """Audit a bag, a folder of bags or a mill folder."""
    from kilnfolio.archive.audit import NothingToAuditError, audit
    from kilnfolio.archive.report import report_data, report_text

    try:
        report = audit(arguments.path, trusted=arguments.key)
    except NothingToAuditError as error:
        print(f"kilnfolio: {error}", file=sys.stderr)
        return ERROR
    if arguments.format == "json":
        print_json(report_data(report))
    else:
        print(report_text(report), end="")
    if arguments.report:
        return _write_report(report, arguments.report, arguments.path)
    return OK if report.holds and report.sealed else FINDINGS


def _write_report(report: AuditReport, out: Path, audited: Path) -> int:
    """Write the report of an audit as a page or as a PDF, by the name it is given."""
    from kilnfolio.archive.report import report_data
    from kilnfolio.paper.audit_report import report_html, report_pdf
    from kilnfolio.runtime.files import write_whole

    if out.suffix not in (".html", ".pdf"):
        print(f"kilnfolio: {out}: the report is written as .html or .pdf", file=sys.stderr)
        return ERROR
    if out.resolve().is_relative_to(audited.resolve()):
        print(f"kilnfolio: {out}: it lies inside what is audited, where nothing is written; name a "
              "file elsewhere", file=sys.stderr)
        return ERROR
    data = report_data(report)
    write_whole(out, report_html(data).encode() if out.suffix == ".html" else report_pdf(data))
    return OK if report.holds and report.sealed else FINDINGS
