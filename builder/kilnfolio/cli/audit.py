"""kilnfolio audit: check seals and compute every figure again."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

from kilnfolio.cli.arguments import add_format
from kilnfolio.cli.errors import AUDITED, ERROR, OK, print_json

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    from kilnfolio.archive.audited import AuditReport
    from kilnfolio.archive.remaking import Remakers

DESCRIPTION = (
    "Check a bag, a folder of bags, an edition or a mill folder: manifests, ledger and signatures. "
    "Compute every figure again from the raw files, and make the pages again. Change nothing."
)
EXAMPLE = "kilnfolio audit HB-26-003 --key 3f0c…"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument(
        "path", type=Path, help="a bag, a folder of bags, an edition, or a mill folder"
    )
    parser.add_argument(
        "--key",
        action="append",
        default=[],
        metavar="HEX",
        help="the mill's public key, which the mill gave you by another route; no other is accepted",
    )
    parser.add_argument(
        "--trust",
        type=Path,
        metavar="FILE",
        help="a file of such keys, one per line; 'until 2026-10-31' after a key says it was "
        "retired that day",
    )
    parser.add_argument(
        "--since",
        type=Path,
        metavar="FILE",
        help="a head or bag you kept: the ledger must continue from it",
    )
    parser.add_argument(
        "--manifest",
        type=Path,
        metavar="FILE",
        help="the manifest of an edition kept elsewhere: for site/customer, "
        "site/mill/customer-sha256.txt",
    )
    parser.add_argument(
        "--without-pdf",
        action="store_true",
        help="skip the PDFs, which take most of the time, and report them as not confirmed",
    )
    parser.add_argument(
        "--run-own-checks",
        action="store_true",
        help="also run the mill's own checks, which are code from the mill; read it first. Without "
        "this, what they found is reported as not confirmed",
    )
    add_format(parser)
    parser.add_argument(
        "--report",
        type=Path,
        metavar="FILE",
        help="also write the report as FILE.html or FILE.pdf, outside the audited folder",
    )


def run(arguments: argparse.Namespace) -> int:
    """Audit a bag, a folder of bags or a mill folder."""
    from kilnfolio.archive.audit import NothingToAuditError, audit
    from kilnfolio.archive.heads import kept_head
    from kilnfolio.archive.report import report_data, report_text
    from kilnfolio.archive.trust import read_trust, trusted_key
    from kilnfolio.rendering.seal_words import words_of
    from kilnfolio.runtime.progress import Progress

    try:
        trusted = [trusted_key(text) for text in arguments.key]
        trusted += read_trust(arguments.trust) if arguments.trust else ()
        since = kept_head(arguments.since) if arguments.since else None
        report = audit(
            arguments.path,
            trusted=trusted,
            since=since,
            again=makers(pdfs=not arguments.without_pdf, run_own=arguments.run_own_checks),
            manifest=arguments.manifest,
            workers=os.cpu_count() or 1,
            tell=Progress(),
        )
    except (NothingToAuditError, ValueError) as error:
        print(f"kilnfolio: {error}", file=sys.stderr)
        return ERROR
    if arguments.format == "json":
        print_json(report_data(report))
    else:
        print(report_text(report, lambda digits: " ".join(words_of(digits))), end="")
    if arguments.report and (failed := _write_report(report, arguments.report, arguments.path)):
        return failed
    return AUDITED[report.outcome]


def makers(*, pdfs: bool = True, run_own: bool = False) -> Remakers:
    """Return the functions that remake the files beside the sealed ones; PDFs only on request."""
    from kilnfolio.archive.remaking import Remakers
    from kilnfolio.paper.charge_pdf import record_again
    from kilnfolio.rendering.safety import SAFETY
    from kilnfolio.site.lot_again import lot_record_again
    from kilnfolio.site.pages_again import pages_again
    from kilnfolio.site.static import auditor_assets

    return Remakers(
        SAFETY,
        record_again if pdfs else None,
        lot_record_again,
        pages_again,
        auditor_assets,
        run_own,
    )


def _write_report(report: AuditReport, out: Path, audited: Path) -> int:
    """Write the report of an audit as a page or a PDF, according to its file name."""
    from kilnfolio.archive.report import report_data
    from kilnfolio.paper.audit_report import report_html, report_pdf
    from kilnfolio.runtime.files import write_whole

    if out.suffix not in (".html", ".pdf"):
        print(f"kilnfolio: {out}: the report is written as .html or .pdf", file=sys.stderr)
        return ERROR
    if out.resolve().is_relative_to(audited.resolve()):
        print(
            f"kilnfolio: {out}: it is inside the audited folder, where nothing is written; name a file elsewhere",
            file=sys.stderr,
        )
        return ERROR
    data = report_data(report)
    write_whole(out, report_html(data).encode() if out.suffix == ".html" else report_pdf(data))
    return OK
