"""A command given in this process: a second and more less than in one of its own."""

from __future__ import annotations

import contextlib
import io
import subprocess
from pathlib import Path

from kilnfolio.cli import main


def given(*words: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Give a command; return its exit code and what it printed.

    Parameters
    ----------
    *words : object
        The command, without ``kilnfolio``.
    cwd : Path, optional
        The folder it is given in.
    """
    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.chdir(cwd or Path.cwd()),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            code = main([str(word) for word in words])
        except SystemExit as end:  # usage, --help and --version
            code = int(end.code or 0)
    return subprocess.CompletedProcess(words, code, out.getvalue(), err.getvalue())
