"""The mill's house style: its logo, colours, typefaces and icon."""

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
    """File in content/brand/, for dark screens; by default the light one."""


class Colours(Record):
    """Colours in place of ours, each checked for contrast with its background."""

    paper: Colour | None = None
    """Background of the page."""
    raised: Colour | None = None
    """Background of raised parts, such as a field to fill in."""
    sunk: Colour | None = None
    """Background of sunken parts, such as the foot of a page."""
    ink: Colour | None = None
    """Colour of the text."""
    ink_soft: Colour | None = None
    """Colour of captions and small print."""
    accent: Colour | None = None
    """Colour of marks and of the lines above titles."""
    accent_soft: Colour | None = None
    """Background in a tint of the accent colour."""
    link: Colour | None = None
    """Colour of links and of the keyboard focus."""
    link_soft: Colour | None = None
    """Background in a tint of the colour of links."""


class ColourSchemes(Record):
    """Colours of light pages and paper, and of dark screens."""

    light: Colours = Colours()
    """On light pages and on paper."""
    dark: Colours = Colours()
    """On the screens of people who prefer dark pages."""


class Typeface(Record):
    """A typeface; its files lie in content/brand/."""

    regular: FontFile
    """Name of the file with the regular weight."""
    bold: FontFile | None = None
    """File of the bold weight; by default made from the regular one."""
    italic: FontFile | None = None
    """File of the italic; by default made from the regular one."""


class Typefaces(Record):
    """Typefaces in place of ours."""

    text: Typeface | None = None
    """For running text."""
    figures: Typeface | None = None
    """For measured values; its digits must all have the same width."""


class Brand(Record):
    """``content/brand.yaml``."""

    format: Literal[1]
    """The record format."""
    logo: Logo | None = None
    """The mill's logo, in place of ours."""
    icon: Picture | None = None
    """File in content/brand/ with the icon that a browser shows beside the page's title."""
    colours: ColourSchemes = ColourSchemes()
    """Colours in place of ours."""
    fonts: Typefaces = Typefaces()
    """Typefaces in place of ours."""
