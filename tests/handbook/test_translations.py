"""Chapters in another language: shown where there are any, English and marked where there are none."""

import re

import pytest
from tests.handbook.chapters import FRONT, NAME
from tests.minimal import minimal_mill

from kilnfolio.handbook.compiled import compile_handbook
from kilnfolio.handbook.pages import render_handbook
from kilnfolio.records.checking import checked_mill
from kilnfolio.site.context import template_environment

BODY = "## Stickers {#stickers}\n\nSee [the other](second.md#more).\n"
SECOND = FRONT.replace("number: 1", "number: 2").replace("slug: small", "slug: second")
SECOND = SECOND.replace("Small chapter", "Second chapter")
FRENCH = FRONT.replace("Small chapter", "Petit chapitre").replace("One sentence.", "Une phrase.")
TEXT = (
    "## Baguettes {#stickers}\n\nVoir [l’autre](second.md#more), et [ici](#stickers). {q: 25 mm}\n"
)
FILES = {
    NAME: FRONT + BODY,
    "content/handbook/02-second.md": SECOND + "## More {#more}\n\nWords.\n",
    "content/handbook/fr/01-small.md": FRENCH + TEXT,
}


def pages(root, *, language="en", **files):
    minimal_mill(root, files={**FILES, **files}, mill={"language": language})
    mill = checked_mill(root)
    made = render_handbook(mill, template_environment(mill.graph, "mill"))
    return {page.path: page.html for page in made}


def problems(root, **files):
    minimal_mill(root, files={**FILES, **files})
    return [str(one) for one in compile_handbook(checked_mill(root), "site").problems]


def test_a_translated_chapter_stands_beside_the_english_one(tmp_path):
    made = pages(tmp_path)
    french, english = made["handbook/small.fr.html"], made["handbook/small.html"]
    assert '<h1 id="top" lang="fr">Petit chapitre</h1>' in french
    assert re.search(r'<div class="translated" lang="fr">\s*<h2 id="stickers"', french)
    for page, tag, address in ((english, "fr", "small.fr.html"), (french, "en", "small.html")):
        assert f'<link rel="alternate" hreflang="{tag}" href="{address}">' in page
        assert f'<a href="{address}" hreflang="{tag}" lang="{tag}">' in page
    assert "Baguettes" not in english


def test_what_is_not_translated_falls_back_to_english_and_says_so(tmp_path):
    made = pages(tmp_path)
    assert "handbook/second.fr.html" not in made
    contents = made["handbook/index.fr.html"]
    assert re.search(
        r'<a href="second.html" lang="en" hreflang="en">2. Second chapter '
        r'<span class="badge" lang="en">in English</span></a>',
        contents,
    )
    assert '<a href="small.fr.html" lang="fr" hreflang="fr">1. Petit chapitre</a>' in contents
    # links within a translation lead to translations, and to English where there is none
    assert 'href="second.html#more"' in made["handbook/small.fr.html"]
    after = made["handbook/small.fr.html"].partition('class="prevnext"')[2]
    assert (
        'lang="en" hreflang="en">2 Second chapter <span class="badge" lang="en">in English' in after
    )


def test_a_mill_without_translations_has_no_switch(tmp_path):
    made = pages(tmp_path, **{"content/handbook/fr/01-small.md": None})
    assert not any(path.endswith(".fr.html") for path in made)
    assert not any('class="languages"' in html or "hreflang" in html for html in made.values())


def test_a_translation_that_is_behind_says_so(tmp_path):
    change = "changes:\n  - {revision: 2, on: 2026-01-05, by: x, what: y}\n"
    newer = FRONT.replace("revision: 1\n", f"revision: 2\n{change}")
    made = pages(tmp_path, **{NAME: newer + BODY})
    assert (
        "Translated from revision 1. The English chapter is at revision 2"
        in (made["handbook/small.fr.html"])
    )
    assert "Translated from" not in made["handbook/small.html"]


@pytest.mark.parametrize(
    ("name", "front", "why"),
    [
        ("01-other.md", FRENCH.replace("slug: small", "slug: other"), "no English chapter"),
        ("02-small.md", FRENCH, "is not that of content/handbook/01-small.md"),
        ("01-small.md", FRENCH.replace("revision: 1", "revision: 3"), "is at revision 1"),
    ],
)
def test_a_translation_of_nothing_is_refused(tmp_path, name, front, why):
    files = {"content/handbook/fr/01-small.md": None, f"content/handbook/fr/{name}": front + TEXT}
    [problem] = problems(tmp_path, **files)
    assert f"content/handbook/fr/{name}" in problem
    assert why in problem


def test_a_mistake_in_a_translation_is_reported_at_its_line(tmp_path):
    wrong = TEXT.replace("second.md#more", "third.md")
    found = problems(tmp_path, **{"content/handbook/fr/01-small.md": FRENCH + wrong})
    [problem] = found
    assert "content/handbook/fr/01-small.md:12" in problem


def test_a_mill_whose_own_pages_are_french_begins_with_the_french_chapters(tmp_path):
    made = pages(tmp_path, language="fr")
    contents = made["handbook/index.html"]
    assert '<a href="small.fr.html">1. Petit chapitre</a>' in contents
    assert '<a href="second.html" lang="en" hreflang="en">2. Second chapter' in contents
    assert '<h1 id="top" lang="en">Second chapter</h1>' in made["handbook/second.html"]
    assert '<h1 id="top">Petit chapitre</h1>' in made["handbook/small.fr.html"]
