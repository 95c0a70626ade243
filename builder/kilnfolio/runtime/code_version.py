"""The version of the code that determines the bytes of a site: this package and its libraries."""

from __future__ import annotations

import hashlib
import importlib.util
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


def _code_files() -> list[Path]:
    return sorted(path for path in HOME.rglob("*") if path.is_file() and path.suffix != ".pyc")


CodeStamps = tuple[tuple[str, int, int], ...]


def code_stamps() -> CodeStamps:
    """Return path, modification time and size of each file of this package and of its libraries."""
    spec = importlib.util.find_spec("weasyprint")
    libraries = [Path(spec.origin).parents[1]] if spec and spec.origin else []
    return tuple(
        (str(path), state.st_mtime_ns, state.st_size)
        for path in [*_code_files(), *libraries]
        for state in [path.stat()]
    )


def code_digests() -> dict[str, bytes]:
    """Return digests of the code that reads and reviews records, and of all the code."""
    from importlib.metadata import version

    every, reviewing = hashlib.sha256(), hashlib.sha256()
    for path in _code_files():
        name = path.relative_to(HOME)
        data = hashlib.sha256(name.as_posix().encode() + b"\0" + path.read_bytes()).digest()
        every.update(data)
        if name.parts[0] in _REVIEWING:
            reviewing.update(data)
    for library in _COMPUTING:
        reviewing.update(f"{library} {version(library)}\0".encode())
    every.update(reviewing.digest())
    for library in _WRITING:
        every.update(f"{library} {version(library)}\0".encode())
    return {"review": reviewing.digest(), "all": every.digest()}
