"""Words for people in Python and in scripts, found where they stand.

A string counts as words if it has a space between two words, or begins with a capital. A value set
into it stands as a slot, as in the patterns of `kilnfolio.rendering.phrases`: ``f"{n} boards"`` is
``{n} boards``. Messages of errors, docstrings, comparisons and keys are not words of a page.
"""

from __future__ import annotations

import ast
import datetime as dt
import re
from collections.abc import Iterator
from pathlib import Path

from tests.conftest import PROJECT

from kilnfolio.records.region import regions
from kilnfolio.records.sourced import STATUS_MEANING
from kilnfolio.rendering.script_words import READ, script_words, slot

HOUSE = PROJECT / "builder/kilnfolio"
ASSETS = HOUSE / "site/assets"
#: Rooms whose words reach a page or a PDF.
ROOMS = (
    "review", "forecast", "trends", "rendering", "charts", "calculators", "handbook", "training", "site",
)  # fmt: skip
#: Those in which no sentence is put together by ``+``. The others join whole sentences, or lists.
FILLED = ("rendering", "charts", "calculators", "handbook", "site")
#: Rooms whose words do not, and where people meet them instead.
ELSEWHERE = {
    "runtime": "messages on the command line",
    "graph": "messages on the command line",
    "physics": "errors only",
    "records": "messages about records, in the words of their keys, which are English",
    "archive": "sealed records and the audit, which are English in every mill",
    "pipeline": "messages on the command line",
    "paper": "faults found in a PDF; its words stand in templates",
    "api": "keys of tables for programs",
    "adopt": "messages on the command line, and of the entry page beside it",
    "cli": "messages on the command line",
    "guide": "the guide is content, translated by folder",
}
#: Modules of those rooms with other words: a catalogue of their own, or no page.
OTHERS = {
    "rendering/compiled.py",
    "rendering/phrases.py",
    "rendering/safety.py",
    "review/versions.py",
    "site/serving.py",
    "site/static.py",
    "site/house.py",
    "site/house_blocks.py",
    "site/house_style.py",
    "site/editions.py",
    "site/lot_words.py",
}
#: Scripts of customers' pages, whose words stand in the record's patterns; of problems and of findings, which
#: stay in English; and of other makers.
OTHER_SCRIPTS = {
    "label.js",
    "opens.js",
    "problems.js",
    "charge-review.js",
    "fonts.js",
    "fonts-inline.js",
}
#: Calls whose strings are keys, names of types, patterns or messages on the command line.
_NOT_SAID = {
    "record_error", "compile", "derived", "inline", "Group", "Problem", "fail", "get_template",
    "TypeVar", "TypeVarTuple",
}  # fmt: skip
#: Markup, classes of drawings, and words for search engines and machines.
_MARKUP = re.compile(
    r"^\s*<\w|=\"|^dot \S+$|^step change$|^noindex|^\{\"|\[\^|^(?:public|demo) keys$"
    r"|^(?:Product|QuantitativeValue|Organization|PropertyValue|\w+Event)$|\[\["
)
_DOCUMENTED = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)


def python_modules(rooms: tuple[str, ...] = ROOMS) -> Iterator[Path]:
    """Yield the modules of rooms whose words reach a page."""
    for room in rooms:
        for path in sorted((HOUSE / room).rglob("*.py")):
            if path.relative_to(HOUSE).as_posix() not in OTHERS:
                yield path


#: Modules whose choices are printed as they are written.
CHOICES = (
    "review/dossier.py",
    "records/charge.py",
    "records/kiln.py",
    "records/species.py",
    "records/schedule.py",
)


def choices() -> Iterator[str]:
    """Yield the words among which a record or a dossier chooses, and the months of an axis."""
    for name in CHOICES:
        for node in ast.walk(ast.parse((HOUSE / name).read_text("utf-8"))):
            if isinstance(node, ast.Subscript) and ast.unparse(node.value) == "Literal":
                for one in ast.walk(node.slice):
                    if re.fullmatch(r"[a-z]{2,}(?: [a-z]+)*", words := _constant(one)):
                        yield words
    yield from STATUS_MEANING.values()
    yield from ("points/day", "air-dried", "unsealed", "sealed", "changed", "amended")
    for name, region in regions().items():
        yield from (name, region.units.is_)
    yield from ("EMC sensor", "{name} showed {shown} on {at}")  # of an open charge
    yield from (
        "MC, %",
        "MC {amount}",
        "{amount} MC",
        "{amount} MC ± {doubt}",
        "EMC, %",
        "RH, %",
        "above {low}",
        "at most {high}",
    )
    for month in range(1, 13):
        short = f"{dt.date(2000, month, 1):%b}"
        yield from (f"{{day}} {short}", f"{short} {{year}}", short)


def python_words(source: str) -> Iterator[str]:
    """Yield the words for people in a module, each value set into them as a slot."""
    tree = ast.parse(source)
    silent = _silent(tree)
    for node in ast.walk(tree):
        if id(node) in silent:
            continue
        if isinstance(node, ast.JoinedStr):
            said = _with_slots(node)
            if _MARKUP.search(said):
                continue
            if re.search(r"[a-z]{2,}", re.sub(r"\{\w+\}", "", said)) and " " in said:
                yield said
        elif (words := _constant(node)) and READ.search(words) and not _MARKUP.search(words):
            yield words


def joined_words(source: str) -> Iterator[str]:
    """Yield words put together by ``+`` or ``%``: a translator would meet them in pieces."""
    tree = ast.parse(source)
    silent = _silent(tree)
    for node in ast.walk(tree):
        if not isinstance(node, ast.BinOp) or not isinstance(node.op, ast.Add | ast.Mod):
            continue
        for side in (node.left, node.right):
            if id(side) not in silent and (words := _constant(side)) and READ.search(words):
                yield words


def _constant(node: ast.AST) -> str:
    """Return a string's text; "" if a node is none."""
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""


def _silent(tree: ast.Module) -> set[int]:
    """Return the nodes that hold no words of a page."""
    found: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, _DOCUMENTED):
            for one in node.body:
                if isinstance(one, ast.Expr):
                    found.add(id(one.value))
        elif isinstance(node, ast.Raise | ast.Compare) or _is_silent_call(node):
            found.update(map(id, ast.walk(node)))
        elif isinstance(node, ast.Subscript):
            found.update(map(id, ast.walk(node.slice)))
        elif isinstance(node, ast.JoinedStr):
            for part in node.values:
                if isinstance(part, ast.Constant):
                    found.add(id(part))
                elif isinstance(part, ast.FormattedValue) and part.format_spec:
                    found.update(map(id, ast.walk(part.format_spec)))
    return found


def _is_silent_call(node: ast.AST) -> bool:
    return isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1] in _NOT_SAID


def _with_slots(node: ast.JoinedStr) -> str:
    names: dict[str, str] = {}
    return "".join(
        str(part.value)
        if isinstance(part, ast.Constant)
        else "\N{NO-BREAK SPACE}"
        if ast.unparse(part.value).endswith("NBSP")
        else f"{{{slot(ast.unparse(part.value), names)}}}"  # type: ignore[attr-defined]
        for part in node.values
    )


#: The page that verifies a bag, whose style, words and script are one file.
VERIFIER = ASSETS / "verify.html"
_SAID = re.compile(r"<(title|h1|h2|p|label)\b[^>]*>(.*?)</\1>", re.DOTALL)


def page_words(source: str) -> Iterator[str]:
    """Yield the words for people in a page that is no template, and in the script within it."""
    page, _, script = source.partition("<script>")
    for found in _SAID.finditer(page):
        yield " ".join(re.sub(r"<input[^>]*>", "", found[2]).split())
    yield from script_words(script.partition("</script>")[0])


def scripts() -> Iterator[Path]:
    """Yield the scripts of the mill's pages."""
    return (path for path in sorted(ASSETS.glob("*.js")) if path.name not in OTHER_SCRIPTS)
