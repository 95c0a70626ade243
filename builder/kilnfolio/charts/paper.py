"""Drawings for PDFs, with the style sheet's rules embedded in each.

Browsers apply the page's style sheet to an inline SVG; WeasyPrint applies only the SVG's own. The
rules of ``charts.css`` and ``drawings.css`` are embedded, with the light colours of ``tokens.css``
filled in.
"""

from __future__ import annotations

import re
from functools import lru_cache
from importlib import resources

_RULE = re.compile(r"svg ([^{}]+)\{([^{}]+)\}")
_VARIABLE = re.compile(r"(--[\w-]+)\s*:\s*([^;]+);")
_USE = re.compile(r"var\((--[\w-]+)\)")


_SCREEN = re.compile(r"@media screen[^{]*\{(?:[^{}]*\{[^{}]*\})*\s*\}")
_IMPORT = re.compile(r'@import url\("([\w.-]+)"\);')


def asset(name: str) -> str:
    """Return a style sheet of the assets folder without comments."""
    css = (resources.files("kilnfolio.site") / "assets" / name).read_text("utf-8")
    return re.sub(r"/\*.*?\*/", "", css, flags=re.DOTALL)


@lru_cache(maxsize=1)
def drawing_rules() -> str:
    """Return the style sheet's rules for drawings, with every variable filled in."""
    # a drawing uses the first font named; the inline fonts are for pages opened from a folder
    tokens = re.sub(r'"[^"]* at hand", ', "", _SCREEN.sub("", asset("tokens.css")))
    root = tokens.index(":root")
    values = dict(_VARIABLE.findall(tokens[root : tokens.index("}", root)]))
    css = asset("charts.css") + asset("drawings.css")
    rules = [
        f"{selector.strip().replace('svg ', '')}{{{body.strip()}}}"
        for selector, body in _RULE.findall(css)
    ]
    text = "".join(rules)
    while _USE.search(text):
        text = _USE.sub(lambda match: values[match[1]].strip(), text)
    return text


def paper_sheet(name: str) -> str:
    """Return a style sheet for paper with its imports, without rules for screens."""
    css = _IMPORT.sub(lambda match: asset(match[1]), asset(name))
    return _SCREEN.sub("", css)


def for_paper(html: str) -> str:
    """Return HTML with the rules embedded in each drawing."""
    style = f"<style>{drawing_rules()}</style>"
    return re.sub(r"(<svg\b[^>]*>)", lambda match: match[1] + style, html)
