"""kilnfolio check: what the checks say of charges and lots."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from kilnfolio.cli.arguments import add_folder, add_format
from kilnfolio.cli.errors import (
    ERROR,
    FINDINGS,
    OK,
    print_json,
    print_no_charge,
    print_problems,
)

TYPE_CHECKING = False  # as typing has it; 'kilnfolio --help' imports only what it uses
if TYPE_CHECKING:
    from kilnfolio.records.problems import Problem
    from kilnfolio.review.dossier import Finding

SUMMARY = "read, recompute and print what the checks say"
EXAMPLE = "kilnfolio check --charge HB-26-003"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_folder(parser)
    parser.add_argument("--charge", help="one charge only")
    parser.add_argument("--all", action="store_true",
                        help="print also what passed, has no data or is not applicable")
    add_format(parser)


def run(arguments: argparse.Namespace) -> int:
    """Read, recompute and print findings."""
    from kilnfolio.archive.standing import standing
    from kilnfolio.pipeline import review_folder
    from kilnfolio.records.problems import RecordProblems
    from kilnfolio.review.running import begun_records, waiting_lots

    try:
        reviewed = review_folder(arguments.folder, arguments.charge)
    except RecordProblems as error:
        if arguments.format == "json":
            print_json({"problems": [_problem(p) for p in error.problems]})
            return ERROR
        return print_problems(error)
    except KeyError:
        return print_no_charge(arguments.folder, arguments.charge)
    only = None if arguments.charge is None else frozenset([arguments.charge])
    broken = standing(arguments.folder, only).findings()
    found: dict[str, tuple[Finding, ...]] = {k: v.findings for k, v in reviewed.dossiers.items()}
    found |= {k: v.findings for k, v in reviewed.running.items()}
    if arguments.charge is None:
        found |= {k: (v,) for k, v in begun_records(reviewed.folder).items()}
        found |= {f"lot {k}": (v,) for k, v in waiting_lots(reviewed.folder).items()}
    found |= {f"lot {k}": v.findings for k, v in reviewed.lots.items()}
    everything = {name: (*([broken[name]] if name in broken else []), *found.get(name, ()))
                  for name in dict.fromkeys([*found, *broken])}
    if arguments.format == "json":
        print_json({name: [f.model_dump(mode="json") for f in findings]
                     for name, findings in everything.items()})
    else:
        for name, findings in everything.items():
            _print_findings(name, findings, everything=arguments.all)
        if not everything:
            print("every record can be read; no charge is on record yet. Begin one with "
                  "'kilnfolio new charge NUMBER'")
    outcomes = {f.outcome for findings in everything.values() for f in findings}
    return FINDINGS if outcomes & {"question", "fail"} else OK


def _problem(problem: Problem) -> dict[str, object]:
    place = problem.place
    return {"file": place.file, "line": place.line, "column": place.column, "what": problem.what,
            "why": problem.why, "instead": problem.instead}


def _print_findings(name: str, findings: Sequence, *, everything: bool) -> None:
    from kilnfolio.review.dossier import BY_WEIGHT

    counts: dict[str, int] = {}
    for finding in findings:
        counts[finding.word] = counts.get(finding.word, 0) + 1
    order = [*BY_WEIGHT[:3], "note", *BY_WEIGHT[3:]]
    print(f"{name}: " + ", ".join(f"{counts[word]} {word}" for word in order if word in counts))
    for finding in findings:
        if finding.outcome in BY_WEIGHT[3:] and not (everything or finding.noted):
            continue
        print(f"  {finding.word:<14} {finding.check}: {finding.message}")
        for spot in finding.where:
            print(f"{' ' * 17}{spot.file}:{spot.line}:{spot.column}")
        if finding.answered_by:
            print(f"{' ' * 17}{finding.answer_kind} {finding.answered_because} "
                  f"({finding.answered_by})")
        elif finding.id and not finding.noted:
            print(f"{' ' * 17}to answer it: {finding.id}")
