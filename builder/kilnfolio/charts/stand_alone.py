"""Drawings that keep their appearance when saved without the page's style sheet.

Each part gets its class's light style as presentation attributes. Style sheets take precedence over
these, so nothing changes within the page, in dark mode or in print.

References
----------
.. [1] W3C, Scalable Vector Graphics (SVG) 2, section 6.6, Presentation attributes.
"""

from __future__ import annotations

import re
from functools import lru_cache

from markupsafe import Markup, escape

from kilnfolio.charts.paper import drawing_rules

_RULE = re.compile(r"([^{}]+)\{([^{}]+)\}")
_PART = re.compile(r'<(text|path|rect|circle|line|g)\b([^>]*?)\bclass="([\w -]+)"([^>]*)')
_ATTRIBUTES = (
    "fill",
    "stroke",
    "stroke-width",
    "stroke-dasharray",
    "stroke-linecap",
    "stroke-linejoin",
    "font-family",
    "font-size",
    "font-weight",
    "opacity",
    "pointer-events",
)
_WRITTEN = tuple((name, f' {name}="') for name in _ATTRIBUTES)


def stand_alone(drawing: Markup) -> Markup:
    """Return a drawing whose parts carry their styles as presentation attributes [1]_."""
    return Markup(_PART.sub(_dressed, drawing))


def _dressed(match: re.Match[str]) -> str:
    tag, before, classes, after = match.groups()
    rest = before + after
    own = tuple([name for name, written in _WRITTEN if written in rest])
    return f'<{tag}{before}class="{classes}"{_attributes(tag, classes, own)}{after}'


@lru_cache(maxsize=1024)
def _attributes(tag: str, classes: str, own: tuple[str, ...]) -> str:
    """Return the styles of an element's classes as attributes, without those of its own."""
    looks: dict[str, str] = {}
    for wanted in ((tag, ""), *(("", name) for name in classes.split())):
        looks |= _looks().get(wanted, {})
    for name in classes.split():
        looks |= _looks().get((tag, name), {})
    return "".join(
        f' {name}="{escape(value)}"' for name, value in sorted(looks.items()) if name not in own
    )


@lru_cache(maxsize=1)
def _looks() -> dict[tuple[str, str], dict[str, str]]:
    """Return the style attributes by element and class, "" standing for none."""
    found: dict[tuple[str, str], dict[str, str]] = {}
    for selectors, body in _RULE.findall(drawing_rules()):
        pairs = (part.partition(":") for part in body.split(";") if ":" in part)
        looks = {
            name.strip(): value.strip() for name, _, value in pairs if name.strip() in _ATTRIBUTES
        }
        for selector in selectors.split(","):
            simple = re.fullmatch(r"(\w*)(?:\.([\w-]+))?", selector.strip())
            if simple:
                found.setdefault((simple[1], simple[2] or ""), {}).update(looks)
    return found
