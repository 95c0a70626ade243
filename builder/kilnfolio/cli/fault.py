"""What a command prints when the program itself fails: that the fault is ours, and what to send.

A traceback means nothing to a mill but everything to a developer. So it goes into a file, and the
terminal gets three lines.
"""

from __future__ import annotations

import os
import platform
import sys
import tempfile
import traceback
from pathlib import Path

from kilnfolio import __version__


def tell_fault(error: Exception, argv: list[str]) -> None:
    """Report that the program failed, and write what its developers need into a file.

    Parameters
    ----------
    error : Exception
        The unexpected error.
    argv : list of str
        The words of the command.
    """
    what = f"{type(error).__name__}: {' '.join(str(error).split())[:200]}".rstrip(": ")
    print(f"kilnfolio: this is our fault, not yours: {what} ({_where(error)})", file=sys.stderr)
    print(
        "kilnfolio: no record and no page was left half-written. What a line above says was "
        "written is written; nothing else is",
        file=sys.stderr,
    )
    if file := _written(error, argv):
        print(
            f"kilnfolio: please send {file} to whoever looks after kilnfolio for you, with what "
            "you were doing. Read it first: it can quote a line of your records",
            file=sys.stderr,
        )
    else:
        print(
            "kilnfolio: please send these lines to whoever looks after kilnfolio for you, with "
            f"your command and the version, {__version__}",
            file=sys.stderr,
        )


def _where(error: Exception) -> str:
    """Return the innermost place in the package that the error passed through."""
    package = Path(__file__).parents[1]
    frames = [
        frame
        for frame in traceback.extract_tb(error.__traceback__)
        if Path(frame.filename).is_relative_to(package)
    ]
    if not frames:
        return "kilnfolio"
    last = frames[-1]
    return f"{Path(last.filename).relative_to(package).as_posix()}:{last.lineno}"


def _written(error: Exception, argv: list[str]) -> Path | None:
    """Write a report that only this person can read; return None if no file can be written."""
    lines = [
        f"kilnfolio {__version__}",
        f"Python {platform.python_version()}, {platform.platform()}",
        f"command: {' '.join(['kilnfolio', *argv])}",
        "",
        *traceback.format_exception(error),
    ]
    try:
        handle, name = tempfile.mkstemp(prefix="kilnfolio-fault-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write("\n".join(lines))
    except OSError:
        return None
    return Path(name)
