"""A mill that brings a house of its own: logo, colours, a typeface, and blocks with a style sheet."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tests.minimal import LIBRARY

FONTS = LIBRARY.parent / "builder/kilnfolio/site/assets/fonts"

LOGO = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 120 40">'
    '<path d="M4 36 L30 4 L56 36 Z M64 36 h52 v-24 h-52 z" fill="{}"/></svg>'
)

#: Invented: a blue mill. Its dark colours are lighter, as ours are.
BRAND: dict[str, Any] = {
    "format": 1,
    "logo": {"light": "logo.svg", "dark": "logo-dark.svg"},
    "icon": "icon.svg",
    "colours": {
        "light": {"accent": "#16417c", "accent_soft": "#dfe8f5", "link": "#1b4f72"},
        "dark": {"accent": "#a9c6ef", "accent_soft": "#1d2a3d"},
    },
    "fonts": {"figures": {"regular": "figures.woff2"}},
}
CLOSING = """<p class="own-line"><b>{{ mill.name }}</b>, {{ mill.place }}{% if edition == "customer" %}:
<a href="https://mill.example/care">how to look after your boards</a>{% endif %}</p>
<p class="own-picture"><img src="saw.svg" alt="A saw blade" width="48" height="16"></p>
"""
THEME = """/* the mill's own blocks, and a little of the frame */
.own-closing { margin: 2rem 0 0; padding: 1rem; border-top: 2px solid var(--timber); background: var(--timber-soft); }
.own-line { color: var(--ink); font-size: 0.9rem; }
.own-masthead p { margin: 0; color: var(--timber); }
.masthead { border-bottom: 3px solid var(--timber); }
h2 { border-top: 2px dotted var(--rule-strong); }
@media print { .own-picture { display: none; } }
"""


def own_house(**brand: Any) -> Mapping[str, Any]:
    """Return the files of a house for `minimal_mill`, parts of the brand given in place of ours."""
    return {
        "content/brand.yaml": {**BRAND, **brand},
        "content/brand/logo.svg": LOGO.format("#16417c"),
        "content/brand/logo-dark.svg": LOGO.format("#a9c6ef"),
        "content/brand/icon.svg": LOGO.format("#16417c"),
        "content/brand/figures.woff2": (FONTS / "folio-sans-400.woff2").read_bytes(),
        "content/theme/theme.css": THEME,
        "content/theme/masthead.html": "<p>Since 1921</p>\n",
        "content/theme/closing.html": CLOSING,
        "content/theme/cover.html": "<p>For use at {{ mill.name }}.</p>\n",
        "content/theme/saw.svg": LOGO.format("#555555"),
    }
