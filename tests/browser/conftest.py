"""A page for the tests that look at built pages."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

# A busy machine draws slowly; a page that never finishes still fails.
expect.set_options(timeout=30_000)

_HERE = Path(__file__).parent


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Give each browser test a second try: on a busy machine Chromium fails now and then.

    The summary names every test that needed it; a page that is wrong fails twice.
    """
    for item in items:
        if _HERE in item.path.parents:
            # a site that cannot be built is not tried again for each test
            item.add_marker(
                pytest.mark.flaky(reruns=1, only_rerun=["AssertionError", "TimeoutError"])
            )


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """Return an empty page with storage of its own."""
    context = browser.new_context()
    yield context.new_page()
    context.close()
