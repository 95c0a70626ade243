"""A page for the tests that look at built pages."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

# A machine that does other work is slow to draw; a page that never gets there still fails.
expect.set_options(timeout=30_000)


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """Return an empty page with storage of its own."""
    context = browser.new_context()
    yield context.new_page()
    context.close()
