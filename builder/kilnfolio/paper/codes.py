"""The QR code of a PDF, written as WeasyPrint would write it.

WeasyPrint reads the numbers of a path one by one: a fifteenth of the time of a lot's PDF. So a
document is laid out with one stroke in place of its code, and the finisher replaces that stroke.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import pydyf  # type: ignore[import-untyped]

#: The path of a code, as `site.qr` draws it, and a stroke of it.
_PATH = re.compile(r'"M(\d+) (\d+)\.5(?:m-?\d+ \d+h\d+)+"')
_STROKE = re.compile(r"m(-?\d+) (\d+)h(\d+)")
#: The stroke in its place, outside every drawing, and what WeasyPrint writes for it.
_IN_PLACE = '"M-7.77 -7.77h1"'
_WRITTEN = [b"-7.77 -7.77 m", b"-6.77 -7.77 l"]


def without_code(html: str) -> tuple[str, str]:
    """Return a document with a stroke in place of its QR code, and the code's path.

    Raises
    ------
    ValueError
        If the document has no code.
    """
    if not (path := _PATH.search(html)):
        raise ValueError("the document has no QR code")
    return html.replace(path[0], _IN_PLACE, 1), path[0]


def with_code(path: str) -> Callable[[Any, pydyf.PDF], None]:
    """Return a finisher that puts a code back into its document; see `without_code`."""

    def finish(_document: Any, pdf: pydyf.PDF) -> None:
        for one in pdf.objects:
            if isinstance(one, pydyf.Stream) and _WRITTEN[0] in one.stream:
                at = one.stream.index(_WRITTEN[0])
                assert one.stream[at : at + 2] == _WRITTEN
                one.stream[at : at + 2] = _strokes(path)
                return
        raise ValueError("the PDF has no place for its QR code")

    return finish


def _strokes(path: str) -> Iterator[bytes]:
    """Yield the strokes of a code, from the positions of their ends relative to each other."""
    begin = _PATH.fullmatch(path)
    assert begin is not None
    x, y = map(int, begin.groups())
    yield b"%d %d.5 m" % (x, y)
    for right, down, length in _STROKE.findall(path):
        x, y = x + int(right), y + int(down)
        yield b"%d %d.5 m" % (x, y)
        x += int(length)
        yield b"%d %d.5 l" % (x, y)
