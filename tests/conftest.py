"""Fixtures shared by all tests."""

import os
from pathlib import Path

import pytest
from hypothesis import settings

# The same examples every time: a failure seen once can be seen again.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")

PROJECT = Path(__file__).resolve().parent.parent

# Commands that tests start as processes of their own run this tree, installed or not.
os.environ["PYTHONPATH"] = str(PROJECT / "builder")


@pytest.fixture(scope="session")
def demo_site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of the demo mill's site, built once for the whole run.

    While writing pages, KILNFOLIO_DEMO_SITE may name a site already built, to save the time.
    """
    if built := os.environ.get("KILNFOLIO_DEMO_SITE"):
        return Path(built)
    from kilnfolio.pipeline import build_site

    out = tmp_path_factory.mktemp("demo") / "site"
    build_site(PROJECT, out)
    return out
