"""Take a picture of every kind of page, for people to look at; run by hand, never by a test.

    python -m tests.browser.pictures SITE FOLDER

writes KIND-WIDTH-light.png and -dark.png at the widths of a phone, a tablet and two desks, KIND-print.pdf as the
browser prints it, and NAME-NNN.png from the PDFs: those of the site, and the sheets and labels that
commands print from the demonstration mill.
"""

import subprocess
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright
from tests.browser.kinds import addresses
from tests.conftest import CHROMIUM, CHROMIUM_ARGUMENTS, PROJECT

from kilnfolio.cli import main
from kilnfolio.paper.label_sheets import SHEETS

WIDTHS = (360, 768, 1280, 1920)


def take(site: Path, folder: Path) -> None:
    """Take every picture."""
    folder.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGUMENTS)
        for kind, address in addresses(site).items():
            for scheme in ("light", "dark"):
                for width in WIDTHS:
                    page = browser.new_page(
                        color_scheme=scheme, viewport={"width": width, "height": 900}
                    )
                    page.goto(address)
                    page.screenshot(path=folder / f"{kind}-{width}-{scheme}.png", full_page=True)
                    page.close()
            page = browser.new_page()
            page.goto(address)
            page.pdf(path=folder / f"{kind}-print.pdf", prefer_css_page_size=True)
            page.close()
        browser.close()
    for path in [*pdfs_of(site), *printed(folder)]:
        whole = (
            path.stem
            if path.stem.startswith(("labels", "sheet"))
            else (f"{path.relative_to(site).parts[0]}-{path.stem}")
        )
        subprocess.run(["pdftoppm", "-r", "60", "-png", path, folder / whole], check=True)


def pdfs_of(site: Path) -> list[Path]:
    """Return the books of the mill edition, and one record of each other edition."""
    records = [sorted((site / edition).rglob("*.pdf"))[:1] for edition in ("customer", "auditor")]
    return [*sorted((site / "mill").glob("*.pdf")), *records[0], *records[1]]


def printed(folder: Path) -> list[Path]:
    """Print labels on every sheet, and a kiln-side sheet on each paper."""
    charge = sorted((PROJECT / "content/charges").glob("*/*/charge.yaml"))[-1].parent.name
    runs = {
        folder / f"labels-{name}.pdf": ["labels", "--folder", PROJECT, "--sheet", name]
        for name in SHEETS
    }
    runs |= {
        folder / f"sheet-{paper}.pdf": ["sheet", charge, PROJECT, "--paper", paper]
        for paper in ("a4", "letter")
    }
    for path, words in runs.items():
        main([*map(str, words), "--out", str(path)])
    return list(runs)


if __name__ == "__main__":
    take(Path(sys.argv[1]).resolve(), Path(sys.argv[2]))
