"""The files a site needs beside its pages: style sheets, fonts, scripts."""

from __future__ import annotations

import base64
import json
import re
from importlib import resources
from pathlib import Path
from typing import get_args

from kilnfolio.calculators.script import constants
from kilnfolio.rendering.interface import interface
from kilnfolio.rendering.languages import SEALED, available, language
from kilnfolio.rendering.lot_state import STATES
from kilnfolio.review.dossier import Word

#: The parts of each edition's style sheet, in order. A customer's page is fetched over a mobile
#: network beside the pack, so it carries no rule it does not need.
_LOT_PARTS = ("tokens", "stand-ins", "charts", "page", "lot", "workings")
_ALL_PARTS = (*_LOT_PARTS[:-1], "drawings", "frame", "reading", "records", "workings")
_PARTS = {"mill": _ALL_PARTS, "customer": _LOT_PARTS, "auditor": _ALL_PARTS}

#: Scripts by edition, below ``assets``. A customer's page runs those that compare it with its
#: label; its chart has a table instead. The auditor's pages have charts and tables, but neither
#: search nor calculators.
_SHARED = ("fonts/*.woff2", "fonts/*.txt", "fonts.js", "icon.svg")
_FILES = {
    "mill": (*_SHARED, "calculators.css", "kiln-side.css", "*.js", "vendor/*"),
    "customer": (*_SHARED, "label.js", "opens.js", "wood.js", "indoors.js"),
    "auditor": (*_SHARED, "charts.js", "sections.js", "tables.js"),
}
#: The stand-alone page that verifies a bag; the auditor edition holds an unchanged copy.
VERIFIER = "verify.html"
#: Parts of a script that only people need: lines of comment, and indentation.
_FOR_PEOPLE = re.compile(rb"^[ \t]*(?:/\*.*?\*/|//[^\n]*)\n|^[ \t]+", re.DOTALL | re.MULTILINE)

#: A font face in ``tokens.css``: family, weight, style, file.
_FACE = re.compile(r'@font-face {.*?"(.+?)".*?weight: (\d+).*?style: (\w+).*?url\("(.+?)"\)')


#: Fallback fonts that no phone has, and italics, which a customer's page does not use.
_RARE_FACE = re.compile(
    r'@font-face {[^}]*"Near (?:DejaVu[^}]*|[^}]*style: italic[^}]*)}\n|"Near DejaVu \w+", '
)


#: Rules for outcomes that a lot never has, so a customer's page never shows them.
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
    """Return ``site.css`` of an edition: its parts joined, without comments."""
    home = resources.files("kilnfolio.site") / "assets"
    text = "\n".join((home / f"{part}.css").read_text("utf-8") for part in _PARTS[edition])
    text = re.sub(r"\s*/\*.*?\*/", "", text, flags=re.DOTALL).lstrip()
    if edition != "customer":
        return text
    return _minified(_without_unused_properties(_OTHER_OUTCOME.sub("", _RARE_FACE.sub("", text))))


def _without_unused_properties(css: str) -> str:
    """Return a style sheet without the custom properties that nothing in it refers to."""
    used = set(re.findall(r"var\((--[\w-]+)", css))
    return re.sub(r"(--[\w-]+):[^;}]*;", lambda found: found[0] if found[1] in used else "", css)


def _minified(css: str) -> str:
    """Return a style sheet without needless whitespace; quoted text stays as it is."""
    parts = re.split(r'("[^"]*")', css)
    for place in range(0, len(parts), 2):
        part = re.sub(r"\s+", " ", parts[place])
        part = re.sub(r" ?([{};]) ?", r"\1", part)
        parts[place] = re.sub(r"([,:]) ", r"\1", part).replace(";}", "}")
    return "".join(parts)


def inline_fonts() -> str:
    """Return ``fonts-inline.js``: our fonts as data, for pages opened from a folder.

    Nothing has to be fetched, so the page appears in our fonts from the start.
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
    """Return ``constants.js``: the physical constants that scripts calculate with."""
    text = json.dumps(constants(), sort_keys=True, separators=(",", ":"))
    return f"window.KILNFOLIO_CONSTANTS={text};\n"


def assets(edition: str = "mill", tag: str = SEALED) -> dict[str, bytes]:
    """Return the files of an edition by their path in it.

    Parameters
    ----------
    edition : str
        Which edition: mill, customer or auditor.
    tag : str
        Language of its pages, which the mill's own scripts speak too.
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
        if tag != SEALED:
            found |= {
                path: interface(tag).script(data.decode()).encode()
                for path, data in found.items()
                if path.endswith(".js") and "/vendor/" not in path
            }
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
