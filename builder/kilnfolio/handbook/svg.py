"""The mill's drawings, checked before they go into a page.

An inline SVG is part of the page: its scripts would run and its addresses would be fetched. Only
elements and attributes that a drawing needs are allowed; colours come from the style sheet.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from xml.parsers import expat

from kilnfolio.records.problems import Place, Problem
from kilnfolio.runtime.files import read_text


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


_ELEMENTS = _set(
    "svg g defs title desc path line polyline polygon rect circle ellipse text tspan "
    "marker use symbol pattern clipPath"
)
_ATTRIBUTES = _set(
    "xmlns viewBox role aria-labelledby aria-label aria-hidden id class d x y x1 y1 x2 "
    "y2 cx cy r rx ry width height points transform text-anchor dominant-baseline dx dy "
    "rotate textLength marker-start marker-mid marker-end markerWidth markerHeight "
    "markerUnits orient refX refY href preserveAspectRatio lengthAdjust clip-path "
    "patternUnits opacity xml:space font-weight font-style focusable"
)
_INSIDE = re.compile(r'\b(id|href|aria-labelledby|clip-path|marker-\w+)="([^"]*)"')


def read_drawing(path: Path, shown_as: str, prefix: str) -> tuple[str, list[Problem]]:
    """Return a drawing to embed in a page, with its ids prefixed.

    Parameters
    ----------
    path : Path
        The SVG file.
    shown_as : str
        Its name in messages.
    prefix : str
        Put before every id, so that a page can hold several drawings.

    Returns
    -------
    tuple of str and list of Problem
        The markup, empty if anything is refused.
    """
    try:
        text = read_text(path)
    except (OSError, UnicodeDecodeError) as error:
        return "", [Problem(Place(shown_as), "the drawing cannot be read", str(error))]
    return embedded(text, shown_as, prefix)


def embedded(text: str, shown_as: str, prefix: str) -> tuple[str, list[Problem]]:
    """Return an SVG as `read_drawing` does, from its text."""
    problems = check_drawing(text, shown_as)
    if problems:
        return "", problems
    text = re.sub(r"<\?xml.*?\?>|<!--.*?-->", "", text, flags=re.DOTALL).strip()
    return _INSIDE.sub(lambda match: f'{match[1]}="{_own(match[1], match[2], prefix)}"', text), []


def check_drawing(text: str, shown_as: str) -> list[Problem]:
    """Return the problems of a drawing, each with its line."""
    problems: list[Problem] = []
    parser = expat.ParserCreate()
    seen: set[str] = set()

    def here() -> Place:
        return Place(shown_as, parser.CurrentLineNumber, parser.CurrentColumnNumber + 1)

    def start(name: str, attributes: dict[str, str]) -> None:
        seen.add(name)
        problems.extend(_problems_of_element(here(), name, attributes))

    def declared(*_: object) -> None:
        problems.append(Problem(here(), "a document type", "drawings declare none", "Remove it"))

    parser.StartElementHandler = start
    parser.StartDoctypeDeclHandler = declared
    try:
        parser.Parse(text, True)
    except expat.ExpatError as error:
        return [
            Problem(
                Place(shown_as, error.lineno, error.offset + 1),
                "this is not SVG",
                expat.ErrorString(error.code),
            )
        ]
    if "svg" not in seen:
        problems.append(Problem(Place(shown_as), "this is not SVG", "its root must be <svg>"))
    if "title" not in seen or "desc" not in seen:
        problems.append(
            Problem(
                Place(shown_as),
                "the drawing has no <title> or no <desc>",
                "a screen reader needs both",
                "Add them inside <svg>",
            )
        )
    return problems


def _problems_of_element(place: Place, name: str, attributes: dict[str, str]) -> Iterator[Problem]:
    if name not in _ELEMENTS:
        yield Problem(
            place,
            f"the element <{name}>",
            "a drawing may not hold it",
            "Draw with lines, shapes and text",
        )
    for key, value in attributes.items():
        if key not in _ATTRIBUTES:
            yield Problem(
                place,
                f'the attribute {key}="{value[:40]}"',
                "a drawing takes its looks from the style sheet",
                "Use a class, such as ink, wood, air or label",
            )
        elif (key == "href" and not value.startswith("#")) or (
            "url(" in value and not re.fullmatch(r"url\(#[\w-]+\)", value)
        ):
            yield Problem(
                place,
                f"the address '{value[:60]}'",
                "a drawing points at nothing outside itself",
                "Remove it",
            )


def _own(attribute: str, value: str, prefix: str) -> str:
    if attribute in ("id", "aria-labelledby"):
        return " ".join(f"{prefix}-{name}" for name in value.split())
    return re.sub(r"#([\w-]+)", rf"#{prefix}-\1", value)
