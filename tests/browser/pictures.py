"""Take a picture of every kind of page, for people to look at; run by hand, never by a test.

    python -m tests.browser.pictures SITE FOLDER

writes KIND-WIDTH-light.png and -dark.png at phone, tablet and desk width, KIND-print.pdf as the
browser prints it, and handbook-NNN.png and record-N.png from the PDFs.
"""

import subprocess
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright
from tests.browser.kinds import addresses
from tests.conftest import CHROMIUM_ARGUMENTS, _chromium

WIDTHS = (360, 768, 1440)


def take(site: Path, folder: Path) -> None:
    """Take every picture."""
    folder.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=_chromium(), args=CHROMIUM_ARGUMENTS)
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
    record = next(iter(sorted((site / "customer").rglob("record.pdf"))))
    for path, name, dots in (
        (site / "mill/handbook.pdf", "handbook", "40"),
        (site / "mill/handbook-a5.pdf", "pocket", "60"),
        (record, "record", "80"),
    ):
        subprocess.run(["pdftoppm", "-r", dots, "-png", path, folder / name], check=True)


if __name__ == "__main__":
    take(Path(sys.argv[1]).resolve(), Path(sys.argv[2]))
