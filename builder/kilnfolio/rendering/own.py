"""What a mill's own house adds to a page or a PDF; nothing where the mill brings nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from markupsafe import Markup

#: The icon beside a page's title.
ICON = "assets/icon.svg"
#: In a block: the way back to the root of the edition.
ROOT = "\N{OBJECT REPLACEMENT CHARACTER}/"


@dataclass(frozen=True)
class Own:
    """What the mill adds to what one edition prints in one language.

    Attributes
    ----------
    sheet : str
        Path of the mill's own style sheet in the edition; empty where it has none.
    icon : str
        Path of the picture beside a page's title.
    paper : str
        The mill's own style sheet for PDFs, with all it needs in it.
    on_pages, on_paper : mapping of str to str
        HTML by name of the block.
    """

    sheet: str = ""
    icon: str = ICON
    paper: str = ""
    on_pages: Mapping[str, str] = field(default_factory=dict)
    on_paper: Mapping[str, str] = field(default_factory=dict)

    def block(self, name: str, root: str | None = None) -> Markup:
        """Return a block of a page, or without `root` of a PDF; empty where there is none."""
        found = (self.on_paper if root is None else self.on_pages).get(name, "")
        return Markup(found.replace(ROOT, root or ""))


#: Of a mill that brings nothing.
NOTHING = Own()
