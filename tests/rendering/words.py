"""Words for people in Python and in scripts, found where they stand.

A string counts as words if it has a space between two words, or begins with a capital. A value set
into it stands as a slot, as in the patterns of `kilnfolio.rendering.phrases`: ``f"{n} boards"`` is
``{n} boards``. Messages of errors, docstrings, comparisons and keys are not words of a page.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from tests.conftest import PROJECT

HOUSE = PROJECT / "builder/kilnfolio"
ASSETS = HOUSE / "site/assets"
#: Rooms whose words reach a page or a PDF.
ROOMS = ("review", "forecast", "rendering", "charts", "calculators", "handbook", "training", "site")
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
    "rendering/phrases.py",
    "rendering/safety.py",
    "review/versions.py",
    "site/serving.py",
    "site/static.py",
    "site/house.py",
    "site/house_blocks.py",
    "site/house_style.py",
    "site/editions.py",
}
#: Scripts of customers' pages, whose words stand in the record's patterns, and of other makers.
OTHER_SCRIPTS = {"label.js", "opens.js", "fonts.js", "fonts-inline.js"}
READ = re.compile(r"[^\W\d_]{2,}[,;:.]? [^\W\d_]|^[A-Z][a-z]{2,}")
#: Calls whose strings are keys, patterns or messages on the command line.
_NOT_SAID = {"record_error", "compile", "derived", "inline", "Problem", "fail", "get_template"}
_DOCUMENTED = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)


def python_modules(rooms: tuple[str, ...] = ROOMS) -> Iterator[Path]:
    """Yield the modules of rooms whose words reach a page."""
    for room in rooms:
        for path in sorted((HOUSE / room).rglob("*.py")):
            if path.relative_to(HOUSE).as_posix() not in OTHERS:
                yield path


def python_words(source: str) -> Iterator[str]:
    """Yield the words for people in a module, each value set into them as a slot."""
    tree = ast.parse(source)
    silent = _silent(tree)
    for node in ast.walk(tree):
        if id(node) in silent:
            continue
        if isinstance(node, ast.JoinedStr):
            said = _with_slots(node)
            if re.search(r"[a-z]{2,}", re.sub(r"\{\w+\}", "", said)) and " " in said:
                yield said
        elif (words := _constant(node)) and READ.search(words):
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
        else f"{{{_slot(ast.unparse(part.value), names)}}}"  # type: ignore[attr-defined]
        for part in node.values
    )


def _slot(code: str, names: dict[str, str]) -> str:
    """Return a name for a value: the last in its code, numbered if another value has it."""
    if code not in names:
        parts = re.findall(r"[A-Za-z_]\w*", re.sub(r"'[^']*'|\"[^\"]*\"", "", code)) or ["value"]
        name, n = parts[-1], 1
        while name in names.values():
            n += 1
            name = f"{parts[-1]}_{n}"
        names[code] = name
    return names[code]


def scripts() -> Iterator[Path]:
    """Yield the scripts of the mill's pages."""
    return (path for path in sorted(ASSETS.glob("*.js")) if path.name not in OTHER_SCRIPTS)


def script_words(source: str) -> Iterator[str]:
    """Yield the words for people in a script, each value set into them as a slot."""
    for literal, _ in _literals(source):
        if _is_said(literal):
            yield literal


def script_pieces(source: str) -> Iterator[str]:
    """Yield words a script puts together with values by ``+``: a translator meets them in pieces."""
    for literal, joined in _literals(source):
        if joined and _is_said(literal):
            yield literal


def _is_said(literal: str) -> bool:
    read = READ.search(literal) or _BESIDE_A_SLOT.search(literal)
    return bool(read) and not _NO_WORDS.fullmatch(literal)


_BESIDE_A_SLOT = re.compile(r"\{\w+\} [a-z]{2,}(?![\w(-])|(?<![\w-])[a-z]{2,} \{\w+\}")


#: Keys, names of headers and kinds of quantity, classes and selectors: words for the browser.
_NO_WORDS = re.compile(
    r"(?:Arrow|Page)\w+|Enter|Escape|Home|End|Tab|use strict|Content-Type|Byte|Kilograms|Percent|Rate"
    r"|Temperature(?:Difference)?|Mass|[.\[][^A-Z]*|svg [^A-Z]*|ink pointed|.*\btbody\b.*"
)
#: Comments, regular expressions, and the beginning of strings.
_START = re.compile(
    r"//[^\n]*|/\*.*?\*/"
    r"|(?<=[(,=:\[!&|?{};\n ])/(?![/* ])(?:[^/\\\n\[]|\\.|\[(?:[^\]\\\n]|\\.)*\])+/[a-z]*"
    r"|\"((?:[^\"\\\n]|\\.)*)\"|`",
    re.DOTALL,
)
_PLUS = re.compile(r"\s*\+\s*(?=[\"`])")


def _literals(source: str) -> Iterator[tuple[str, bool]]:
    """Yield each string of a script, and whether a value is joined to it by a plus.

    Strings joined to each other are one, cut to fit the lines.
    """
    place = 0
    while found := _START.search(source, place):
        before = source[: found.start()].rstrip()
        text, place, inside = _literal(source, found)
        while text is not None and (more := _PLUS.match(source, place)):
            found = _START.match(source, more.end())
            assert found is not None
            added, place, codes = _literal(source, found)
            text, inside = text + (added or ""), inside + codes
        if text is not None:
            yield text, before.endswith("+") or source[place:].lstrip().startswith("+ ")
        for code in inside:
            yield from _literals(code)


def _literal(source: str, found: re.Match[str]) -> tuple[str | None, int, list[str]]:
    """Return the text that begins at a match, where it ends, and the code set into it."""
    if found[0] == "`":
        return _template(source, found.end())
    if found[1] is None:
        return None, found.end(), []
    text = re.sub(r"\\u\{?([0-9a-fA-F]{2,5})\}?", _character, found[1])
    return text.replace('\\"', '"'), found.end(), []


def _character(found: re.Match[str]) -> str:
    return chr(int(found[1], 16))


def _template(source: str, place: int) -> tuple[str, int, list[str]]:
    """Return the text of a template literal, where it ends, and the code set into it."""
    text, inside = "", []
    names: dict[str, str] = {}
    while source[place] != "`":
        if source.startswith("${", place):
            end = _closing(source, place + 2)
            code = source[place + 2 : end]
            inside.append(code)
            text += f"{{{_slot(code, names)}}}"
            place = end + 1
        elif source[place] == "\\":
            text += source[place : place + 2]
            place += 2
        else:
            text += source[place]
            place += 1
    return text, place + 1, inside


def _closing(source: str, place: int) -> int:
    """Return where the brace closes that opened before a place."""
    while source[place] != "}":
        if source[place] == "`":
            _, place, _ = _template(source, place + 1)
        elif source[place] == "{":
            place = _closing(source, place + 1) + 1
        elif (found := _START.match(source, place)) and found[0] != "`":
            place = found.end()
        else:
            place += 1
    return place
