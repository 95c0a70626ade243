"""Words for people in a script: found for the catalogue, and replaced by their translation.

A script is written in English. The build puts the words of another language in their place, so that
nothing has to be looked up in a reader's browser. A string counts as words if it has a space between
two words, or begins with a capital; a value set into it stands as a slot, as in `phrases`.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator

from kilnfolio.runtime.values import dataclass

#: Text with words for people: two words with a space between, or one with a capital.
READ = re.compile(r"[^\W\d_]{2,}[,;:.]? [^\W\d_]|^[A-Z][a-z]{2,}")
_BESIDE_A_SLOT = re.compile(r"\{\w+\} [a-z]{2,}(?![\w(-])|(?<![\w-])[a-z]{2,} \{\w+\}")
#: Keys, names of headers and kinds of quantity, classes and selectors: words for the browser.
_NO_WORDS = re.compile(
    r"(?:Arrow|Page)\w+|Enter|Escape|Home|End|Tab|use strict|Content-Type|Byte|Kilograms|Percent|Rate"
    r"|Temperature(?:Difference)?|Mass|[.\[][^A-Z]*|svg [^A-Z]*|ink pointed|.*\btbody\b.*"
    r"|wettest (?:board|half)|below oven-dry|too fast|wick changed|input, select|deg C|a(?:b| about| apres) .*"
    r"|(?:said|outcome|meta) (?:meta|help|\{found\}|outcome-\{look\})"
)
#: Comments, regular expressions, and the beginning of strings.
_START = re.compile(
    r"//[^\n]*|/\*.*?\*/"
    r"|(?<=[(,=:\[!&|?{};\n ])/(?![/* ])(?:[^/\\\n\[]|\\.|\[(?:[^\]\\\n]|\\.)*\])+/[a-z]*"
    r"|\"((?:[^\"\\\n]|\\.)*)\"|`",
    re.DOTALL,
)
_PLUS = re.compile(r"\s*\+\s*(?=[\"`])")


@dataclass(frozen=True)
class Literal:
    """A string of a script; strings joined to each other by a plus are one, cut to fit the lines."""

    start: int
    end: int
    text: str
    """Its text, each value a slot in braces."""
    values: dict[str, str]
    """The code of each slot."""
    joined: bool
    """Whether a value is joined to it by a plus."""

    @property
    def said(self) -> bool:
        """Whether it holds words for people."""
        read = READ.search(self.text) or _BESIDE_A_SLOT.search(self.text)
        return bool(read) and not _NO_WORDS.fullmatch(self.text)


def script_words(source: str) -> Iterator[str]:
    """Yield the words for people in a script, each value set into them as a slot."""
    for one in _all_literals(source):
        if one.said:
            yield one.text


def script_pieces(source: str) -> Iterator[str]:
    """Yield words a script puts together with values by ``+``: a translator meets them in pieces."""
    for one in _all_literals(source):
        if one.joined and one.said:
            yield one.text


def translated_script(source: str, translate: Callable[[str], str]) -> str:
    """Return a script with its words translated.

    Parameters
    ----------
    source : str
        The script.
    translate : callable
        Returns the translation of words with slots, or the words themselves.
    """
    parts, place = [], 0
    for one in literals(source):
        values = {slot: translated_script(code, translate) for slot, code in one.values.items()}
        text = translate(one.text) if one.said else one.text
        if text == one.text and values == one.values:
            continue
        parts += [source[place : one.start], _literal(text, values)]
        place = one.end
    return "".join(parts) + source[place:]


def _literal(text: str, values: dict[str, str]) -> str:
    if not values:
        return json.dumps(text, ensure_ascii=False)
    safe = text.replace("\\", "\\\\").replace("`", "\\`")
    return "`" + re.sub(r"\{(\w+)\}", lambda slot: f"${{{values[slot[1]]}}}", safe) + "`"


def _all_literals(source: str) -> Iterator[Literal]:
    """Yield each string of a script, those in the code of slots included."""
    for one in literals(source):
        yield one
        for code in one.values.values():
            yield from _all_literals(code)


def literals(source: str) -> Iterator[Literal]:
    """Yield each string of a script, without those in the code of slots."""
    place = 0
    while found := _START.search(source, place):
        start, before = found.start(), source[: found.start()].rstrip()
        values: dict[str, str] = {}
        text, place = _read(source, found, values)
        while text is not None and (more := _PLUS.match(source, place)):
            found = _START.match(source, more.end())
            assert found is not None
            added, place = _read(source, found, values)
            text += added or ""
        if text is not None:
            joined = before.endswith("+") or source[place:].lstrip().startswith("+ ")
            yield Literal(start, place, text, values, joined)


def _read(source: str, found: re.Match[str], values: dict[str, str]) -> tuple[str | None, int]:
    """Return the text that begins at a match, None for a comment, and where it ends."""
    if found[0] == "`":
        return _template(source, found.end(), values)
    if found[1] is None:
        return None, found.end()
    return re.sub(r"\\(?:u\{?([0-9a-fA-F]{2,5})\}?|(.))", _character, found[1]), found.end()


def _character(found: re.Match[str]) -> str:
    if found[1]:
        return chr(int(found[1], 16))
    return {"n": "\n", "t": "\t", "r": "\r"}.get(found[2], found[2])


def _template(source: str, place: int, values: dict[str, str]) -> tuple[str, int]:
    """Return the text of a template literal, and where it ends."""
    text = ""
    while source[place] != "`":
        if source.startswith("${", place):
            end = _closing(source, place + 2)
            text += f"{{{slot(source[place + 2 : end], values)}}}"
            place = end + 1
        elif source[place] == "\\":
            escape = re.compile(r"\\(?:u\{?([0-9a-fA-F]{2,5})\}?|(.))", re.DOTALL)
            found = escape.match(source, place)
            assert found is not None
            text += _character(found)
            place = found.end()
        else:
            text += source[place]
            place += 1
    return text, place + 1


def slot(code: str, values: dict[str, str]) -> str:
    """Return the name of a value's slot: the last name in its code, numbered if another has it."""
    for name, other in values.items():
        if other == code:
            return name
    parts = re.findall(r"[A-Za-z_]\w*", re.sub(r"'[^']*'|\"[^\"]*\"", "", code)) or ["value"]
    name, n = parts[-1], 1
    while name in values:
        n += 1
        name = f"{parts[-1]}_{n}"
    values[name] = code
    return name


def _closing(source: str, place: int) -> int:
    """Return where the brace closes that opened before a place."""
    while source[place] != "}":
        if source[place] == "`":
            _, place = _template(source, place + 1, {})
        elif source[place] == "{":
            place = _closing(source, place + 1) + 1
        elif (found := _START.match(source, place)) and found[0] != "`":
            place = found.end()
        else:
            place += 1
    return place
