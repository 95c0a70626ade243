"""Interface strings: no phrase nobody would say, and sentences that can be read in one go.

They stand in templates, in the Python of every room, and in the scripts that pages load.
"""

from __future__ import annotations

import ast
import functools
import re
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import pytest
from tests.conftest import PROJECT

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
    # strings of the catalogues are read where they stand
    text = re.sub(r'\{\{ _\("([^"]*)"[^}]*\) \}\}', r"\1", _TAG.sub(" ", html))
    text = re.sub(r"\{\{.*?\}\}", " X ", text, flags=re.DOTALL)
    text = re.sub(r"<[^>]+>", " ", _BLOCK.sub("\n", text))
    return [" ".join(one.split()) for one in re.split(r"\n|(?<=[.!?:;]) ", text) if one.strip()]


BUILDER = PROJECT / "builder/kilnfolio"
#: Words sealed with records: they change with the version of the rules, and older ones are read.
SEALED = {
    "rendering/phrases.py": {"keeps the order", "keep the order", "in hand"},
    "rendering/lot_state.py": {"keeps the order", "keep the order"},
}
_DOCUMENTED = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
_SCRIPT_STRING = re.compile(r"`([^`]*)`|\"([^\"\n]*)\"")


def _python_strings(path: Path) -> Iterator[str]:
    """Yield the strings of a module that are no docstring, a value in one standing for a word."""
    nodes = list(ast.walk(ast.parse(path.read_text("utf-8"))))
    formatted = [node for node in nodes if isinstance(node, ast.JoinedStr)]
    spent = {id(part) for node in formatted for part in node.values}
    for node in nodes:
        if isinstance(node, _DOCUMENTED) and isinstance(node.body[0], ast.Expr):
            spent.add(id(node.body[0].value))
    for node in formatted:
        parts = (part.value if isinstance(part, ast.Constant) else "X" for part in node.values)
        yield "".join(map(str, parts))
    for node in nodes:
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in spent:
            yield node.value


def _script_strings(path: Path) -> Iterator[str]:
    """Yield the strings of a script."""
    for one, other in _SCRIPT_STRING.findall(path.read_text("utf-8")):
        yield re.sub(r"\$\{[^}]*\}", "X", one or other)


def _said(strings: Iterator[str]) -> list[str]:
    """Return the strings that hold words for a person, a sentence or a part of one each."""
    found = (one for one in strings if re.search(r"[a-z]{3} [a-z]{2}", one))
    parts = (part for one in found for part in re.split(r"\n|(?<=[.!?:;]) ", one))
    return [" ".join(part.split()) for part in parts if len(part.split()) > 3]


@functools.cache
def code() -> dict[str, list[str]]:
    """Return what each module and script says to a person."""
    return {
        path.relative_to(BUILDER).as_posix(): _said(_python_strings(path))
        for path in sorted(BUILDER.rglob("*.py"))
    } | {
        f"assets/{path.name}": _said(_script_strings(path))
        for path in sorted((BUILDER / "site/assets").glob("*.js"))
    }


def test_code_says_nothing_that_nobody_would():
    assert sum(map(len, code().values())) > 3000
    assert len(code()["assets/bench.js"]) > 5
    odd = {
        name: sorted(
            phrase
            for phrase in set(ODD) - SEALED.get(name, set())
            if any(phrase in sentence.lower() for sentence in sentences)
        )
        for name, sentences in code().items()
    }
    assert {name: phrases for name, phrases in odd.items() if phrases} == {}


def test_sentences_in_code_can_be_read_in_one_go():
    ended = [one for said in code().values() for one in said if one[-1] in ".!?"]
    assert [one for one in ended if len(one.split()) > LONGEST] == []
    assert sum(len(one.split()) for one in ended) / len(ended) < MEAN


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
