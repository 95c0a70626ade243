"""``import log`` from its options to its last line."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from kilnfolio.adopt import logs
from kilnfolio.adopt.kinds import UnansweredError
from kilnfolio.adopt.log_columns import look
from kilnfolio.records.log import Log
from kilnfolio.records.problems import Place, Problem, RecordProblems

Say = Callable[[str], None]
FINE, OPEN = 0, 1


def import_log(arguments: argparse.Namespace, ask: Callable[[str], str] | None, say: Say) -> int:
    """Look at an export, have a person decide, write the profile, read the file with it.

    Returns
    -------
    int
        0 where it was written, 1 where something is still to be decided.

    Raises
    ------
    RecordProblems
        The file, an option or the profile cannot stand; nothing is written.
    UnansweredError
        ``--yes`` was said, and something is still to be decided.
    """
    root, file = arguments.folder, arguments.file
    if not (root / f"content/kilns/{arguments.kiln}.yaml").is_file():
        raise RecordProblems([Problem(Place("import log"), f"kiln '{arguments.kiln}'",
                                      "there is no kiln of this id",
                                      f"Begin it with 'kilnfolio new kiln {arguments.kiln}'")])
    decided = logs.Decided(arguments.id or f"{arguments.kiln}-export", missing=arguments.missing,
                           time_format=arguments.time_format, clock=arguments.clock)
    if not (arguments.column or arguments.ignore):
        known = logs.profile_that_reads(root, file, decided.identity)
        if known:
            say(f"{known[0]} reads it:")
            return _done(arguments, decided.identity, known[1], say)
    sample = look(file, file.name)
    decided.columns = dict(logs.parse_column(words, sample) for words in arguments.column)
    decided.ignored = [logs.known_heading(heading, sample) for heading in arguments.ignore]
    if arguments.yes:
        if lacking := logs.undecided(sample, decided):
            raise UnansweredError("--yes confirms what was said, and this was not: "
                                  + "; ".join(lacking))
    else:
        for line in logs.proposal(sample, decided):
            say(line)
        if ask is None:
            words = ["kilnfolio", "import", "log", str(file), str(root), "--kiln", arguments.kiln]
            words += ["--id", arguments.id] if arguments.id else []
            words += ["--charge", arguments.charge] if arguments.charge else []
            say("nothing was written; if this is right, confirm it (fill in every …):")
            say(f"  {logs.command(sample, decided, words)}")
            return OPEN
        logs.ask_columns(sample, decided, ask, say)
        if ask("Write this profile? [y/n]: ").strip().lower() != "y":
            say("nothing was written")
            return OPEN
    name, log = logs.write_profile(root, file, sample, decided)
    say(f"{root / name} written; by it {file.name} reads:")
    return _done(arguments, decided.identity, log, say)


def _done(arguments: argparse.Namespace, identity: str, log: Log, say: Say) -> int:
    for line in logs.log_lines(log, logs.zone_of(arguments.folder)):
        say(f"  {line}")
    if arguments.charge:
        say(f"{logs.attach(arguments.folder, arguments.file, identity, arguments.charge)} "
            "lies beside the charge, which names it now")
    say(f"next: kilnfolio check {arguments.folder}")
    return FINE
