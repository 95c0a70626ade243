"""Dates and identifiers in running text, kept on one line.

Browsers break a line behind a hyphen, so that 2026-03-08 or HB-26-040 would end one line and begin the
next. A hyphen that does not break is another character, which nobody could search for or paste; so
each stands in an element that the style sheet keeps whole.
"""

from __future__ import annotations

import re

#: A date of ISO 8601, or letters followed by numbers, each behind a hyphen.
_WHOLE = re.compile(r"\b(?:\d{4}-\d\d-\d\d|[A-Z][A-Z\d]*(?:-[A-Z\d]+)*(?:-\d+)+)\b(?![\w/])")
#: What each of them contains, which is looked for first: most of a page has none.
_HYPHEN = re.compile(r"-\d")
#: Elements that never break, whose text is no running text, or may break anywhere.
_OTHER = re.compile(
    r"<(?:code|desc|option|pre|script|style|text|textarea|time|title|tspan)\b|<a class=\"whole\""
)


def unbroken(page: str) -> str:
    """Return a page whose dates and identifiers are kept on one line."""
    parts, done, here = [], 0, 0
    while found := _HYPHEN.search(page, here):
        tag = page.rfind("<", 0, found.start())
        text, other = page.find(">", tag, found.start()) + 1, _OTHER.match(page, tag)
        # within a tag: on after it; the path of a drawing holds hundreds of hyphens, a time has its date twice
        end = page.find("<" if text or other else ">", found.end())
        here = len(page) if end < 0 else end
        if not text or other:
            continue
        for whole in _WHOLE.finditer(page, text, here):
            if page[whole.start() - 1] != "/":
                parts += [page[done : whole.start()], '<span class="whole">', whole[0], "</span>"]
                done = whole.end()
    return "".join([*parts, page[done:]])
