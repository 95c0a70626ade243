"""The files a site needs beside its pages: style sheets, fonts, scripts."""

from __future__ import annotations

import shutil
from importlib import resources
from pathlib import Path

#: The parts of a style sheet, in their order, by the edition that uses them. A customer's page is
#: fetched over a telephone beside the pack and carries no rule it has no use for.
_LOT_PARTS = ("tokens", "stand-ins", "charts", "page", "lot")
_ALL_PARTS = (*_LOT_PARTS, "drawings", "frame", "reading", "records")
_PARTS = {"mill": _ALL_PARTS, "customer": _LOT_PARTS, "auditor": _ALL_PARTS}

#: Files by edition, below ``assets``. A customer's page runs the scripts that compare it with its
#: label and read its chart out; an auditor's have charts and tables, no search, sums or practice.
_SHARED = ("fonts/*.woff2", "fonts/*.txt")
_FILES = {
    "mill": (*_SHARED, "calculators.css", "*.js", "vendor/*"),
    "customer": (*_SHARED, "label.js", "charts.js"),
    "auditor": (*_SHARED, "charts.js", "tables.js"),
}


def style_sheet(edition: str) -> str:
    """Return ``site.css`` of an edition, put together from its parts."""
    home = resources.files("kilnfolio.publish") / "assets"
    return "\n".join((home / f"{part}.css").read_text("utf-8") for part in _PARTS[edition])


def copy_assets(out: Path, edition: str = "mill") -> list[Path]:
    """Put the files into an edition's folder.

    Parameters
    ----------
    out : Path
        The edition's folder; files go into ``assets`` below it.
    edition : str
        Which edition: mill, customer or auditor.

    Returns
    -------
    list of Path
        What was written, sorted.
    """
    source = Path(str(resources.files("kilnfolio.publish") / "assets"))
    sheet = out / "assets/site.css"
    sheet.parent.mkdir(parents=True, exist_ok=True)
    sheet.write_text(style_sheet(edition), encoding="utf-8", newline="\n")
    written = [sheet]
    for pattern in _FILES[edition]:
        for path in sorted(source.glob(pattern)):
            target = out / "assets" / path.relative_to(source)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, target)
            written.append(target)
    return sorted(written)
