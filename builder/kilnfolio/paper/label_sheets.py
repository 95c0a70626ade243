"""Sheets of labels for packs: a QR code, the lot, and the seal in words.

Sizes are those of common label sheets (common practice, no source): measure a sheet of your own
before a long run. Codes keep the quiet zone of ISO/IEC 18004.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from markupsafe import Markup

from kilnfolio.paper.printing import pdf_of
from kilnfolio.rendering.compiled import PackageEnvironment
from kilnfolio.rendering.languages import SEALED, language
from kilnfolio.rendering.regional import PLAIN, RegionalFormat
from kilnfolio.rendering.seal_words import grouped
from kilnfolio.rendering.templating import day, set_language
from kilnfolio.runtime.files import write_whole
from kilnfolio.runtime.values import dataclass
from kilnfolio.site.pages.customer import CustomerLot
from kilnfolio.site.qr import qr_svg


@dataclass(frozen=True)
class Sheet:
    """A sheet of labels, with lengths in mm."""

    paper: str
    width: float
    height: float
    columns: int
    rows: int
    left: float
    top: float
    across: float
    """Horizontal distance between the left edges of neighbouring labels."""
    down: float
    """Vertical distance between the top edges of neighbouring labels."""

    @property
    def size(self) -> int:
        """Number of labels."""
        return self.columns * self.rows

    @property
    def small(self) -> bool:
        """Whether labels are too low for the seal's words beside the code; they then go below."""
        return self.height < 45.0

    @property
    def code(self) -> float:
        """Side of the code with its quiet zone, limited to leave room for the words."""
        return 24.5 if self.small else min(self.height - 7.0, self.width * 0.48, 60.0)

    def place(self, number: int) -> tuple[float, float]:
        """Return the left and top edge of a label by its number, counted from 0 row by row."""
        row, column = divmod(number, self.columns)
        return self.left + column * self.across, self.top + row * self.down


SHEETS = {
    "a4-99x67": Sheet("A4", 99.1, 67.7, 2, 4, 4.65, 13.1, 101.6, 67.7),
    "a4-63x38": Sheet("A4", 63.5, 38.1, 3, 7, 7.25, 15.15, 66.0, 38.1),
    "a4-105x148": Sheet("A4", 105.0, 148.5, 2, 2, 0.0, 0.0, 105.0, 148.5),
    "letter-102x51": Sheet("Letter", 101.6, 50.8, 2, 5, 4.0, 12.7, 106.4, 50.8),
    "letter-102x85": Sheet("Letter", 101.6, 84.7, 2, 3, 4.0, 12.7, 106.4, 84.7),
}


@dataclass(frozen=True)
class Label:
    """The contents of a label."""

    mill: str
    invented: bool
    lot: str
    pack: str
    species: str
    size: str
    measured: str
    """Mean MC and when it was measured; empty if the lot was not assessed."""
    words: tuple[str, ...]
    digits: str
    qr: Markup


def labels_of(
    view: CustomerLot, regional: RegionalFormat = PLAIN, tag: str = SEALED
) -> Iterator[Label]:
    """Yield a label for each pack of a sealed lot, in the region's units and a language.

    Raises
    ------
    ValueError
        If the lot is not sealed.
    """
    seal = view.served.seal.last
    if seal is None:
        raise ValueError(f"lot {view.record.lot} is not sealed")
    code = qr_svg(view.label_address, f"Code that leads to the record of lot {view.record.lot}")
    for pack in view.record.packs:
        yield Label(
            view.record.mill,
            view.record.invented,
            view.record.lot,
            pack.number,
            view.record.species.partition(" (")[0],
            language(tag).translate(regional.localized(view.record.size)),
            language(tag).translate(_measured(view)),
            tuple(seal.words.split()),
            grouped(seal.digits),
            code,
        )


def _measured(view: CustomerLot) -> str:
    if not (view.record.mean and view.record.measured):
        return ""
    return f"Mean MC {view.record.mean}, {day(view.record.measured[-1])}"


def write_sheets(
    labels: Sequence[Label],
    sheet: str,
    out: Path,
    *,
    skip: int = 0,
    tag: str = SEALED,
    signed: bool = False,
) -> list[str]:
    """Write sheets of labels as a PDF, followed by a page that explains them.

    Parameters
    ----------
    labels : sequence of Label
        The labels in order.
    sheet : str
        A key of `SHEETS`.
    out : Path
        Path of the PDF.
    skip : int
        Number of labels already used on the first sheet.
    tag : str
        The language of the labels.
    signed : bool
        Whether the mill has signed the safety wording in that language.

    Returns
    -------
    list of str
        WeasyPrint's warnings.
    """
    chosen = SHEETS[sheet]
    env = PackageEnvironment()
    set_language(env, language(tag), signed=signed)
    placed = [
        (number // chosen.size, chosen.place(number % chosen.size), label)
        for number, label in enumerate(labels, skip)
    ]
    pages = [
        [(place, label) for page, place, label in placed if page == wanted]
        for wanted in sorted({page for page, _, _ in placed})
    ]
    html = env.get_template("labels.html").render(
        sheet=chosen, name=sheet, pages=pages, labels=labels
    )
    pdf, warnings = pdf_of(html, "labels.css")
    write_whole(out, pdf)
    return warnings
