"""What decides the bytes of a site beside the mill's files: this package and what it stands on."""

from __future__ import annotations

import hashlib
import importlib.util
from pathlib import Path

#: The rooms whose code decides what a review says.
_REVIEWING = ("physics", "records", "review", "__init__.py")
#: Libraries whose version may be seen in what is computed, and in what is written.
_COMPUTING = ("numpy", "openpyxl", "pandas", "pydantic", "PyYAML", "scipy", "tzdata")
_WRITING = ("fonttools", "jinja2", "markdown", "markupsafe", "pillow", "pydyf", "pyphen",
            "rfc8785", "tinycss2", "weasyprint", "zxing-cpp")

HOME = Path(__file__).parents[1]


def _code_files() -> list[Path]:
    return sorted(path for path in HOME.rglob("*") if path.is_file() and path.suffix != ".pyc")


def code_stamps() -> tuple[tuple[str, int, int], ...]:
    """Return when each file of this package was saved, and its size; and when a library changed."""
    spec = importlib.util.find_spec("weasyprint")
    shelf = [Path(spec.origin).parents[1]] if spec and spec.origin else []
    return tuple((str(path), state.st_mtime_ns, state.st_size)
                 for path in [*_code_files(), *shelf] for state in [path.stat()])


def code_digests() -> dict[str, bytes]:
    """Return the digest of the code that reads and reviews, and of all of it."""
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
