"""How much a command prints, and in which colours."""

import re

import pytest
from tests.minimal import minimal_mill

from kilnfolio.cli import main

PAINT = re.compile(r"\x1b\[[0-9;]*m")


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    root = tmp_path_factory.mktemp("mill")
    minimal_mill(root)
    return root


def said(mill, capsys, *options):
    assert main(["check", *options, str(mill)]) == 1  # it has questions
    return capsys.readouterr().out


def test_quiet_prints_only_what_needs_an_answer(mill, capsys):
    quiet, usual, all_ = (said(mill, capsys, *options) for options in (["-q"], [], ["-v"]))
    assert 0 < len(quiet) < len(usual) < len(all_)
    assert "lot L1" in usual
    assert "lot L1" not in quiet
    for line in quiet.splitlines()[1:]:
        assert line in usual
    with pytest.raises(SystemExit) as ended:
        main(["check", "-q", "-v", str(mill)])
    assert ended.value.code == 2


# no-color.org: "when present and not an empty string (regardless of its value), prevents the
# addition of ANSI color"; TERM=dumb is terminfo's terminal without any.
@pytest.mark.parametrize(
    ("given", "painted"),
    [({}, True), ({"NO_COLOR": "1"}, False), ({"NO_COLOR": ""}, True), ({"TERM": "dumb"}, False)],
    ids=str,
)
def test_colour_only_on_terminals_that_want_it(mill, capsys, monkeypatch, given, painted):
    plain = said(mill, capsys)
    assert not PAINT.search(plain)  # no terminal, no colour
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    for name, value in given.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    coloured = said(mill, capsys)
    assert bool(PAINT.search(coloured)) is painted
    assert PAINT.sub("", coloured) == plain


def test_a_quiet_build_shows_no_progress(tmp_path, capsys, monkeypatch):
    from types import SimpleNamespace

    def built(*_, tell, **__):
        tell("pages", 1, 2)
        return SimpleNamespace(warnings=["look here"], broken=[], made=1, pages=2, pdfs=0)

    monkeypatch.setattr("kilnfolio.pipeline.build.build_site", built)
    assert main(["build", "-q", str(tmp_path)]) == 0
    told = capsys.readouterr()
    assert (told.out, told.err) == ("", "kilnfolio: warning: look here\n")
    assert main(["build", str(tmp_path)]) == 0
    assert "2 pages" in capsys.readouterr().out
