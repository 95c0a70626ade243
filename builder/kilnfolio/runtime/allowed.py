"""Which code of a mill's own may run on this computer, by its digest.

A mill folder may hold Python code. It comes from wherever the folder comes from, so it runs only
after somebody on this computer has read it and said so. What is allowed is the code itself, by its
SHA-256, not the folder: one changed byte, and it must be allowed again.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

from kilnfolio.runtime.files import read_text, write_whole

#: Digests of allowed code, for machines where nobody answers questions, as in a build server.
VARIABLE = "KILNFOLIO_ALLOW_CODE"
_DIGEST = re.compile(r"[0-9a-f]{64}")
_HEAD = (
    "# Code of mills that may run on this computer, by its SHA-256. Written by 'kilnfolio allow'.\n"
)


def allowed_file() -> Path:
    """Return the file that lists what this user allows."""
    home = os.environ.get("XDG_CONFIG_HOME", "")
    base = Path(home) if home.startswith("/") else Path.home() / ".config"
    return base / "kilnfolio/allowed-code.txt"


def allowed_code() -> tuple[str, ...]:
    """Return the digests of all allowed code, sorted."""
    try:
        listed = read_text(allowed_file())
    except (OSError, RuntimeError, ValueError):  # no such file, no home folder, no text
        listed = ""
    return tuple(sorted({*_DIGEST.findall(listed), *_DIGEST.findall(_given())}))


def _given() -> str:
    return os.environ.get(VARIABLE, "")


def allow(digest: str, folder: Path) -> None:
    """Allow code from now on.

    Parameters
    ----------
    digest : str
        Its SHA-256.
    folder : Path
        The mill folder it was read in, noted beside it.
    """
    path = allowed_file()
    text = read_text(path) if path.exists() else _HEAD
    path.parent.mkdir(parents=True, exist_ok=True)
    note = " ".join(str(folder).split())
    write_whole(path, f"{text}{digest}  {note}\n".encode())
