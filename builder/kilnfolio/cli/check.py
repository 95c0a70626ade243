"""kilnfolio check: print the findings on charges and lots."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence

from kilnfolio.cli.arguments import add_folder
from kilnfolio.cli.colour import painted
from kilnfolio.cli.errors import (
    ERROR,
    FINDINGS,
    OK,
    print_json,
    print_no_charge,
    print_problems,
)

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    from kilnfolio.records.folder import MillFolder
    from kilnfolio.records.problems import Problem
    from kilnfolio.review.dossier import Finding, Word

    Found = dict[str, tuple[Finding, ...]]

EXAMPLE = "kilnfolio check --charge HB-26-003"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    add_folder(parser)
    parser.add_argument("--charge", help="one charge only")
    parser.add_argument(
        "--fresh",
        action="store_true",
        help="compute everything anew; otherwise the last build of the site in FOLDER/site supplies "
        "what has not changed since",
    )
    loudness = parser.add_mutually_exclusive_group()
    loudness.add_argument(
        "-v",
        "--all",
        action="store_true",
        help="also print what passed, has no data or is not applicable",
    )
    loudness.add_argument(
        "-q",
        "--quiet",
        action="store_true",
        help="print only questions and fails, and the charges and lots they concern",
    )
    parser.add_argument(
        "--format",
        choices=("text", "json", "sarif", "junit"),
        default="text",
        help="for a person, for a program, for an editor or code host, or for a "
        "build server (default: %(default)s)",
    )


def run(arguments: argparse.Namespace) -> int:
    """Read, recompute and print findings."""
    from kilnfolio.archive.sealed_mill import open_sealed_mill
    from kilnfolio.pipeline.built import open_built_mill
    from kilnfolio.records.problems import RecordProblems
    from kilnfolio.rendering.regional import regional_format

    try:
        opened = open_sealed_mill if arguments.fresh else open_built_mill
        mill = opened(arguments.folder)
        found = (
            _everything(mill) if arguments.charge is None else _of_charge(mill, arguments.charge)
        )
        if arguments.charge is None:
            found |= _of_schedules(mill, drafts=arguments.all)
    except RecordProblems as error:
        if arguments.format == "text":
            return print_problems(error)
        _print_formatted(arguments.format, {}, error.problems)
        return ERROR
    if arguments.charge is not None and not found:
        return print_no_charge(arguments.folder, arguments.charge)
    if arguments.format == "text":
        say = regional_format(mill.mill.record).localized
        if arguments.quiet:
            _print_asking(found, say)
        else:
            _print_text(found, say, everything=arguments.all)
    else:
        _print_formatted(arguments.format, found)
    outcomes = {f.outcome for findings in found.values() for f in findings}
    return FINDINGS if outcomes & {"question", "fail"} else OK


def _everything(mill: MillFolder) -> Found:
    """Return the findings on every charge, lot and draft."""
    from kilnfolio.archive.standing import sealed_records
    from kilnfolio.records.checking import refuse_problems
    from kilnfolio.review.open_review import draft_records, waiting_lots
    from kilnfolio.review.reviews import REVIEWS, dossiers, lot_dossiers, open_reviews
    from kilnfolio.site.house import house

    refuse_problems(mill, ((sealed_records,), *REVIEWS, (house,)))
    found: Found = {name: dossier.findings for name, dossier in dossiers(mill).items()}
    found |= {name: review.findings for name, review in open_reviews(mill).items()}
    found |= {name: (finding,) for name, finding in draft_records(mill).items()}
    found |= {f"lot {name}": (finding,) for name, finding in waiting_lots(mill).items()}
    found |= {f"lot {name}": review.findings for name, review in lot_dossiers(mill).items()}
    return _with_seals(mill, found)


def _of_charge(mill: MillFolder, number: str) -> Found:
    """Return the findings on one charge and the lots made from it alone; empty if there is none."""
    from kilnfolio.records import checking
    from kilnfolio.review.reviews import charge_dossier, lot_dossier, open_review

    graph = mill.graph
    if not graph.names("charge").get(number):
        return {}
    is_open = number in mill.open_charges
    lots = () if is_open else mill.lots_of_charge[number]
    checking.refuse_problems_of(
        mill,
        [
            (checking.charge_check, number),
            (open_review if is_open else charge_dossier, number),
            *((lot_dossier, lot) for lot in lots),
        ],
    )
    if is_open:  # it is not sealed
        return {number: open_review(graph, number).findings}
    lots = tuple(
        lot for lot in lots if {pack.charge for pack in mill.lots[lot].record.packs} == {number}
    )
    found: Found = {number: charge_dossier(graph, number).findings}
    found |= {f"lot {lot}": lot_dossier(graph, lot).findings for lot in lots}
    return _with_seals(mill, found, (number,), lots)


def _with_seals(
    mill: MillFolder,
    found: Found,
    charges: Sequence[str] | None = None,
    lots: Sequence[str] | None = None,
) -> Found:
    """Return findings, those on broken seals first."""
    from kilnfolio.archive.standing import broken_findings

    broken = broken_findings(mill.graph, charges, lots)
    return {
        name: (*([broken[name]] if name in broken else []), *found.get(name, ()))
        for name in dict.fromkeys([*found, *broken])
    }


def _of_schedules(folder: MillFolder, *, drafts: bool) -> dict[str, tuple[Finding, ...]]:
    """Return the findings on approved schedules in question; with `drafts`, on all schedules."""
    from kilnfolio.records.setpoints import mill_pressure
    from kilnfolio.review.schedule_case import lint_schedule

    found = {}
    for name, located in folder.schedules.items():
        said = lint_schedule(folder, name, mill_pressure(folder))
        asked = any(one.word in ("question", "fail") for one in said)
        if drafts or (asked and located.record.approved is not None):
            found[f"schedule {name}"] = said
    return found


def _print_formatted(form: str, found: Found, problems: Sequence[Problem] = ()) -> None:
    from kilnfolio.cli import check_formats

    if form == "junit":
        print(check_formats.as_junit(found, problems))
    else:
        print_json(
            {"json": check_formats.as_json, "sarif": check_formats.as_sarif}[form](found, problems)
        )


def _print_asking(found: Found, say: Callable[[str], str]) -> None:
    """Print only findings that need attention."""
    for name, findings in found.items():
        if asking := [one for one in findings if one.outcome in ("question", "fail")]:
            _print_findings(name, asking, say, everything=False)


def _print_text(found: Found, say: Callable[[str], str], *, everything: bool) -> None:
    for name, findings in found.items():
        _print_findings(name, findings, say, everything=everything)
    if not found:
        print(
            "all records can be read, but there is no charge yet. Begin one with "
            "'kilnfolio new charge NUMBER'"
        )


def _print_findings(
    name: str, findings: Sequence[Finding], say: Callable[[str], str], *, everything: bool
) -> None:
    from kilnfolio.review.answers import only
    from kilnfolio.review.dossier import BY_WEIGHT
    from kilnfolio.review.findings import accepted_answers
    from kilnfolio.site.pages.phrases import Count

    counts: dict[Word, int] = {}
    for finding in findings:
        counts[finding.word] = counts.get(finding.word, 0) + 1
    order = [*BY_WEIGHT[:3], "note", *BY_WEIGHT[3:]]
    said = (Count(word, counts[word], "").words for word in order if word in counts)
    print(f"{name}: " + ", ".join(said))
    for finding in findings:
        if finding.outcome in BY_WEIGHT[3:] and not (everything or finding.noted):
            continue
        word = painted(f"{finding.word:<14}", finding.word)
        print(f"  {word} {finding.check}: {say(finding.message)}")
        for spot in finding.where:
            print(f"{' ' * 17}{spot.file}:{spot.line}:{spot.column}")
        if finding.answered_by:
            print(
                f"{' ' * 17}{finding.answer_kind} {finding.answered_because} "
                f"({finding.answered_by})"
            )
        elif finding.id and not finding.noted:
            kinds = accepted_answers(finding)
            told = f"to answer it: {finding.id}" if kinds else f"no answer clears it: {only(kinds)}"
            print(f"{' ' * 17}{told}")
