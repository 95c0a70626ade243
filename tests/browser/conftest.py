"""A headless Chromium for the tests that look at built pages."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

# Debian's own Chromium is used, so no browser is downloaded. It must not call home during a test.
CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def _chromium() -> str:
    usual = Path("/usr/bin/chromium")
    found = str(usual) if usual.exists() else shutil.which("chromium")
    if found is None:
        raise RuntimeError("Chromium is not installed; `sh builder/run test` installs it.")
    return found


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Return one running Chromium for the whole run."""
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=_chromium(), args=CHROMIUM_ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """Return an empty page with storage of its own."""
    context = browser.new_context()
    yield context.new_page()
    context.close()
