"""The files beside an edition's pages, written into a folder for tests that open a page by itself."""

from pathlib import Path

from kilnfolio.site.static import assets


def copy_assets(out: Path, edition: str = "mill") -> list[Path]:
    """Write the files into an edition's folder, and return what was written, sorted.

    Parameters
    ----------
    out : Path
        The edition's folder; files go into ``assets`` below it.
    edition : str
        As for `assets`.
    """
    written = []
    for path, data in assets(edition).items():
        target = out / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
        written.append(target)
    return sorted(written)
