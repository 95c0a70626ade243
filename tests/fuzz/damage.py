"""Damage as it happens: bytes lost, doubled, swapped or overwritten, and words out of place.

Hypothesis draws the damage, so a case that fails shrinks to the smallest damage that still does.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence

from hypothesis import strategies as st


def _bytes(*words: str) -> tuple[bytes, ...]:
    return tuple(word.encode() for word in words)


#: Words that readers of text have stumbled over, here or elsewhere.
WORDS = (
    b"\xff",
    b"\xfe\xff",
    b"\xc3\x28",
    *_bytes(
        "",
        "\x00",
        "\ufeff",
        "\u2028",
        "\x85",
        "\r",
        "\n\n",
        "\t",
        "…",
        "°",
        "m³",
        "½",
        "−",
        "'",
        '"',
        "`",
        "=1+1",
        "nan",
        "NaN",
        "inf",
        "-inf",
        "1e999",
        "-0",
        "0",
        "9" * 400,
        "1e-400",
        "0x1F",
        "1_000",
        "1,5",
        "1.5.5",
        "--5",
        "12 %",
        "110 °F",
        "4/4",
        "2026-02-30",
        "2026-06-02T25:61",
        "0000-00-00",
        "9999-12-31T23:59",
        "10000-01-01",
        "null",
        "true",
        "no",
        "~",
        "{",
        "}",
        "[",
        "]",
        "(",
        ")",
        "<b>",
        "&amp;",
        "{{7*7}}",
        "${x}",
        "../../etc/passwd",
        "/etc/passwd",
        "file:///etc/passwd",
        "C:\\con",
        "a" * 5_000,
        "é" * 300,
        "\U0001f4a9",
        "\u202e",
    ),
)
YAML = _bytes(
    ": ",
    ":",
    "- ",
    "? ",
    "---\n",
    "...\n",
    "&a ",
    "*a",
    "!!python/object:os.system ",
    "!x ",
    "<<: ",
    "|\n",
    ">\n",
    "# ",
    "@",
    "%",
    ",",
    "[[[[[[[[",
    "{a: {a: {a: ",
    "'''",
    "\n  ",
    "\n- x\n",
)
TABLE = _bytes(",", ";", "\t", "|", '"', '""', '","', ";;;;;;;;", "\n,\n")
XML = _bytes(
    "<",
    ">",
    "/>",
    "&a;",
    "&#0;",
    "&#x110000;",
    "<!DOCTYPE a [<!ENTITY a 'b'>]>",
    "<![CDATA[",
    "]]>",
    "<!--",
    'r="A0"',
    'r="XFD1048576"',
    't="s"',
    't="d"',
    't="b"',
    't="e"',
    's="99999"',
    "<f>A1</f>",
    "<f t='shared' si='0'/>",
    "<v>1e999</v>",
    "<v></v>",
    "<mergeCell ref='A1:XFD9'/>",
    "xmlns=''",
)
JSON = _bytes(
    "{}", "[]", ",", ":", "null", '"', "\\u0000", "\\ud800", "1e999", "[[[[[[[[[[[[", "-", "NaN"
)


@st.composite
def damaged(draw: st.DrawFn, samples: Sequence[bytes], words: Sequence[bytes]) -> bytes:
    """Draw one of the samples, with one to five places damaged."""
    data = draw(st.sampled_from(samples))
    for _ in range(draw(st.integers(1, 5))):
        at = draw(st.integers(0, len(data)))
        size = draw(st.one_of(st.integers(0, 8), st.integers(0, max(len(data) // 2, 1))))
        kind = draw(st.sampled_from(["put", "over", "lose", "double", "flip", "swap", "end"]))
        if kind in ("put", "over"):
            word = draw(st.one_of(st.sampled_from([*words, *WORDS]), st.binary(max_size=8)))
            data = data[:at] + word + data[at + (len(word) if kind == "over" else 0) :]
        elif kind == "lose":
            data = data[:at] + data[at + size :]
        elif kind == "double":
            data = data[: at + size] + data[at:]
        elif kind == "flip":
            bit = draw(st.integers(0, 7))
            data = (
                data[:at] + bytes(byte ^ (1 << bit) for byte in data[at : at + 1]) + data[at + 1 :]
            )
        elif kind == "swap":
            data = (
                data[:at]
                + data[at + size : at + 2 * size]
                + data[at : at + size]
                + data[at + 2 * size :]
            )
        else:
            data = data[:at]
    return data


@st.composite
def damaged_zip(draw: st.DrawFn, samples: Sequence[bytes]) -> bytes:
    """Draw a zip with a part damaged before it was packed, or its packed bytes damaged."""
    data = draw(st.sampled_from(samples))
    if draw(st.integers(0, 4)) == 0:
        return draw(damaged([data], ()))
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    for name in draw(st.lists(st.sampled_from(sorted(parts)), min_size=1, max_size=2)):
        if draw(st.integers(0, 9)) == 0:
            parts.pop(name, None)
        elif name in parts:
            parts[name] = draw(damaged([parts[name]], XML))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as packed:
        for name, content in parts.items():
            packed.writestr(name, content)
    return out.getvalue()
