"""The files a site needs beside its pages: style sheets, fonts, scripts."""

from __future__ import annotations

import shutil
from importlib import resources
from pathlib import Path

#: Files by the edition that needs them, below ``assets``. A customer's page runs
#: the one that compares it with its label.
_SHARED = ("site.css", "tokens.css", "fonts/*.woff2", "fonts/*.txt")
_CUSTOMER = ("label.js",)
_MILL = ("calculators.css", "*.js", "vendor/*")


def copy_assets(out: Path, *, scripts: bool = True) -> list[Path]:
    """Copy the files into an edition's folder.

    Parameters
    ----------
    out : Path
        The edition's folder; files go into ``assets`` below it.
    scripts : bool
        With search and the rest of the scripts; not for the customer edition.

    Returns
    -------
    list of Path
        What was written, sorted.
    """
    source = Path(str(resources.files("kilnfolio.publish") / "assets"))
    written = []
    for pattern in (*_SHARED, *(_MILL if scripts else _CUSTOMER)):
        for path in sorted(source.glob(pattern)):
            target = out / "assets" / path.relative_to(source)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, target)
            written.append(target)
    return sorted(written)
