"""The pages of training alone, written out without building a site."""

from __future__ import annotations

from pathlib import Path

from tests.conftest import PROJECT
from tests.site_assets import copy_assets

from kilnfolio.records.checking import checked_mill
from kilnfolio.rendering.templating import environment
from kilnfolio.training.bench import render_bench
from kilnfolio.training.pages import NUMBERS_PATH, practice_numbers, render_practice


def write_practice(out: Path) -> Path:
    """Write the page of problems with its numbers and the assets, and return the page."""
    folder = checked_mill(PROJECT)
    page = render_practice(folder, environment(folder.mill.record, pdfs=False))
    copy_assets(out)
    (out / page.path).write_text(page.html, "utf-8")
    (out / NUMBERS_PATH).write_text(practice_numbers(folder), "utf-8")
    return out / page.path


def write_bench(out: Path) -> Path:
    """Write the page of the bench with the assets, and return it."""
    folder = checked_mill(PROJECT)
    page = render_bench(folder, environment(folder.mill.record, pdfs=False))
    copy_assets(out)
    (out / page.path).write_text(page.html, "utf-8")
    return out / page.path
