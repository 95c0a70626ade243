"""The files a site needs beside its pages: style sheets, fonts, scripts."""

from __future__ import annotations

import base64
import json
import re
from importlib import resources
from pathlib import Path
from typing import get_args

from kilnfolio.calculators.script import constants
from kilnfolio.rendering.languages import SEALED, available, language
from kilnfolio.rendering.lot_state import STATES
from kilnfolio.review.dossier import Word

#: The parts of a style sheet, in their order, by the edition that uses them. A customer's page is
#: fetched over a telephone beside the pack and carries no rule it has no use for.
_LOT_PARTS = ("tokens", "stand-ins", "charts", "page", "lot", "workings")
_ALL_PARTS = (*_LOT_PARTS[:-1], "drawings", "frame", "reading", "records", "workings")
_PARTS = {"mill": _ALL_PARTS, "customer": _LOT_PARTS, "auditor": _ALL_PARTS}

#: Files by edition, below ``assets``. A customer's page runs the scripts that compare it with its
#: label; its chart has a table behind it. An auditor's have charts and tables, no search or sums.
_SHARED = ("fonts/*.woff2", "fonts/*.txt", "fonts.js", "icon.svg")
_FILES = {
    "mill": (*_SHARED, "calculators.css", "kiln-side.css", "*.js", "vendor/*"),
    "customer": (*_SHARED, "label.js", "opens.js", "wood.js", "indoors.js"),
    "auditor": (*_SHARED, "charts.js", "sections.js", "tables.js"),
}
#: The page that checks a bag by itself; the auditor edition holds it as it is.
VERIFIER = "verify.html"
#: What a script holds for people alone: lines of comment, and the room before each line.
_FOR_PEOPLE = re.compile(rb"^[ \t]*(?:/\*.*?\*/|//[^\n]*)\n|^[ \t]+", re.DOTALL | re.MULTILINE)

#: A typeface in ``tokens.css``: family, weight, style, file.
_FACE = re.compile(r'@font-face {.*?"(.+?)".*?weight: (\d+).*?style: (\w+).*?url\("(.+?)"\)')


#: Stand-ins that no phone has, and italics, which a customer's page does not set.
_RARE_FACE = re.compile(
    r'@font-face {[^}]*"Near (?:DejaVu[^}]*|[^}]*style: italic[^}]*)}\n|"Near DejaVu \w+", '
)


#: Rules for outcomes that no state of a lot has: a customer's page never shows them.
_OTHER_OUTCOME = re.compile(
    r"^ *\.outcome-({})(?:::before)? {{[^}}]*}}\n".format(
        "|".join(
            word.replace(" ", "-")
            for word in get_args(Word)
            if word not in {state.outcome for state in STATES.values()}
        )
    ),
    re.MULTILINE,
)


def style_sheet(edition: str) -> str:
    """Return ``site.css`` of an edition, put together from its parts, without their comments."""
    home = resources.files("kilnfolio.site") / "assets"
    text = "\n".join((home / f"{part}.css").read_text("utf-8") for part in _PARTS[edition])
    text = re.sub(r"\s*/\*.*?\*/", "", text, flags=re.DOTALL).lstrip()
    if edition != "customer":
        return text
    return _without_room(_OTHER_OUTCOME.sub("", _RARE_FACE.sub("", text)))


def _without_room(css: str) -> str:
    """Return a style sheet without the room that only people need; words in quotes stay."""
    parts = re.split(r'("[^"]*")', css)
    for place in range(0, len(parts), 2):
        part = re.sub(r"\s+", " ", parts[place])
        part = re.sub(r" ?([{};]) ?", r"\1", part)
        parts[place] = re.sub(r"([,:]) ", r"\1", part).replace(";}", "}")
    return "".join(parts)


def inline_fonts() -> str:
    """Return ``fonts-inline.js``: our typefaces, written out, for pages opened from a folder.

    The script needs no fetch, so the page is drawn in our fonts from the start.
    """
    home = resources.files("kilnfolio.site") / "assets"
    rules = _FACE.findall((home / "tokens.css").read_text("utf-8"))
    faces = [
        {
            "family": f"{family} at hand",
            "weight": weight,
            "style": style,
            "bytes": base64.b64encode((home / file).read_bytes()).decode(),
        }
        for family, weight, style, file in rules
    ]
    script = (home / "fonts-inline.js").read_text("utf-8")
    return f"window.FACES={json.dumps(faces)};\n{script}"


def constants_file() -> str:
    """Return ``constants.js``: the constants of physics that the scripts of search calculate with."""
    text = json.dumps(constants(), sort_keys=True, separators=(",", ":"))
    return f"window.KILNFOLIO_CONSTANTS={text};\n"


def assets(edition: str = "mill") -> dict[str, bytes]:
    """Return the files of an edition by their path in it.

    Parameters
    ----------
    edition : str
        Which edition: mill, customer or auditor.
    """
    source = Path(str(resources.files("kilnfolio.site") / "assets"))
    found = {
        f"assets/{path.relative_to(source).as_posix()}": path.read_bytes()
        for pattern in _FILES[edition]
        for path in sorted(source.glob(pattern))
    }
    if edition == "customer":
        found = {
            path: _FOR_PEOPLE.sub(b"", data) if path.endswith(".js") else data
            for path, data in found.items()
        }
    if edition == "customer":
        for tag in available():
            if tag != SEALED:
                found[f"assets/says-{tag}.js"] = language(tag).script.encode()
    if edition == "mill":
        found["assets/constants.js"] = constants_file().encode()
    if edition == "auditor":
        found[VERIFIER] = (source / VERIFIER).read_bytes()
    return {
        "assets/site.css": style_sheet(edition).encode(),
        **found,
        "assets/fonts-inline.js": inline_fonts().encode(),
    }


def auditor_assets() -> dict[str, bytes]:
    """Return the files of the auditor edition, by their path in it."""
    return assets("auditor")
