"""The mill's own house style: its brand and theme, checked, in the form pages and PDFs use.

`house` is a derived value that every page reads: a build remakes all pages when a colour changes,
and `check` and `build` refuse a brand or theme with errors.
"""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import field
from pathlib import PurePosixPath

import tinycss2

from kilnfolio.charts.paper import asset
from kilnfolio.graph.derived import derived
from kilnfolio.graph.graph import Graph
from kilnfolio.records import reading
from kilnfolio.records.brand import Brand, Typeface
from kilnfolio.records.kinds import HOUSE
from kilnfolio.records.model import Located
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.rendering.contrast import TEXT, contrast, nearest
from kilnfolio.rendering.own import ICON, NOTHING, ROOT, Own
from kilnfolio.runtime.files import read_file, read_text
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.house_blocks import BLOCKS, EDITIONS, block_html, facts
from kilnfolio.site.house_style import style_problems

#: Folder of the mill's own files among the assets of an edition, and its style sheet.
FOLDER, SHEET = "assets/own", "assets/own.css"
#: Largest picture [bytes]: customers fetch it over a mobile network.
MOST_PICTURE = 60_000
#: Largest font file [bytes].
MOST_FONT = 300_000
_BRAND, _THEME = "content/brand", "content/theme"
#: For each colour of a brand, the variable of ``tokens.css`` that it sets.
_TOKENS = {
    "paper": "paper",
    "raised": "paper-raised",
    "sunk": "paper-sunk",
    "ink": "ink",
    "ink_soft": "ink-soft",
    "accent": "timber",
    "accent_soft": "timber-soft",
    "link": "water",
    "link_soft": "water-soft",
}
_GROUNDS = ("paper", "paper-raised", "paper-sunk", "timber-soft", "water-soft", "highlight")
_INKS = ("ink", "ink-soft", "timber", "water")
_OUTCOMES = ("pass", "question", "fail", "no-data", "answered", "not-applicable", "note")
_TYPES = {
    "svg": "image/svg+xml",
    "png": "image/png",
    "woff2": "font/woff2",
    "woff": "font/woff",
    "ttf": "font/ttf",
    "otf": "font/otf",
}


@dataclass(frozen=True)
class House:
    """A mill's brand and theme, sorted by where they are used."""

    files: Mapping[str, bytes] = field(default_factory=dict)
    """Files to add to every edition, by path."""
    paper: str = ""
    """The style sheet for PDFs."""
    icon: str = ICON
    blocks: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """Blocks by edition, language and ``page`` or ``paper``, as in ``customer:fr:page``."""

    def of(self, edition: str, tag: str) -> Own:
        """Return the parts that an edition prints in a language."""
        if self == House():
            return NOTHING
        return Own(
            SHEET if SHEET in self.files else "",
            self.icon,
            self.paper,
            self.blocks.get(f"{edition}:{tag}:page", {}),
            self.blocks.get(f"{edition}:{tag}:paper", {}),
        )


@derived("house")
def house(graph: Graph, _: str) -> House:
    """Return the mill's brand and theme.

    Raises
    ------
    RecordProblems
        All errors in the brand and theme.
    """
    located, names = reading.brand(graph), graph.names(HOUSE)
    if located is None and not names:
        return House()
    made = _HouseBuilder(graph, located, tuple(names))
    found = made.house()
    if made.problems:
        raise RecordProblems(made.problems)
    return found


def house_files(graph: Graph) -> tuple[str, ...]:
    """Return the paths of the brand and theme files, relative to the mill's folder."""
    return (*(("content/brand.yaml",) if graph.names("brand") else ()), *graph.names(HOUSE))


class _HouseBuilder:
    """Assembles a `House` and collects the problems of its files."""

    def __init__(self, graph: Graph, located: Located[Brand] | None, names: tuple[str, ...]):
        self._graph, self._located, self._names = graph, located, names
        self._mill = reading.mill(graph).record
        self.problems: list[Problem] = []
        self._files: dict[str, bytes] = {}
        self._used: set[str] = set()

    def house(self) -> House:
        """Return the assembled house; `problems` then holds its errors."""
        page: list[str] = []
        paper: list[str] = []
        icon = ICON
        if self._located is not None:
            brand = self._located.record
            for sheet, data in ((page, False), (paper, True)):
                sheet += self._faces(brand, data=data)
                sheet += self._colours(brand, dark=not data)
                sheet += self._logo(brand, data=data)
            icon = self._icon(brand)
        theme = self._theme()
        page += [theme]
        paper += [theme]
        blocks = dict(self._blocks())
        self._unused()
        sheet_text = "\n".join(part for part in page if part)
        if sheet_text:
            self._files[SHEET] = (sheet_text + "\n").encode()
        return House(self._files, "\n".join(part for part in paper if part), icon, blocks)

    def _refuse(self, place: Place, what: str, why: str, instead: str = "") -> None:
        problem = Problem(place, what, why, instead)
        if problem not in self.problems:
            self.problems.append(problem)

    # --- files ------------------------------------------------------------------------------------

    def _bytes(self, folder: str, name: str, place: Place, most: int) -> bytes | None:
        path = f"{folder}/{name}"
        self._used.add(path)
        if path not in self._names:
            self._refuse(place, f"'{name}'", f"there is no file {path}", "Put it there")
            return None
        data = read_file(self._graph.file(path))
        if reading.links_outside(self._graph.folder, self._graph.file(path)):
            self._refuse(place, f"'{name}'", "it is a link that leads out of the mill's folder")
            return None
        if len(data) > most:
            self._refuse(
                place,
                f"'{name}'",
                f"it has {len(data) // 1000} kB, and pages are fetched over a telephone",
                f"Make it smaller than {most // 1000} kB",
            )
        return data

    def _address(self, name: str, data: bytes, *, inline: bool) -> str:
        ending = name.rpartition(".")[2]
        if inline:
            return f"data:{_TYPES[ending]};base64,{base64.b64encode(data).decode()}"
        self._files[f"{FOLDER}/{name}"] = data
        return f"own/{name}"

    def _picture(self, folder: str, name: str, place: Place) -> tuple[bytes, float] | None:
        """Return a picture and its aspect ratio (width over height)."""
        data = self._bytes(folder, name, place, MOST_PICTURE)
        if data is None:
            return None
        try:
            return data, _aspect_ratio(name, data)
        except ValueError as error:
            self._refuse(place, f"'{name}'", str(error))
            return None

    def _unused(self) -> None:
        twice: dict[str, str] = {}
        for path in self._names:
            name = PurePosixPath(path).name
            if path not in self._used:
                self._refuse(
                    Place(path),
                    "this file",
                    "neither content/brand.yaml nor a block of content/theme/ names it, and a "
                    f"theme is made of theme.css and {', '.join(f'{block}.html' for block in BLOCKS)}",
                    "Remove it, or name it",
                )
            elif name in twice:
                self._refuse(
                    Place(path), "this file", f"{twice[name]} has the same name", "Rename one"
                )
            twice[name] = path

    # --- the brand --------------------------------------------------------------------------------

    def _faces(self, brand: Brand, *, data: bool) -> Iterator[str]:
        assert self._located is not None
        rules, families = [], []
        for role in ("text", "figures"):
            face: Typeface | None = getattr(brand.fonts, role)
            if face is None:
                continue
            for key, weight, style in (
                ("regular", 400, "normal"),
                ("bold", 600, "normal"),
                ("italic", 400, "italic"),
            ):
                name, place = getattr(face, key), self._located.place("fonts", role, key)
                if name is None or (raw := self._bytes(_BRAND, name, place, MOST_FONT)) is None:
                    continue
                if wrong := _font_problem(raw, figures=role == "figures"):
                    self._refuse(place, f"'{name}'", *wrong)
                rules.append(
                    f'@font-face {{ font-family: "Own {role}"; font-weight: {weight}; font-style: {style}; '
                    f'font-display: swap; src: url("{self._address(name, raw, inline=data)}"); }}'
                )
            families.append(f'--font-{role}: "Own {role}", {_token(f"font-{role}")};')
        yield from rules
        if families:
            yield f":root:root {{ {' '.join(families)} }}"

    def _colours(self, brand: Brand, *, dark: bool) -> Iterator[str]:
        given: dict[str, dict[str, str]] = {
            scheme: {
                _TOKENS[key]: colour
                for key, colour in getattr(brand.colours, scheme).model_dump().items()
                if colour is not None
            }
            for scheme in ("light", "dark")
        }
        for scheme, colours in given.items():
            if colours and dark:
                self._check_contrast(scheme, colours)
        if given["light"]:
            yield _root(given["light"])
        # otherwise a light colour without a dark counterpart would show on dark screens too
        ours = our_colours("dark")
        if dark and (on_dark := {name: ours[name] for name in given["light"]} | given["dark"]):
            yield f"@media screen and (prefers-color-scheme: dark) {{ {_root(on_dark)} }}"

    def _check_contrast(self, scheme: str, given: Mapping[str, str]) -> None:
        """Refuse colours with too little contrast to read text."""
        assert self._located is not None
        all_of = {**our_colours(scheme), **given}
        faint: dict[str, list[tuple[float, str, str]]] = {}
        pairs = [(ink, ground) for ink in (*_INKS, *_OUTCOMES) for ground in _GROUNDS]
        pairs += [(word, f"{word}-soft") for word in _OUTCOMES]
        pairs += [("ink", f"{word}-soft") for word in _OUTCOMES]
        for ink, ground in pairs:
            blamed = ink if ink in given else ground
            found = contrast(all_of[ink], all_of[ground])
            if blamed in given and found < TEXT:
                faint.setdefault(blamed, []).append((found, ink, ground))
        for blamed, found_faint in faint.items():
            worst, ink, ground = min(found_faint)
            key = next(key for key, token in _TOKENS.items() if token == blamed)
            other = ground if blamed == ink else ink
            against = [all_of[o if blamed == i else i] for i, o in pairs if blamed in (i, o)]
            shade = nearest(given[blamed], against)
            self._refuse(
                self._located.place("colours", scheme, key),
                f"'{given[blamed]}'",
                f"it and {_colour_name(other)} ({all_of[other]}) have a contrast of {worst:.1f} to 1, "
                f"and words need {TEXT} to 1",
                f"The nearest shade that has it everywhere is '{shade}'"
                if shade
                else "No shade of it has that with the other colours: change those too",
            )

    def _logo(self, brand: Brand, *, data: bool) -> Iterator[str]:
        if brand.logo is None:
            return
        assert self._located is not None
        for scheme in ("light", "dark"):
            name = getattr(brand.logo, scheme)
            if name is None or (data and scheme == "dark"):
                continue
            found = self._picture(_BRAND, name, self._located.place("logo", scheme))
            if found is None:
                continue
            raw, shape = found
            address = self._address(name, raw, inline=data)
            if data:
                yield (
                    f'.masthead .brand::before, .title-page::before {{ content: ""; display: block; '
                    f"width: {min(14 * shape, 120):.1f}mm; height: {min(14.0, 120 / shape):.1f}mm; "
                    f'margin-bottom: 2mm; background: url("{address}") left center / contain no-repeat; }}'
                )
                continue
            rule = (
                f".brand::before {{ width: {min(2.4 * shape, 12):.2f}rem; "
                f"height: {min(2.4, 12 / shape):.2f}rem; border: 0; border-radius: 0; "
                f'background: url("{address}") left center / contain no-repeat; }}'
            )
            yield (
                rule
                if scheme == "light"
                else (f"@media screen and (prefers-color-scheme: dark) {{ {rule} }}")
            )

    def _icon(self, brand: Brand) -> str:
        assert self._located is not None
        if brand.icon is None:
            return ICON
        found = self._picture(_BRAND, brand.icon, self._located.place("icon"))
        if found is None:
            return ICON
        return f"assets/{self._address(str(brand.icon), found[0], inline=False)}"

    # --- the theme --------------------------------------------------------------------------------

    def _theme(self) -> str:
        path = f"{_THEME}/theme.css"
        if path not in self._names:
            return ""
        self._used.add(path)
        css = self._text(path)
        self.problems += style_problems(css, path)
        rules = tinycss2.parse_stylesheet(css, skip_comments=True, skip_whitespace=True)
        return str(tinycss2.serialize(rules)).strip()

    def _text(self, path: str) -> str:
        try:
            return read_text(self._graph.file(path))
        except UnicodeDecodeError as error:
            self._refuse(Place(path), "this file", f"it is not UTF-8 ({error.reason})")
            return ""

    def _blocks(self) -> Iterator[tuple[str, dict[str, str]]]:
        texts = {}
        for block in BLOCKS:
            path = f"{_THEME}/{block}.html"
            if path in self._names:
                self._used.add(path)
                texts[block] = self._text(path)
        if not texts:
            return
        for edition in EDITIONS:
            tags: list[str] = []
            if edition == "customer":
                tags += self._mill.customer_languages
            elif edition == "mill":
                tags.append(self._mill.language)
            for tag in dict.fromkeys([*tags, "en"]):
                for paper in (False, True):
                    given = facts(self._mill, edition, tag, paper=paper)
                    filled = {
                        block: self._filled(block, text, given, paper=paper)
                        for block, text in texts.items()
                        if paper or block != "cover"
                    }
                    yield (
                        f"{edition}:{tag}:{'paper' if paper else 'page'}",
                        {block: html for block, html in filled.items() if html},
                    )

    def _filled(self, block: str, text: str, given: Mapping[str, object], *, paper: bool) -> str:
        path = f"{_THEME}/{block}.html"

        def picture(name: str) -> str | None:
            if f"{_THEME}/{name}" not in self._names:
                return None
            found = self._picture(_THEME, name, Place(path))
            if found is None:
                return ""
            address = self._address(name, found[0], inline=paper)
            return address if paper else f"{ROOT}assets/{address}"

        html, problems = block_html(text, path, given, picture)
        self.problems += [one for one in problems if one not in self.problems]
        return html and f'<div class="own-{block}">{html}</div>'


def _root(colours: Mapping[str, str]) -> str:
    words = " ".join(f"--{name}: {colour};" for name, colour in colours.items())
    return f":root:root {{ {words} }}"


def our_colours(scheme: str) -> dict[str, str]:
    """Return the colours of ``tokens.css`` by name, for light pages or dark screens."""
    light, _, dark = asset("tokens.css").partition("@media screen")
    found = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", light))
    return (
        found
        if scheme == "light"
        else {**found, **dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", dark))}
    )


def _token(name: str) -> str:
    found = re.search(rf"--{name}: ([^;]+);", asset("tokens.css"))
    assert found is not None
    return found[1]


def _colour_name(token: str) -> str:
    """Return the brand's key for a colour variable, or a description of the variable."""
    keys = {value: key for key, value in _TOKENS.items()}
    return keys.get(token) or f"the colour of '{token.removesuffix('-soft').replace('-', ' ')}'"


def _font_problem(data: bytes, *, figures: bool) -> tuple[str, str] | None:
    """Return why a file cannot be used as a font and what to do; None if it can."""
    from fontTools.ttLib import TTFont

    try:
        font = TTFont(io.BytesIO(data), lazy=True)
        cmap, widths = font.getBestCmap(), font["hmtx"].metrics
        lacking = [c for c in "0123456789%°³AZaz" if ord(c) not in cmap]
        of_figures = {widths[cmap[ord(c)]][0] for c in "0123456789" if ord(c) in cmap}
        tabular = "GSUB" in font and any(
            record.FeatureTag == "tnum" for record in font["GSUB"].table.FeatureList.FeatureRecord
        )
    except Exception as error:  # of a file somebody brought
        return (
            f"it cannot be read as a typeface ({type(error).__name__})",
            "Use .woff2, .ttf or .otf",
        )
    if lacking:
        return f"it has no '{''.join(lacking)}'", "Use a typeface that has all of Latin-1"
    if figures and len(of_figures) > 1 and not tabular:
        return (
            "its figures are of different widths, and would not stand under each other in a table",
            "Use a typeface with tabular figures",
        )
    return None


def _aspect_ratio(name: str, data: bytes) -> float:
    """Return a picture's aspect ratio (width over height).

    Raises
    ------
    ValueError
        If the picture cannot be read, or would fetch or run something.
    """
    if name.endswith(".png"):
        from PIL import Image

        try:
            with Image.open(io.BytesIO(data), formats=["PNG"]) as picture:
                picture.load()
                width, height = picture.size
        except Exception as error:  # of a file somebody brought
            raise ValueError(f"it cannot be read as PNG ({type(error).__name__})") from None
        return width / height
    return _svg_aspect_ratio(data)


_LOCAL = re.compile(r"\s*(#|data:image/(png|jpeg);base64,)")


def _svg_aspect_ratio(data: bytes) -> float:
    from defusedxml import ElementTree

    try:
        root = ElementTree.fromstring(data)
    except Exception as error:  # of a file somebody brought
        raise ValueError(f"it cannot be read as SVG ({type(error).__name__})") from None
    if root.tag != "{http://www.w3.org/2000/svg}svg":
        raise ValueError("it is no SVG: its root is not <svg xmlns='http://www.w3.org/2000/svg'>")
    for part in root.iter():
        tag = str(part.tag).rpartition("}")[2].lower()
        if tag in ("script", "foreignobject", "iframe", "audio", "video", "animate", "set"):
            raise ValueError(f"it holds <{tag}>, and a logo is a still picture")
        for key, value in part.attrib.items():
            name = key.rpartition("}")[2].lower()
            if name.startswith("on"):
                raise ValueError(f"it holds {name}=, which runs a script")
            if name in ("href", "src") and not _LOCAL.match(value):
                raise ValueError(f"it fetches '{value[:40]}', and pages fetch nothing")
        css = (part.text or "") if tag == "style" else ""
        if re.search(r"@import|url\(\s*['\"]?(?!#)", css + part.attrib.get("style", "")):
            raise ValueError("its style fetches something, and pages fetch nothing")
    box = [float(n) for n in re.findall(r"[\d.]+", root.attrib.get("viewBox", ""))]
    if len(box) != 4 or not box[2] or not box[3]:
        raise ValueError("it has no viewBox of four numbers, so its shape is not known")
    return box[2] / box[3]
