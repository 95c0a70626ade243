"""Reassembles entry files from pictures of QR codes.

The kiln-side page splits an entry file into pieces (``assets/entry-codes.js``) and shows each as a
code. Every code carries its part number, the number of parts and the CRC-32 of the whole file, so
pictures may come in any order and more than once, and pieces of different files are never joined.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from kilnfolio.adopt.entry.pictures import MAX_BYTES, NoCodesError, codes_in
from kilnfolio.records.problems import Place, Problem, cannot_read
from kilnfolio.runtime.files import TooLargeError, read_whole

#: The content of a code.
_CODE = re.compile(r"KILNFOLIO1 (\d{1,2})/(\d{1,2}) ([0-9a-f]{8}) (.*)", re.DOTALL)


@dataclass
class Series:
    """The pieces of one entry file found so far, by part number."""

    parts: int
    pieces: dict[int, str] = field(default_factory=dict)

    @property
    def missing(self) -> list[int]:
        """Numbers of the parts that no picture shows."""
        return [number for number in range(1, self.parts + 1) if number not in self.pieces]


def files_in(texts: Iterable[str]) -> Iterator[tuple[str, bytes | Problem]]:
    """Assemble entry files from the texts of codes.

    Parameters
    ----------
    texts : iterable of str
        The texts of codes, in any order; duplicates and unrelated codes are allowed.

    Yields
    ------
    tuple of str and (bytes or Problem)
        A name for each entry file, and its bytes or the problem with it.
    """
    found: dict[tuple[str, int], Series] = {}
    for text in texts:
        if code := _CODE.fullmatch(text):
            part, parts = int(code[1]), int(code[2])
            if 1 <= part <= parts:
                series = found.setdefault((code[3], parts), Series(parts))
                series.pieces.setdefault(part, code[4])
    for (check, _), series in found.items():
        name = f"codes {check}"
        if series.missing:
            lacking = ", ".join(map(str, series.missing))
            yield (
                name,
                Problem(
                    Place(name),
                    f"of {series.parts} codes, {lacking} is missing"
                    if len(series.missing) == 1
                    else f"of {series.parts} codes, {lacking} are missing",
                    "no picture shows it" if len(series.missing) == 1 else "no picture shows them",
                    "Take it, and name all pictures again; nothing of this series was taken",
                ),
            )
            continue
        raw = "".join(series.pieces[part] for part in sorted(series.pieces)).encode()
        if f"{zlib.crc32(raw):08x}" == check:
            yield name, raw
        else:
            yield (
                name,
                Problem(
                    Place(name),
                    "the codes do not fit together",
                    "their checksum differs",
                    "Take the pictures again",
                ),
            )


def entry_codes(texts: Iterable[str]) -> list[str]:
    """Return the texts that are codes of a kiln-side page."""
    return [text for text in texts if _CODE.fullmatch(text)]


def texts_in(pictures: Sequence[Path]) -> Iterator[str | Problem]:
    """Yield the texts of the QR codes in pictures; a problem for a picture without any."""
    for path in pictures:
        try:
            codes = codes_in(read_whole(path, MAX_BYTES))
        except NoCodesError as error:
            yield _no_code(path, str(error))
            continue
        except TooLargeError as error:
            yield _no_code(path, f"it has {error.size:,} bytes, and at most {MAX_BYTES:,} are read")
            continue
        except OSError as error:
            yield cannot_read(path.name, error)
            continue
        said = entry_codes(codes)
        if not said:
            yield _no_code(path, "no code of a kiln-side page can be recognized in it")
        yield from said


def _no_code(path: Path, why: str) -> Problem:
    return Problem(
        Place(path.name),
        "no entries were read from this picture",
        why,
        "Fill the picture with the code, straight and sharp, and take it again",
    )


def scan(pictures: Sequence[Path]) -> tuple[list[tuple[str, bytes]], list[Problem]]:
    """Return the entry files in pictures of codes, and the problems with others."""
    seen = list(texts_in(pictures))
    problems = [one for one in seen if isinstance(one, Problem)]
    files = []
    for name, found in files_in(one for one in seen if isinstance(one, str)):
        if isinstance(found, Problem):
            problems.append(found)
        else:
            files.append((name, found))
    return files, problems
