"""The mill folder that a command uses by default."""

from __future__ import annotations

from pathlib import Path


def this_mill() -> Path:
    """Return the mill folder that is or contains the current folder; else the current folder."""
    here = Path.cwd()
    for steps, folder in enumerate((here, *here.parents)):
        if (folder / "content/mill.yaml").is_file():
            return Path(*[".."] * steps)
    return Path()
