"""kilnfolio try-limit: show every past result that another limit would change."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from kilnfolio.cli.arguments import add_folder_option, add_format
from kilnfolio.cli.errors import ERROR, OK, print_json, print_reasons
from kilnfolio.runtime.files import read_text

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    from collections import Counter

    from kilnfolio.review.limit_trial import LimitTrial

DESCRIPTION = (
    "Review every complete charge, lot and schedule under the present limits and under others, "
    "and show which checks would give another result. Writes nothing. Sealed records keep the "
    "limits they were sealed with."
)
EXAMPLE = "kilnfolio try-limit stated-mc=0.5"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument(
        "limits",
        nargs="+",
        metavar="KEY=VALUE",
        help="a limit of schedules/limits.yaml and the number to try, in the limit's own unit; "
        "KEY:2=VALUE for the second of several entries",
    )
    add_folder_option(parser)
    add_format(parser)


def run(arguments: argparse.Namespace) -> int:
    """Review under both sets of limits and print what differs."""
    from kilnfolio.review.limit_trial import try_limits

    try:
        told, proposed = _proposed(arguments.folder, arguments.limits)
    except ValueError as error:
        return print_reasons(str(error), code=ERROR)
    trial = try_limits(arguments.folder, proposed)
    if arguments.format == "json":
        print_json(_as_data(told, trial))
    else:
        _print_text(told, trial)
    return OK


def _proposed(root: Path, asked: list[str]) -> tuple[list[str], bytes]:
    """Return each change in words, and the limits file with all of them applied.

    Raises
    ------
    ValueError
        A change is not written as KEY=VALUE, or there is no such limit.
    """
    from kilnfolio.adopt.record_text import RecordText
    from kilnfolio.records.folder import open_mill
    from kilnfolio.review.limit_trial import choose

    limits = open_mill(root).limits
    text = RecordText(read_text(root / limits.file), limits.file)
    told = []
    for words in asked:
        found = re.fullmatch(r"([a-z0-9-]+)(?::(\d{1,3}))?=([-+]?\d+(?:\.\d+)?)", words)
        if not found:
            raise ValueError(
                f"'{words}' is not a limit to try; write KEY=VALUE with a plain number, "
                "as in stated-mc=0.5"
            )
        key, entry, value = found[1], found[2], float(found[3])
        place, limit = choose(limits.record, key, int(entry) if entry else None)
        text.put(("limits", key, place, "value"), int(value) if value.is_integer() else value)
        told.append(f"{key}: {value:g} {limit.unit} instead of {limit.value:g} {limit.unit}")
    return told, text.text.encode()


def _print_text(told: list[str], trial: LimitTrial) -> None:
    for words in told:
        print(words)
    for flip in trial.flips:
        print(
            f"  {flip.record}: {flip.check}: was {_counted(flip.before)}, "
            f"would be {_counted(flip.after)}"
        )
    changed = {flip.record for flip in trial.flips}
    lots, schedules = (
        sum(name.startswith(f"{kind} ") for name in changed) for kind in ("lot", "schedule")
    )
    print(
        f"{len(changed) - lots - schedules} of {trial.charges} charges, {lots} of {trial.lots} "
        f"lots and {schedules} of {trial.schedules} schedules would get another result; "
        "nothing was written"
    )


def _counted(outcomes: Counter[str]) -> str:
    if len(outcomes) == 1 and outcomes.total() == 1:
        return next(iter(outcomes))
    return ", ".join(f"{count} {word}" for word, count in sorted(outcomes.items())) or "no result"


def _as_data(told: list[str], trial: LimitTrial) -> dict[str, object]:
    return {
        "limits": told,
        "charges": trial.charges,
        "lots": trial.lots,
        "schedules": trial.schedules,
        "changes": [
            {
                "record": flip.record,
                "check": flip.check,
                "before": dict(sorted(flip.before.items())),
                "after": dict(sorted(flip.after.items())),
            }
            for flip in trial.flips
        ],
    }
