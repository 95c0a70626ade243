"""kilnfolio build: build the site, or bring it up to date."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from kilnfolio.cli.arguments import add_folder, number_from
from kilnfolio.cli.errors import ERROR, FINDINGS, OK, print_reasons

EXAMPLE = "kilnfolio build ~/mill --out ~/mill/site"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_folder(parser)
    parser.add_argument("--out", type=Path, help="where the editions go (default: FOLDER/site)")
    parser.add_argument(
        "--workers",
        type=number_from(1, 999),
        help="processes that share the work (default: one for each processor)",
    )
    parser.add_argument(
        "--without-pdf",
        action="store_true",
        help="skip the PDFs, which take most of the time; those that are up to date stay, and "
        "pages link only to PDFs that exist",
    )
    parser.add_argument(
        "--cluster",
        metavar="ADDRESS",
        default="",
        help="share a first build, and later the printing of PDFs, with the Dask cluster of this "
        "scheduler, as in tls://10.0.0.5:8786; its machines are trusted like this one",
    )
    parser.add_argument(
        "--cluster-tls",
        nargs=3,
        metavar=("CA", "CERTIFICATE", "KEY"),
        default=(),
        help="PEM files by which the cluster's machines recognize each other",
    )
    parser.add_argument(
        "--fresh", action="store_true", help="rebuild everything, not only what changed"
    )
    loudness = parser.add_mutually_exclusive_group()
    loudness.add_argument(
        "-q", "--quiet", action="store_true", help="print only warnings and problems"
    )
    loudness.add_argument(
        "-v", "--verbose", action="store_true", help="print how long each part took"
    )
    parser.add_argument(
        "--strict", action="store_true", help="end with exit code 1 if there were warnings"
    )


def run(arguments: argparse.Namespace) -> int:
    """Build the site."""
    from kilnfolio.pipeline.at_rest import built_at_rest
    from kilnfolio.pipeline.built import site_of

    out = arguments.out or site_of(arguments.folder)
    if out.exists() and not out.is_dir():
        print(
            f"kilnfolio: {out} is a file, and the site needs a folder: name another with --out",
            file=sys.stderr,
        )
        return ERROR
    if not (arguments.fresh or arguments.cluster):
        built = built_at_rest(arguments.folder, out.resolve(), pdfs=not arguments.without_pdf)
        if built is not None:
            _print_made(arguments, out, *built, changed=False)
            return OK
    return _build(arguments, out)


def _build(arguments: argparse.Namespace, out: Path) -> int:
    """Build the site, or bring it up to date, and print what was made."""
    from kilnfolio.pipeline.build import build_site
    from kilnfolio.runtime.cluster_address import Cluster
    from kilnfolio.runtime.errors import RefusedError, SiteInUseError, WorkersUnreachableError
    from kilnfolio.runtime.progress import Progress

    try:
        report = build_site(
            arguments.folder,
            out,
            workers=arguments.workers,
            pdfs=not arguments.without_pdf,
            fresh=arguments.fresh,
            cluster=Cluster(arguments.cluster, tuple(arguments.cluster_tls)),
            tell=_silent if arguments.quiet else Progress(verbose=arguments.verbose),
        )
    except SiteInUseError as error:
        return print_reasons(*error.reasons, "nothing was written", code=ERROR)
    except RefusedError as error:
        return print_reasons(*error.reasons, "nothing was written")
    except WorkersUnreachableError as error:
        return print_reasons(str(error), "nothing was written", code=ERROR)
    for warning in report.warnings:
        print(f"kilnfolio: warning: {warning}", file=sys.stderr)
    for broken in report.broken:
        print(f"kilnfolio: {broken}", file=sys.stderr)
    _print_made(arguments, out, report.pages, report.pdfs, changed=bool(report.made))
    return FINDINGS if report.broken or (arguments.strict and report.warnings) else OK


def _silent(_what: str, _done: int, _total: int) -> None:
    """Report no progress."""


def _print_made(
    arguments: argparse.Namespace, out: Path, pages: int, pdfs: int, *, changed: bool
) -> None:
    """Print what the site has, and whether this build changed it."""
    if not arguments.quiet:
        begin = "" if changed else "up to date: "
        print(f"{begin}{pages} pages and {pdfs} PDFs in {out}; open {out}/mill/index.html")
