"""The version of the code that determines the bytes of a site: this package and its libraries."""

from __future__ import annotations

import importlib.util
import os
from pathlib import Path

#: The rooms whose code determines a review's findings; the archive supplies the sealed reviews.
_REVIEWING = ("graph", "physics", "records", "review", "archive", "__init__.py")
#: Libraries whose version can change what is computed or written.
_COMPUTING = ("numpy", "openpyxl", "pandas", "pydantic", "PyYAML", "scipy", "tzdata")
_WRITING = (
    "fonttools",
    "jinja2",
    "markdown",
    "markupsafe",
    "pillow",
    "pydyf",
    "pyphen",
    "rfc8785",
    "tinycss2",
    "weasyprint",
    "zxing-cpp",
)

HOME = Path(__file__).parents[1]


def _code_files() -> dict[str, os.stat_result]:
    """Return the state of each file of this package, by its path below `HOME`."""
    found, waiting = {}, [""]
    while waiting:
        folder = waiting.pop()
        with os.scandir(HOME / folder) as entries:
            for entry in entries:
                if entry.is_dir():
                    if entry.name != "__pycache__":
                        waiting.append(f"{folder}{entry.name}/")
                elif not entry.name.endswith(".pyc"):
                    found[f"{folder}{entry.name}"] = entry.stat()
    return dict(sorted(found.items()))


CodeStamps = tuple[tuple[str, int, int], ...]


def code_stamps() -> CodeStamps:
    """Return path, modification time and size of each file of this package and of its libraries."""
    spec = importlib.util.find_spec("weasyprint")
    states = {f"{HOME}/{name}": state for name, state in _code_files().items()}
    if spec and spec.origin:
        libraries = Path(spec.origin).parents[1]
        states[str(libraries)] = libraries.stat()
    return tuple((name, state.st_mtime_ns, state.st_size) for name, state in states.items())


def code_digests() -> dict[str, bytes]:
    """Return digests of the code that reads and reviews records, and of all the code."""
    import hashlib  # not needed for stamps, and loads OpenSSL
    from importlib.metadata import version

    every, reviewing = hashlib.sha256(), hashlib.sha256()
    for name in _code_files():
        data = hashlib.sha256(name.encode() + b"\0" + (HOME / name).read_bytes()).digest()
        every.update(data)
        if name.partition("/")[0] in _REVIEWING:
            reviewing.update(data)
    for library in _COMPUTING:
        reviewing.update(f"{library} {version(library)}\0".encode())
    every.update(reviewing.digest())
    for library in _WRITING:
        every.update(f"{library} {version(library)}\0".encode())
    return {"review": reviewing.digest(), "all": every.digest()}
