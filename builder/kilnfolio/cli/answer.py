"""kilnfolio answer: give a signed answer to a finding."""

from __future__ import annotations

import argparse

from kilnfolio.cli.arguments import add_entry, completes_entry, open_task, terminal

DESCRIPTION = (
    "Answer one finding of a charge: why it is accepted, which instrument was at fault, "
    "or what corrected it. 'kilnfolio check' prints the finding's id."
)
EXAMPLE = "kilnfolio answer HB-26-011 step-timing/step-2/2026-02-24T07:33 'No operator'"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_entry(parser, yes=False)
    completes_entry(parser.add_argument("finding", help="id of the finding, as check prints it"))
    parser.add_argument("reason", help="the answer, in words")
    parser.add_argument(
        "--kind",
        default="accepted because",
        choices=("accepted because", "instrument at fault", "corrected by"),
        help="kind of answer (default: %(default)s)",
    )


def run(arguments: argparse.Namespace) -> int:
    """Give a signed answer to a finding."""
    from kilnfolio.adopt.entry.answering import answer

    task, by, now = open_task(arguments)
    return answer(
        task, arguments.finding, arguments.kind, arguments.reason, by, now, terminal(arguments)
    )
