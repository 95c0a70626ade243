"""The mill folder a command means when none is named."""

from __future__ import annotations

from pathlib import Path


def this_mill() -> Path:
    """Return the mill folder that the current folder is or lies in; else the current folder."""
    here = Path.cwd()
    for steps, folder in enumerate((here, *here.parents)):
        if (folder / "content/mill.yaml").is_file():
            return Path(*[".."] * steps)
    return Path()
