"""The style sheet of a mill's own theme: which selectors and properties it may use.

A theme may style the mill's own blocks freely and the frame of a page a little. It cannot touch
cautions, outcomes, seals or the safety wording, nor hide, cover or move them: the selectors and
properties it may use are listed here, and everything else is refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

import tinycss2

from kilnfolio.records.problems import Place, Problem

#: Parts of every page that a theme may style.
FRAME = (
    ".masthead",
    ".brand",
    ".kicker",
    "h1",
    "h2",
    "h3",
    "h4",
    "table",
    "caption",
    "th",
    "td",
    "figure",
    "figcaption",
)
#: Colours of text and of backgrounds; every text colour is readable on every background.
INKS = ("ink", "ink-soft", "timber", "water")
GROUNDS = ("paper", "paper-raised", "paper-sunk", "timber-soft", "water-soft")
_LINES = (*INKS, *GROUNDS, "rule", "rule-strong")

_TAGS = "p|a|b|strong|i|em|small|span|div|ul|ol|li|dl|dt|dd|img|address"
_PART = rf"(?:\.own-[a-z0-9-]+|{_TAGS})(?::(?:hover|focus-visible|first-child|last-child))?"
_OWN = re.compile(rf"\.own-[a-z0-9-]+(?::(?:hover|first-child|last-child))?(?:\s*[> ]\s*{_PART})*")
_MEDIA = re.compile(r"\s*(print|screen|\((min|max)-width:\s*\d+(\.\d+)?(px|rem|em)\))\s*")


def _one(words: str) -> str:
    return rf"(?:{words})"


def _colour(names: Iterable[str]) -> str:
    return rf"var\(--(?:{'|'.join(names)})\)"


_LENGTH = r"(?:0|\d{1,2}(?:\.\d+)?(?:px|pt|mm)|[0-3](?:\.\d+)?(?:rem|em))"
_LONG = r"(?:0|auto|\d{1,3}(?:\.\d+)?(?:px|pt|mm)|\d{1,2}(?:\.\d+)?(?:rem|em)|(?:\d{1,2}|100)%)"
_BORDER = rf"(?:{_LENGTH}|none|solid|double|dashed|dotted|{_colour(_LINES)})(?:\s+(?:{_LENGTH}|none|solid|double|dashed|dotted|{_colour(_LINES)})){{0,2}}"
_SIDES = rf"{_LENGTH}(?:\s+{_LENGTH}){{0,3}}"
#: Properties that may be set for the frame, with the form of each value.
_SETTABLE = {
    r"border(-(top|right|bottom|left))?": _BORDER,
    r"border-((top|right|bottom|left)-)?color": _colour(_LINES),
    r"border-radius": _SIDES,
    r"(padding|margin)(-(top|right|bottom|left|block|inline))?": _SIDES,
    r"font-weight": _one("400|600|700|normal|bold"),
    r"font-style": _one("normal|italic"),
    r"font-family": r"var\(--font-(?:text|figures)\)",
}
#: Further properties that may be set for the mill's own blocks.
_OWN_SETTABLE = {
    **_SETTABLE,
    r"color": _colour(INKS),
    r"background(-color)?": _colour(GROUNDS),
    r"font-size": r"(?:0\.[7-9]\d*|[12](?:\.\d+)?)(?:rem|em)|(?:[7-9]|[1-3]\d)(?:\.\d+)?pt",
    r"line-height": r"[12](?:\.\d+)?",
    r"letter-spacing": r"0(?:\.[0-2]\d*em)?",
    r"text-align": _one("left|right|center|start|end|justify"),
    r"text-transform": _one("none|uppercase|capitalize"),
    r"text-decoration": _one("none|underline"),
    r"display": _one("none|block|inline|inline-block|flex|inline-flex|grid"),
    r"flex-wrap": _one("wrap|nowrap"),
    r"flex-direction": _one("row|column"),
    r"(justify|align)-(content|items)": r"[a-z-]+",
    r"((row|column)-)?gap": _SIDES,
    r"grid-template-columns": rf"(?:(?:{_LONG}|[1-9]fr|repeat\([1-9], ?[1-9]fr\))\s*)+",
    r"(max-|min-)?(width|height)": _LONG,
    r"list-style(-type)?": _one("none|disc|square|decimal"),
}


def style_problems(css: str, file: str) -> Iterator[Problem]:
    """Yield a problem for each rule that a theme's style sheet may not contain.

    Parameters
    ----------
    css : str
        The style sheet.
    file : str
        Its path from the root of the mill folder.
    """
    rules = tinycss2.parse_stylesheet(css, skip_comments=True, skip_whitespace=True)
    yield from _rules(rules, file, nested=False)


def _rules(rules: Iterable[Any], file: str, *, nested: bool) -> Iterator[Problem]:
    for rule in rules:
        place = Place(file, rule.source_line, rule.source_column)
        if rule.type == "error":
            yield Problem(place, "this cannot be read as CSS", rule.message)
        elif rule.type == "at-rule" and rule.lower_at_keyword == "media" and not nested:
            asked = tinycss2.serialize(rule.prelude)
            if not _MEDIA.fullmatch(asked) or rule.content is None:
                yield Problem(
                    place,
                    f"@media{asked}",
                    "a theme may ask for print, for screen or for a width alone",
                    "Write @media print, @media screen or @media (min-width: 40rem)",
                )
                continue
            yield from _rules(
                tinycss2.parse_rule_list(rule.content, skip_comments=True, skip_whitespace=True),
                file,
                nested=True,
            )
        elif rule.type == "at-rule":
            yield Problem(
                place,
                f"@{rule.at_keyword}",
                "a theme may use @media alone, once around a rule",
                "Typefaces belong into content/brand.yaml"
                if rule.lower_at_keyword == "font-face"
                else "",
            )
        else:
            yield from _rule(rule, file)


def _rule(rule: Any, file: str) -> Iterator[Problem]:
    allowed = _OWN_SETTABLE
    for selector in tinycss2.serialize(rule.prelude).split(","):
        words = re.sub(r"/\*.*?\*/", " ", selector, flags=re.DOTALL).strip()
        if words in FRAME:
            allowed = _SETTABLE
        elif not _OWN.fullmatch(words):
            yield Problem(
                Place(file, rule.source_line, rule.source_column),
                f"the selector '{words}'",
                "a theme dresses the mill's own blocks and the frame of a page, so that cautions, "
                "outcomes, seals and the safety wording stay as they are",
                f"Begin it with a class of your own, as in .own-closing, or write one of {', '.join(FRAME)}",
            )
    for item in tinycss2.parse_declaration_list(
        rule.content, skip_comments=True, skip_whitespace=True
    ):
        place = Place(file, item.source_line, item.source_column)
        if item.type != "declaration":
            why = getattr(item, "message", "there is no declaration")
            yield Problem(place, "this cannot be read as a declaration", why)
            continue
        name, value = item.lower_name, tinycss2.serialize(item.value).strip()
        forms = [form for known, form in allowed.items() if re.fullmatch(known, name)]
        if not forms:
            mine = allowed is _OWN_SETTABLE
            yield Problem(
                place,
                f"'{name}'",
                "a theme may not set it" + ("" if mine else " of a part of the program's pages"),
                "The guide's page on the mill's own house lists what it may set",
            )
        elif item.important:
            yield Problem(place, f"'{name}: {value} !important'", "a theme may not say !important")
        elif not re.fullmatch(forms[0], value):
            yield Problem(
                place,
                f"'{name}: {value}'",
                "a theme takes colours from the brand and keeps sizes within a line or two",
                f"Colours are var(--{'), var(--'.join(INKS)}), grounds var(--"
                f"{'), var(--'.join(GROUNDS)})"
                if "color" in name or "background" in name
                else "",
            )
