"""Every command in README, DEVELOPERS.md and the guide, run in order, and its output compared.

By default the pages are followed in a small part of the demonstration mill, which is quick. With
KILNFOLIO_DOCS=whole they are followed in the whole of it.
"""

import os
import re
import shutil
import subprocess

import pytest
from tests.conftest import PROJECT
from tests.cut import cut_of
from tests.docs.pages import Person, blocks_of, commands_of, not_printed, shell_environment

from kilnfolio.site.pages.guide import guide_files

WHOLE = os.environ.get("KILNFOLIO_DOCS") == "whole"
#: The charge used for a page that names none.
ANY = "HB-26-019"
#: Commands that take too long by default, and what is run instead: a build of the demonstration,
#: whose pages other tests read; and the weekly script, whose commands the page shows elsewhere.
BY_DEFAULT = {"sh builder/run build": "true", "sh weekly.sh": "sh -n weekly.sh"}
GUIDE = {page.slug: page for page in guide_files()}


@pytest.fixture
def person(tmp_path) -> Person:
    home = tmp_path / "home"
    home.mkdir()
    return Person(home, home, shell_environment(home), {} if WHOLE else BY_DEFAULT)


def put_into(person: Person, starts_in: str, text: str) -> None:
    """Bring somebody to the folder in which a page of this text starts."""
    if starts_in == "empty":
        return
    person.cwd = person.home / "kilnfolio"
    if WHOLE:
        for name in ("content", "schedules"):
            shutil.copytree(PROJECT / name, person.cwd / name)
        shutil.rmtree(person.cwd / "content/ledger")
    else:
        cut_of(PROJECT, person.cwd, set(re.findall(r"HB-2[56]-0(?!5[01])\d\d", text)) or {ANY})
    if starts_in == "clone":  # where the demonstration's other charges are sealed
        shutil.copytree(PROJECT / "content/ledger", person.cwd / "content/ledger")


@pytest.mark.parametrize("slug", [slug for slug, page in GUIDE.items() if page.front.starts_in])
def test_the_commands_of_a_guide_page_do_what_it_shows(slug, person):
    page = GUIDE[slug]
    put_into(person, page.front.starts_in, page.text)
    person.follow(blocks_of(page.text))
    assert person.done


@pytest.mark.parametrize(
    "page",
    [page for page in GUIDE.values() if not page.front.starts_in],
    ids=lambda page: page.slug,
)
def test_a_page_without_a_folder_to_start_in_has_no_commands(page):
    assert not [block for block in blocks_of(page.text) if block.kind == "sh"]


# --- README.md and DEVELOPERS.md ------------------------------------------------------------------


def own_commands() -> dict[str, str]:
    """Return the commands of builder/run, each with its description."""
    usage = subprocess.run(
        ["sh", "builder/run", "help"], cwd=PROJECT, capture_output=True, text=True, check=True
    ).stdout
    return dict(re.findall(r"^  (\w+) +(.+)$", usage, re.MULTILINE))


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_the_commands_of_the_front_pages_do_what_they_show(name, person):
    text = (PROJECT / name).read_text("utf-8")
    put_into(person, "demonstration", text)
    for block in blocks_of(text):
        if block.kind == "sh" and "sh builder/run" in block.text:
            # these run the tests, build the whole demonstration or need the network: what they
            # lead to is what runs now; see test_builder_run_has_every_command_that_is_shown
            continue
        person.follow([block])


def test_builder_run_has_every_command_that_is_shown():
    known = own_commands()
    assert set(known) == {"build", "test", "lint", "python"}
    shown = [
        command
        for name in ("README.md", "DEVELOPERS.md")
        for block in blocks_of((PROJECT / name).read_text("utf-8"))
        if block.kind == "sh"
        for command in commands_of(block)
        if "sh builder/run" in command
    ]
    assert shown
    for command in shown:
        words = command[command.index("sh builder/run") :].split()
        assert words[2] in known, command
        if words[3:4] == ["-m"]:
            module = PROJECT / "builder" / words[4].replace(".", "/")
            assert module.is_dir() or module.with_suffix(".py").is_file(), command
        for word in words[3:]:
            assert not word.startswith(("tests/", "builder/")) or (PROJECT / word).exists(), command


# --- the reader of pages itself -------------------------------------------------------------------


def test_a_line_that_was_not_printed_is_noticed():
    said = "one line\nHB-1: 3 held\nlast\n"
    assert not_printed("one line\n…\nlast\n", said) == ""
    assert not_printed("HB-1: … held\n", said) == ""
    assert not_printed("HB-1: … refused\n", said) == "HB-1: … refused"
    assert not_printed("last\none line\n", said) == "one line"  # the order counts


def test_a_wrong_exit_code_and_a_diff_that_does_not_apply_are_noticed(person):
    (person.cwd / "a.yaml").write_text("a: 1\nb: {c: 2, d: 3}\n")
    person.follow(blocks_of("```diff\n--- a.yaml\n-b: {… d: 3}\n+b: {… d: 4}\n```\n"))
    assert (person.cwd / "a.yaml").read_text() == "a: 1\nb: {c: 2, d: 4}\n"
    with pytest.raises(AssertionError, match="0 places"):
        person.follow(blocks_of("```diff\n--- a.yaml\n-b: 9\n+b: 4\n```\n"))
    with pytest.raises(AssertionError, match="kilnfolio schema charm"):
        person.follow(blocks_of("```sh\nkilnfolio schema charm\n```\n"))
    person.follow(blocks_of("```sh exits=2\nkilnfolio schema charm\n```\n"))


def test_commands_are_read_as_a_shell_reads_them():
    (block,) = blocks_of("```sh\n# said\na \\\n   b\ncat > x <<'END'\nc\nEND\nd\n```\n")
    assert commands_of(block) == ["a b", "cat > x <<'END'\nc\nEND", "d"]
