"""Drawings for PDFs, with the style sheet's rules embedded in each.

Browsers apply the page's style sheet to an inline SVG; WeasyPrint applies only the SVG's own. The
rules of ``charts.css`` and ``drawings.css`` that it uses are embedded, with the light colours of
``tokens.css`` filled in: to read all of them for each drawing took a quarter of a lot's PDF.
"""

from __future__ import annotations

import re
from functools import lru_cache
from importlib import resources

_RULE = re.compile(r"svg ([^{}]+)\{([^{}]+)\}")
_VARIABLE = re.compile(r"(--[\w-]+)\s*:\s*([^;]+);")
_USE = re.compile(r"var\((--[\w-]+)\)")


_DRAWING = re.compile(r"<svg\b[^>]*>|</svg>")
_CLASSES = re.compile(r'\bclass="([^"]*)"')
_CLASS = re.compile(r"\.([A-Za-z][\w-]*)")
#: What a selector excludes; a drawing without such a class may use its rule.
_EXCEPT = re.compile(r":not\([^)]*\)")
#: A shape that is pointed at for a value; nobody sees it on paper.
_STOP = re.compile(r'<rect class="stop"[^>]*/>')
_SCREEN = re.compile(r"@media screen[^{]*\{(?:[^{}]*\{[^{}]*\})*\s*\}")
_IMPORT = re.compile(r'@import url\("([\w.-]+)"\);')


def asset(name: str) -> str:
    """Return a style sheet of the assets folder without comments."""
    css = (resources.files("kilnfolio.site") / "assets" / name).read_text("utf-8")
    return re.sub(r"/\*.*?\*/", "", css, flags=re.DOTALL)


@lru_cache(maxsize=1)
def _values() -> dict[str, str]:
    """Return the variables of ``tokens.css`` with their values, colours in light."""
    # a drawing uses the first font named; the inline fonts are for pages opened from a folder
    tokens = re.sub(r'"[^"]* at hand", ', "", _SCREEN.sub("", asset("tokens.css")))
    root = tokens.index(":root")
    return dict(_VARIABLE.findall(tokens[root : tokens.index("}", root)]))


def filled(css: str) -> str:
    """Return rules with the values of variables filled in."""
    while _USE.search(css):
        css = _USE.sub(lambda match: _values()[match[1]].strip(), css)
    return css


@lru_cache(maxsize=1)
def _rules() -> tuple[tuple[str, str], ...]:
    """Return each rule for drawings, its selectors and its declarations."""
    css = asset("charts.css") + asset("drawings.css")
    return tuple(
        (selector.strip().replace("svg ", ""), filled(body.strip()))
        for selector, body in _RULE.findall(css)
    )


def drawing_rules() -> str:
    """Return the style sheet's rules for drawings, with every variable filled in."""
    return "".join(f"{selector}{{{body}}}" for selector, body in _rules())


@lru_cache(maxsize=64)
def _style(classes: frozenset[str]) -> str:
    """Return the rules that a drawing with these classes can use, as an element."""
    used = [
        f"{selector}{{{body}}}"
        for selector, body in _rules()
        if any(
            classes.issuperset(_CLASS.findall(one)) for one in _EXCEPT.sub("", selector).split(",")
        )
    ]
    return f"<style>{''.join(used)}</style>"


def paper_sheet(name: str) -> str:
    """Return a style sheet for paper with its imports, without rules for screens."""
    css = _IMPORT.sub(lambda match: asset(match[1]), asset(name))
    return _SCREEN.sub("", css)


def for_paper(html: str) -> str:
    """Return HTML with each drawing's rules embedded in it, and without what only a pointer finds."""
    html = _STOP.sub("", html)
    parts: list[str] = []
    outer: list[str] = []
    depth = begin = done = 0
    for tag in _DRAWING.finditer(html):
        if tag[0].startswith("</"):
            depth -= 1
            if depth == 0:
                classes = [*outer, *_CLASSES.findall(html, begin, tag.start())]
                parts += [html[done:begin], _style(frozenset(" ".join(classes).split()))]
                done = begin
            continue
        if depth == 0:
            begin = tag.end()
            outer = _CLASSES.findall(tag[0])
        depth += 1
    return "".join([*parts, html[done:]])
