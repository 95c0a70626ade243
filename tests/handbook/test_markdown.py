"""Chapters as text: front matter, forms, links, and what is refused, with line and column."""

import pytest
from tests.handbook.chapters import DRAWING, FRONT, body_of, handbook, problems_of

from kilnfolio.handbook.index import by_letter, index_lines
from kilnfolio.handbook.pages import plain_words
from kilnfolio.handbook.svg import check_drawing, read_drawing


def test_markdown_becomes_html(tmp_path):
    body = body_of(
        tmp_path, '## Stickers {#stickers}\n\nOne *word*.\n\n!!! practice "How"\n    Do.\n'
    )
    assert '<h2 id="stickers">Stickers' in body.html
    assert '<div class="admonition practice">' in body.html
    assert [(h.id, h.text) for h in body.headings] == [("stickers", "Stickers¶")] or body.headings[
        0
    ].text == "Stickers"


def test_a_quantity_is_printed_in_both_unit_systems(tmp_path):
    words = plain_words(body_of(tmp_path, "Cut {q: 25 mm} at {q: 110 °F}.\n").html)
    assert words.replace("\u00a0", " ") == "Cut 25 mm (0.98 in) at 43.3 °C (110 °F)."


def test_a_citation_links_to_the_list_of_sources(tmp_path):
    body = body_of(
        tmp_path,
        "So {cite: wood-handbook, Table 4-2, from memory}.\n\nAnd so {cite: common practice}.\n",
    )
    assert '<a href="#source-wood-handbook">Wood Handbook 2021, Table 4-2</a>' in body.html
    assert "from memory" in body.html
    assert "status-common-practice" in body.html
    assert body.cited == ["wood-handbook"]


def test_an_index_term_marks_its_place_and_stays_invisible(tmp_path):
    contents = handbook(tmp_path, "Text {index: stickers!spacing} more.\n\n{index: Altitude} x\n")
    assert not contents.problems
    body = contents.bodies["small"]
    assert "stickers" not in plain_words(body.html)
    lines = index_lines(contents, here="index-of-terms")
    assert [(letter, [line.term for line in group]) for letter, group in by_letter(lines)] == [
        ("A", ["Altitude"]),
        ("S", ["stickers"]),
    ]
    (sub,) = lines[1].subs
    assert sub.term == "spacing"
    assert [(place.words, place.address) for place in sub.places] == [
        ("1 Small chapter", "small.html#ix-1")
    ]
    assert 'id="ix-1"' in body.html


@pytest.mark.parametrize(
    ("target", "address"),
    [
        ("#here", "#here"),
        ("small.md#here", "#here"),
        ("species:quercus-rubra", "../species/quercus-rubra.html"),
        ("https://example.org/x", "https://example.org/x"),
    ],
)
def test_links_use_relative_addresses(tmp_path, target, address):
    body = body_of(tmp_path, f"## Here {{#here}}\n\nSee [it]({target}).\n")
    assert f'href="{address}"' in body.html


def test_a_check_is_linked_by_its_slug(tmp_path):
    body = body_of(tmp_path, "See [it](check:wet-bulb-above-dry-bulb).\n")
    assert 'href="../checks/' in body.html


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("\nText\n\nBad {q: 25 parsecs}.\n", "01-small.md:13:5: the quantity '25 parsecs'"),
        (
            "{cite: wood-handbok, Table 4-2}\n",
            "01-small.md:10:1: publication 'wood-handbok': there is no publication of this name. "
            "Did you mean 'wood-handbook'?",
        ),
        ("a {foo: b}\n", "01-small.md:10:3: the form '{foo: …}': there is no such form"),
        (
            "x\n\nSee [it](smal.md).\n",
            "01-small.md:12:10: chapter 'smal': there is no chapter of this "
            "name. Did you mean 'small'?",
        ),
        ("See [it](small.md#nowhere).\n", "01-small.md:10:10: anchor in small.md 'nowhere'"),
        ("See [it](species:quercus-rubr).\n", "Did you mean 'quercus-rubra'?"),
        ("See [it](javascript:alert(1)).\n", "01-small.md:10:10: the link 'javascript:alert(1'"),
        (
            "See [it](../../etc/passwd).\n",
            "the link '../../etc/passwd': it leads nowhere in this book",
        ),
        ("One\n<script>alert(1)</script>\n", "01-small.md:11:1: '<script>alert(1)</sc"),
        ("An ![image](x.png)\n", "01-small.md:10:4: an image: drawings come by the directive"),
        (
            'Text\n{: onclick="x()" }\n',
            "01-small.md:11:1: '{: onclick=\"x()\" }': attributes are not",
        ),
        (
            "::: tabel\nkind: emc\n:::\n",
            "01-small.md:10:1: the directive 'tabel': there is no such "
            "directive. Did you mean 'table'?",
        ),
        ("::: figure\nname: x\n", "01-small.md:10:1: the directive 'figure' is not closed"),
        ("text\n\n:::\n", "01-small.md:12:1: ':::' closes nothing"),
    ],
)
def test_a_mistake_is_reported_at_its_place(tmp_path, body, said):
    problems = problems_of(tmp_path, body)
    assert any(said in problem for problem in problems), problems


def test_every_mistake_of_every_chapter_is_reported_in_one_run(tmp_path):
    problems = problems_of(
        tmp_path,
        "{q: 1 foo}\n\n{cite: nobody}\n\n[x](y.md)\n",
        **{
            "02-other.md": FRONT.replace("number: 1", "number: two").replace("small", "other"),
            "03-third.md": "no front matter\n",
        },
    )
    assert [problem.split(": ")[0].removeprefix("content/handbook/") for problem in problems] == [
        "01-small.md:10:1",
        "01-small.md:12:1",
        "01-small.md:14:5",
        "02-other.md:3:9",
        "03-third.md:1:1",
    ]


def test_front_matter_refuses_an_unknown_key_with_a_suggestion(tmp_path):
    (problem,) = problems_of(tmp_path, "", front=FRONT.replace("summary:", "sumary:", 1) + "x\n")[
        :1
    ]
    assert problem.startswith("content/handbook/01-small.md:5:1") or "sumary" in problem
    assert "Did you mean 'summary'?" in " ".join(
        problems_of(tmp_path / "again", "", front=FRONT.replace("summary:", "sumary:", 1))
    )


def test_html_that_slips_through_is_escaped(tmp_path):
    """The problem stops a build; even so, the page itself would contain no live markup."""
    contents = handbook(
        tmp_path, "<script>alert(1)</script>\n\n<b onclick=x>y</b>\n\n[a](javascript:x)\n"
    )
    html = contents.bodies["small"].html
    assert "<script" not in html
    assert "<b " not in html
    assert "javascript" not in html


@pytest.mark.parametrize(
    "bad",
    [
        DRAWING.replace("<path", "<script>x</script><path"),
        DRAWING.replace('class="ink"', 'onload="x()"'),
        DRAWING.replace('class="ink"', 'style="fill:red"'),
        DRAWING.replace('class="ink"', 'fill="#f00"'),
        DRAWING.replace("<path", '<use href="https://example.org/x#y"/><path'),
        DRAWING.replace("<path", '<image href="file:///etc/passwd"/><path'),
        DRAWING.replace('class="ink"', 'clip-path="url(https://example.org/x)"'),
        '<!DOCTYPE svg [<!ENTITY a "b">]>' + DRAWING,
        DRAWING.replace("<desc>D</desc>", ""),
        "<svg",
        "",
    ],
)
def test_a_drawing_that_could_run_or_fetch_is_refused(bad):
    assert check_drawing(bad, "x.svg")


def test_the_ids_of_a_drawing_are_made_unique(tmp_path):
    path = tmp_path / "x.svg"
    path.write_text(DRAWING.replace("<svg ", '<svg aria-labelledby="t" '))
    text, problems = read_drawing(path, "x.svg", "fig-a")
    assert not problems
    assert 'aria-labelledby="fig-a-t"' in text
    assert 'id="fig-a-t"' in text


def test_a_chapter_links_to_pages_of_the_mills_own_charges(tmp_path):
    body = body_of(tmp_path, "See [trends](mill:trends) and [degrade](mill:degrade).\n")
    assert 'href="../trends/index.html"' in body.html
    assert 'href="../trends/degrade.html"' in body.html
    (problem,) = problems_of(tmp_path, "See [this](mill:trend).\n")
    assert "trends" in problem


def test_the_glossary_has_anchors_synonyms_and_links(tmp_path):
    glossary = (
        FRONT.replace("number: 1\n", "")
        .replace("slug: small", "slug: glossary")
        .replace(
            "cautions: []",
            "cautions: []\nterms:\n  - {term: Sticker, anchor: sticker, "
            "also: [fillet, lath], definition: A strip., see: [bow]}\n  - {term: Bow, "
            "anchor: bow, definition: A bend.}",
        )
    )
    from tests.handbook.chapters import folder_of

    from kilnfolio.handbook.pages import render_handbook
    from kilnfolio.rendering.templating import environment

    contents = handbook(tmp_path, "A [sticker](term:sticker).\n", **{"glossary.md": glossary})
    assert not contents.problems, contents.problems
    folder = folder_of(tmp_path)
    pages = {page.path: page for page in render_handbook(folder, environment(folder.mill.record))}
    assert 'href="glossary.html#sticker"' in pages["handbook/small.html"].html
    page = pages["handbook/glossary.html"]
    assert 'id="sticker"' in page.html
    assert 'href="#bow"' in page.html
    assert "fillet" in page.text
    assert page.kind == "glossary"


def test_a_page_is_complete_html(tmp_path):
    from tests.handbook.chapters import folder_of

    from kilnfolio.handbook.pages import render_handbook
    from kilnfolio.rendering.safety import SAFETY
    from kilnfolio.rendering.templating import environment

    handbook(tmp_path, "## Here {#here}\n\nText.\n")
    folder = folder_of(tmp_path)
    pages = list(render_handbook(folder, environment(folder.mill.record)))
    assert [page.path for page in pages] == [
        "handbook/index.html",
        "handbook/index-of-terms.html",
        "handbook/small.html",
    ]
    for page in pages:
        assert SAFETY in page.html
        assert "is invented" in page.html or "are invented" in page.html
        assert 'href="../assets/site.css"' in page.html
        assert "http://" not in page.html.replace("http://www.w3.org", "")
        assert 'href="/' not in page.html
        assert 'src="/' not in page.html
