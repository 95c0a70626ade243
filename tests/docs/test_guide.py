"""The guide is true where running its commands cannot show it."""

import re
from pathlib import Path

import pytest
from tests.conftest import PROJECT
from tests.site.site import Outline, shared_mill

from kilnfolio.cli import COMMANDS, main
from kilnfolio.records.sheet_words import roles
from kilnfolio.review.formulas import FORMULAS
from kilnfolio.site.pages.guide import KINDS, guide_files
from kilnfolio.site.serving import HEADERS, HTTPS_HEADERS, TYPES

GUIDE = {page.slug: page for page in guide_files()}
HOME = PROJECT / "builder/kilnfolio/guide"
#: Parts of the edition that are made in one piece, not with its other pages.
ELSEWHERE = (
    "../assets/", "../handbook/", "../calculators", "../practice", "../drills", "../bench",
    "../lessons",
)  # fmt: skip


@pytest.fixture(scope="module")
def made() -> dict[str, Outline]:
    """Return the pages of the mill edition, by path."""
    mill = shared_mill()
    return {page.path: Outline(page.html) for page in mill.pages}


def test_the_guide_has_a_tutorial_how_to_pages_and_every_other_kind():
    kinds = [page.front.kind for page in GUIDE.values()]
    assert kinds.count("tutorial") == 1
    assert kinds.count("how-to") >= 10
    assert set(kinds) == set(KINDS)


def test_every_page_is_made_and_linked_from_the_contents(made):
    contents = made["guide/index.html"]
    for slug in GUIDE:
        assert f"guide/{slug}.html" in made
        assert f"{slug}.html" in contents.links
    assert "guide/index.html" in made["index.html"].links


def test_links_between_pages_have_targets_on_a_code_host_too():
    for name in ("README.md", "DEVELOPERS.md"):
        text = (PROJECT / name).read_text("utf-8")
        for target in re.findall(r"\]\((?!https?:)([^)#]+)", text):
            assert (PROJECT / target).exists(), target
    for path in HOME.glob("*.md"):
        for target in re.findall(r"\]\((?!site:|https?:|#)([^)#]+)", path.read_text("utf-8")):
            assert (HOME / target).exists(), (path.name, target)


def test_links_in_the_built_pages_have_targets(made):
    for slug in GUIDE:
        for link in made[f"guide/{slug}.html"].links:
            path, _, anchor = link.partition("#")
            if link.startswith(ELSEWHERE):
                continue
            target = (
                f"guide/{slug}.html"
                if not path
                else str(Path("guide").joinpath(path)).replace("guide/../", "")
            )
            assert target in made, (slug, link)
            assert not anchor or anchor in made[target].ids, (slug, link)


def test_the_headers_shown_are_those_compared():
    text = GUIDE["publish"].text
    always, secure = (
        dict(line.split(": ", 1) for line in shown.splitlines())
        for shown in re.findall(r"^```http\n(.*?)^```$", text, re.DOTALL | re.MULTILINE)
    )
    assert (always, secure) == (HEADERS, HTTPS_HEADERS)
    configured = dict(re.findall(r'add_header (\S+) "([^"]+)" always;', text))
    assert configured == HEADERS | HTTPS_HEADERS
    types = dict(re.findall(r"([a-z]+/[a-z0-9+]+) ([a-z0-9]+);", text))
    assert {f".{suffix}": kind for kind, suffix in types.items()} == TYPES


def test_the_listed_commands_are_those_of_the_program(capsys):
    known = set(COMMANDS)
    commands = GUIDE["look-it-up"].text.partition("## Exit codes")[0]
    assert set(re.findall(r"^\| `([\w-]+)` \|", commands, re.MULTILINE)) == known
    for command in known:
        with pytest.raises(SystemExit):
            main([command, "--help"])
        assert f"example: kilnfolio {command}" in " ".join(capsys.readouterr().out.split())


def test_every_formula_of_the_registry_is_on_the_page_of_the_method(made):
    words = made["guide/method.html"].text
    for formula in FORMULAS.values():
        assert formula.symbols in words, formula.name


def test_every_heading_that_is_read_is_on_the_page_of_sheets(made):
    words = made["guide/read-weighing-sheets.html"].text
    for role in roles().values():
        assert role.name in words
        assert all(", ".join(those) in words for those in role.words.values()), role.name


def test_the_licences_name_what_is_bundled():
    assets = PROJECT / "builder/kilnfolio/site/assets"
    text = GUIDE["licences"].text
    for face in {path.stem.split("-4")[0].split("-6")[0] for path in assets.glob("fonts/*.woff2")}:
        assert face.replace("-", " ").title() in text
    script = (assets / "vendor/minisearch.min.js").read_text("utf-8")
    assert re.match(r"/\*! (MiniSearch [\d.]+),", script)[1] in text
    for notice in assets.glob("*/*.txt"):
        holder = re.search(r"Copyright (\d{4})\D+", notice.read_text("utf-8"))
        assert f"Copyright {holder[1]}" in text, notice.name
