"""The command ``import log``."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from pathlib import Path

from kilnfolio.adopt import logs
from kilnfolio.adopt.kinds import UnansweredError
from kilnfolio.adopt.log_columns import look
from kilnfolio.records.log import Log, join_logs, read_log
from kilnfolio.records.problems import Place, Problem, RecordProblems

Say = Callable[[str], None]
FINE, OPEN = 0, 1


def import_log(arguments: argparse.Namespace, ask: Callable[[str], str] | None, say: Say) -> int:
    """Inspect exports, let a person decide, write the profile, and read the files with it.

    The first file determines the profile; the others, as from a logger that begins a new file at
    midnight, must match it.

    Returns
    -------
    int
        0 if the profile was written, 1 if something is still undecided.

    Raises
    ------
    RecordProblems
        A file, an option or the profile is not valid; nothing is written.
    UnansweredError
        ``--yes`` was given, but something is still undecided.
    """
    root, files = arguments.folder, export_files(arguments.files)
    if not (root / f"content/kilns/{arguments.kiln}.yaml").is_file():
        raise RecordProblems(
            [
                Problem(
                    Place("import log"),
                    f"kiln '{arguments.kiln}'",
                    "there is no kiln of this id",
                    f"Begin it with 'kilnfolio new kiln {arguments.kiln}'",
                )
            ]
        )
    decided = logs.Decided(
        arguments.id or f"{arguments.kiln}-export",
        missing=arguments.missing,
        time_format=arguments.time_format,
        clock=arguments.clock,
        repeated_hour=arguments.repeated_hour and arguments.repeated_hour.replace("-", " "),
        skipped_rows=arguments.skip_rows,
    )
    if not (arguments.column or arguments.ignore):
        known = logs.profile_that_reads(root, files, decided)
        if known:
            say(f"{known[0]} reads it:")
            return _done(arguments, files, decided.identity, known[1], say)
    sample = look(files[0], files[0].name, decided.skipped_rows, decided.time_format)
    decided.columns = dict(logs.parse_column(words, sample) for words in arguments.column)
    decided.ignored = [logs.known_heading(heading, sample) for heading in arguments.ignore]
    if arguments.yes:
        if lacking := logs.undecided(sample, decided):
            raise UnansweredError(
                "--yes confirms what was given, but this is missing: " + "; ".join(lacking)
            )
    else:
        for line in logs.proposal(sample, decided):
            say(line)
        if ask is None:
            words = [
                "kilnfolio",
                "import",
                "log",
                *map(str, files),
                str(root),
                "--kiln",
                arguments.kiln,
            ]
            words += ["--id", arguments.id] if arguments.id else []
            words += ["--charge", arguments.charge] if arguments.charge else []
            say("nothing was written; if this is right, confirm it (fill in every …):")
            say(f"  {logs.command(sample, decided, words)}")
            return OPEN
        logs.ask_columns(sample, decided, ask, say)
        if ask("Write this profile? [y/n]: ").strip().lower() != "y":
            say("nothing was written")
            return OPEN
    name, log = logs.write_profile(root, files[0], sample, decided)
    say(f"{root / name} written; with it, {files[0].name} reads:")
    return _done(arguments, files, decided.identity, log, say)


def export_files(named: Sequence[Path]) -> list[Path]:
    """Return the exports named by files, folders and patterns such as ``logs/*.csv``, in order.

    Raises
    ------
    RecordProblems
        A pattern or folder matches none.
    """
    found: list[Path] = []
    for path in named:
        if path.is_dir():
            those = sorted(
                one
                for one in path.iterdir()
                if one.is_file() and one.suffix.lower() in (".csv", ".txt", ".log")
            )
        elif not path.exists() and set(path.name) & set("*?["):
            those = sorted(path.parent.glob(path.name))
        else:
            those = [path]
        if not those:
            raise RecordProblems(
                [
                    Problem(
                        Place("import log"),
                        f"'{path}'",
                        "there is no export of this name",
                        "Name the file, its folder, or a pattern such as 'logs/*.csv'",
                    )
                ]
            )
        found += those
    return list(dict.fromkeys(found))


def _done(
    arguments: argparse.Namespace, files: Sequence[Path], identity: str, first: Log, say: Say
) -> int:
    root, zone = arguments.folder, logs.zone_of(arguments.folder)
    profile = logs.profile_of(root, identity)
    read = [first, *(read_log(file, file.name, profile, zone) for file in files[1:])]
    log = join_logs(read) if len(read) > 1 else first
    if len(read) > 1:
        say(f"  {len(read)} files, {files[0].name} to {files[-1].name}")
    for line in logs.log_lines(log, profile, zone):
        say(f"  {line}")
    for file in files if arguments.charge else ():
        say(logs.attach(root, file, identity, arguments.charge))
    say(f"next: kilnfolio check {root}")
    return FINE
