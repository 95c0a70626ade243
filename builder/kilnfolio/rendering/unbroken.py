"""Dates and identifiers in running text, kept on one line.

Browsers break a line behind a hyphen, so that 2026-03-08 or HB-26-040 would end one line and begin the
next. A hyphen that does not break is another character, which nobody could search for or paste; so
each stands in an element that the style sheet keeps whole.
"""

from __future__ import annotations

import re

#: A date of ISO 8601, or letters followed by numbers, each behind a hyphen.
_WHOLE = re.compile(r"\b(?:\d{4}-\d\d-\d\d|[A-Z][A-Z\d]*(?:-[A-Z\d]+)*(?:-\d+)+)\b(?![\w/])")
#: Elements that never break, whose text is no running text, or may break anywhere.
_OTHER = re.compile(
    r"<(?:code|desc|option|pre|script|style|text|textarea|time|title|tspan)\b|<a class=\"whole\""
)


def unbroken(page: str) -> str:
    """Return a page whose dates and identifiers are kept on one line."""
    parts, done = [], 0
    for found in _WHOLE.finditer(page):
        start = found.start()
        tag = page.rfind("<", 0, start)
        in_tag = page.find(">", tag, start) < 0
        if in_tag or page[start - 1] == "/" or _OTHER.match(page, tag):
            continue
        parts += [page[done:start], '<span class="whole">', found[0], "</span>"]
        done = found.end()
    return "".join([*parts, page[done:]])
