"""The mill's own house: its logo, colours, typefaces and icon."""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import AfterValidator

from kilnfolio.records.model import Name, Record, record_error

_COLOUR = re.compile(r"#[0-9a-f]{6}")


def _colour(text: str) -> str:
    if not _COLOUR.fullmatch(text.lower()):
        raise record_error(
            text,
            "it is not a colour of six hexadecimal digits",
            "Write it in quotes, as in '#7a4719'",
        )
    return text.lower()


def _file(*endings: str) -> AfterValidator:
    pattern = re.compile(rf"[A-Za-z0-9][A-Za-z0-9_-]*\.({'|'.join(endings)})")

    def check(name: str) -> str:
        if not pattern.fullmatch(name):
            raise record_error(
                name,
                "it is not the name of a file of a kind that is read here",
                f"Put the file into content/brand/, give it a name of letters, digits, '-' and '_', "
                f"and an ending of {' or '.join(endings)}",
            )
        return name

    return AfterValidator(check)


Colour = Annotated[Name, AfterValidator(_colour)]
Picture = Annotated[Name, _file("svg", "png")]
FontFile = Annotated[Name, _file("woff2", "woff", "ttf", "otf")]


class Logo(Record):
    """The mill's logo, beside its name; the name itself is always printed as text."""

    light: Picture
    """File in content/brand/, for light pages and for paper."""
    dark: Picture | None = None
    """File in content/brand/, for dark screens; the light one where it is not given."""


class Colours(Record):
    """Colours in the place of ours, each checked for contrast against all it stands on."""

    paper: Colour | None = None
    """Ground that the page lies on."""
    raised: Colour | None = None
    """Ground of what stands out, such as a field to fill in."""
    sunk: Colour | None = None
    """Ground of what lies back, such as the foot of a page."""
    ink: Colour | None = None
    """Colour of the text."""
    ink_soft: Colour | None = None
    """Colour of captions and small print."""
    accent: Colour | None = None
    """Colour of marks and of the lines above titles."""
    accent_soft: Colour | None = None
    """Ground in a tint of the accent."""
    link: Colour | None = None
    """Colour of links and of what has the keyboard."""
    link_soft: Colour | None = None
    """Ground in a tint of the colour of links."""


class ColourSchemes(Record):
    """Colours of light pages and paper, and of dark screens."""

    light: Colours = Colours()
    """On light pages and on paper."""
    dark: Colours = Colours()
    """On a screen of somebody who prefers dark pages."""


class Typeface(Record):
    """A typeface; its files lie in content/brand/."""

    regular: FontFile
    """Name of the file with the regular weight."""
    bold: FontFile | None = None
    """File of the bold weight; made from the regular one where it is not given."""
    italic: FontFile | None = None
    """File of the italic; made from the regular one where it is not given."""


class Typefaces(Record):
    """Typefaces in the place of ours."""

    text: Typeface | None = None
    """For text that is read."""
    figures: Typeface | None = None
    """For anything measured: its figures must all be of one width."""


class Brand(Record):
    """``content/brand.yaml``."""

    format: Literal[1]
    """The record format."""
    logo: Logo | None = None
    """The mill's logo in the place of our mark."""
    icon: Picture | None = None
    """File in content/brand/ with the picture a browser shows beside the page's title."""
    colours: ColourSchemes = ColourSchemes()
    """Colours in the place of ours."""
    fonts: Typefaces = Typefaces()
    """Typefaces in the place of ours."""
