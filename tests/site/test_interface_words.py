"""Interface strings: no phrase nobody would say, and sentences that can be read in one go."""

from __future__ import annotations

import re
from importlib import resources

import pytest

#: Phrases of an earlier draft that no native editor would let stand. Our own list.
ODD = (
    "keeps the order",
    "keep the order",
    "as labelled",
    "why did we step",
    "kept its air",
    "the kiln stood",
    "has complained",
    "complained of nothing",
    "none is on record",
    "nothing is on record",
    "not yet far enough",
    "is reckoned",
    "put to every",
    "it stands in no",
    "was had from",
    "whoever has",
    "looked at up to",
    "wants looking at",
    "for to ",
    "in hand",
    "anybody who holds",
    "compute the page again",
    "what the air was set to",
)
#: Ceilings for interface text, where plain-language guides (common practice, no source) ask for
#: fifteen to twenty words on average.
LONGEST, MEAN = 48, 16.0
_TAG = re.compile(r"\{#.*?#\}|\{%.*?%\}|<(script|style|svg|code)\b.*?</\1>", re.DOTALL)
_BLOCK = re.compile(
    r"</?(?:p|li|td|th|dt|dd|h[1-6]|caption|figcaption|summary|div|tr|ul|dl|label|a"
    r"|button|title|legend|option|aside|nav|section|table|details)\b[^>]*>|<br>"
)


def _templates() -> dict[str, str]:
    home = resources.files("kilnfolio.site") / "templates"
    found = {}
    folders = [home]
    while folders:
        for entry in folders.pop().iterdir():
            if entry.is_dir():
                folders.append(entry)
            elif entry.name.endswith(".html"):
                found[entry.name] = entry.read_text("utf-8")
    return found


TEMPLATES = _templates()


def _sentences(html: str) -> list[str]:
    """Return the sentences of a template, a value printed in one standing for a word."""
    text = _TAG.sub(" ", html)
    text = re.sub(r"\{\{.*?\}\}", " X ", text, flags=re.DOTALL)
    text = re.sub(r"<[^>]+>", " ", _BLOCK.sub("\n", text))
    return [" ".join(one.split()) for one in re.split(r"\n|(?<=[.!?:;]) ", text) if one.strip()]


def test_there_is_something_to_read():
    assert len(TEMPLATES) > 30
    assert sum(map(len, map(_sentences, TEMPLATES.values()))) > 500


@pytest.mark.parametrize("name", sorted(TEMPLATES))
def test_no_template_says_what_nobody_would(name):
    text = " ".join(" ".join(_sentences(TEMPLATES[name])).lower().split())
    assert [phrase for phrase in ODD if phrase in text] == []


@pytest.mark.parametrize("name", sorted(TEMPLATES))
def test_no_sentence_is_too_long_to_read_in_one_go(name):
    long = [one for one in _sentences(TEMPLATES[name]) if len(one.split()) > LONGEST]
    assert long == []


def test_sentences_are_short_on_average():
    counts = [
        len(one.split())
        for html in TEMPLATES.values()
        for one in _sentences(html)
        if one[-1:] in ".!?" and len(one.split()) > 3
    ]
    assert sum(counts) / len(counts) < MEAN
