"""Anchors once published stay: a link from a printed sheet or another site must lead somewhere.

A heading that is renamed keeps its ``{#anchor}``. Where a section is taken out, its anchor goes
into the chapter's ``aliases:`` with the section that answers instead, and stays in the list. New
anchors are added to the list by ``python -m tests.test_anchors SITE``.
"""

import re
import sys
from pathlib import Path

import pytest
from tests.conftest import PROJECT
from tests.site.site import small_mill

from kilnfolio.handbook.pages import render_handbook
from kilnfolio.records.problems import RecordProblems
from kilnfolio.rendering.templating import environment

PUBLISHED = PROJECT / "tests/data/published-anchors.txt"
#: Made by counting, and so free to move: marks of the index, footnotes, parts of drawings.
_COUNTED = re.compile(r"ix-\d+|(?:example|table|problem|fig)-[\d-]+|fn.*|.*-(?:title|desc)|q|main")
_ID = re.compile(r'\bid="([^"]+)"')


def anchors(site: Path) -> set[str]:
    """Return every lasting anchor of the handbook, the checks, the schedules and the sources."""
    mill = site / "mill"
    pages = [
        *mill.glob("handbook/*.html"),
        mill / "checks/index.html",
        mill / "sources.html",
        mill / "schedules/quercus-rubra-4-4.html",
        mill / "species/quercus-rubra.html",
    ]
    return {
        f"{page.relative_to(mill).as_posix()}#{found}"
        for page in pages
        for found in _ID.findall(page.read_text("utf-8"))
        if not _COUNTED.fullmatch(found)
    }


def test_no_published_anchor_has_gone(demo_site):
    published = PUBLISHED.read_text("utf-8").split()
    assert len(published) > 500
    assert sorted(set(published) - anchors(demo_site)) == []


def test_every_chapter_has_its_anchors_in_the_list():
    published = PUBLISHED.read_text("utf-8")
    for chapter in (PROJECT / "content/handbook").glob("*.md"):
        slug = re.sub(r"^\d+-", "", chapter.stem)
        assert f"handbook/{slug}.html#" in published, (
            f"the anchors of {slug} are not in the list yet: build the demonstration, then give "
            "python -m tests.test_anchors SITE"
        )


def test_an_anchor_of_old_leads_to_the_section_that_answers_instead(tmp_path):
    mill = small_mill(tmp_path / "a", library=True)
    chapter = mill.folder.root / "content/handbook/04-stacking.md"
    text = chapter.read_text("utf-8")
    chapter.write_text(text.replace("summary:", "aliases: {laths: stickers}\nsummary:", 1), "utf-8")
    env = environment(mill.folder.mill.record)
    pages = {page.path: page.html for page in render_handbook(mill.folder, env)}
    assert re.search(r'<span id="laths"></span><h2 id="stickers"', pages["handbook/stacking.html"])
    chapter.write_text(text.replace("summary:", "aliases: {laths: nowhere}\nsummary:", 1), "utf-8")
    mill.folder.graph.refresh()
    with pytest.raises(RecordProblems, match="no section has the anchor 'nowhere'"):
        list(render_handbook(mill.folder, env))


if __name__ == "__main__":
    kept = set(PUBLISHED.read_text("utf-8").split()) if PUBLISHED.exists() else set()
    PUBLISHED.write_text("\n".join(sorted(kept | anchors(Path(sys.argv[1])))) + "\n", "utf-8")
