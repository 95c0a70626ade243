"""What a mill's own brand and theme add to a page or PDF."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

from markupsafe import Markup

from kilnfolio.runtime.values import dataclass

#: The icon beside a page's title.
ICON = "assets/icon.svg"
#: Placeholder in a block for the path to the root of the edition.
ROOT = "\N{OBJECT REPLACEMENT CHARACTER}/"


@dataclass(frozen=True)
class Own:
    """The mill's additions to an edition in one language.

    Attributes
    ----------
    sheet : str
        Path of the mill's own style sheet in the edition; empty if it has none.
    icon : str
        Path of the icon beside a page's title.
    paper : str
        The mill's own style sheet for PDFs, self-contained.
    on_pages, on_paper : mapping of str to str
        HTML of blocks by name.
    """

    sheet: str = ""
    icon: str = ICON
    paper: str = ""
    on_pages: Mapping[str, str] = field(default_factory=dict)
    on_paper: Mapping[str, str] = field(default_factory=dict)

    def block(self, name: str, root: str | None = None) -> Markup:
        """Return a block for a page or, without `root`, for a PDF; empty if there is none."""
        found = (self.on_paper if root is None else self.on_pages).get(name, "")
        return Markup(found.replace(ROOT, root or ""))


#: For a mill without a brand or theme.
NOTHING = Own()
