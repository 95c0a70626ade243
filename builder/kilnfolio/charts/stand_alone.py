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
#: The head of a part: its class, which `axes` writes first, and any of these attributes that follow it.
_HEAD = re.compile(
    r'<(text|path|rect|circle|line|g) class="([\w -]+)"'
    rf'((?: (?:{"|".join(_ATTRIBUTES)})="[^"]*")*)'
)


def stand_alone(drawing: Markup) -> Markup:
    """Return a drawing whose parts carry their styles as presentation attributes [1]_."""
    return Markup(_HEAD.sub(lambda head: _DRESSED[head[0]], drawing))


class _Dressed(dict[str, str]):
    """Heads of parts with the styles of their classes, but for attributes of their own."""

    def __missing__(self, head: str) -> str:
        tag, classes, own = _HEAD.fullmatch(head).groups()  # type: ignore[union-attr]
        looks: dict[str, str] = {}
        for wanted in ((tag, ""), *(("", name) for name in classes.split())):
            looks |= _looks().get(wanted, {})
        for name in classes.split():
            looks |= _looks().get((tag, name), {})
        styles = "".join(
            f' {name}="{escape(value)}"'
            for name, value in sorted(looks.items())
            if f' {name}="' not in own
        )
        dressed = self[head] = f'<{tag} class="{classes}"{styles}{own}'
        return dressed


_DRESSED = _Dressed()


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
