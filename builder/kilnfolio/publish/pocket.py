"""The handbook on A5: the same book, drawn closer, for a pocket at the kiln."""

from __future__ import annotations

from pathlib import Path

from kilnfolio.publish.book import BookWarningsError, book_html, pdf_of
from kilnfolio.publish.templating import environment
from kilnfolio.records.folder import MillFolder

#: Where it stands in the mill edition.
PATH = "handbook-a5.pdf"


def write_pocket(folder: MillFolder, out_path: Path, *, strict: bool = False) -> list[str]:
    """Write the handbook as a PDF of A5 pages.

    Parameters
    ----------
    folder : MillFolder
        The mill's records.
    out_path : Path
        Where the PDF is written.
    strict : bool
        Raise on a warning.

    Returns
    -------
    list of str
        WeasyPrint's warnings.

    Raises
    ------
    RecordProblems
        A chapter has problems.
    BookWarningsError
        In a strict build, WeasyPrint warned.
    """
    html = book_html(folder, environment(folder.mill.record))
    pdf, warnings = pdf_of(html, ("book.css", "pocket.css"))
    if strict and warnings:
        raise BookWarningsError("\n".join(warnings))
    out_path.write_bytes(pdf)
    return warnings
