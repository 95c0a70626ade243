"""Shell completion and the manual page, tried in the shells; mistyped commands."""

import os
import pty
import re
import select
import shutil
import signal
import subprocess
import sys

import pytest
from tests.minimal import DROP, FILES, minimal_mill

from kilnfolio.cli import COMMANDS, main, parser

RUNNING = {"ended": DROP, "unloaded": DROP, "survey": DROP, "signatures": DROP}
COMPLETE = """
{script}
COMP_WORDS=(kilnfolio {words})
COMP_CWORD={last}
COMP_LINE="kilnfolio {words}"
COMP_POINT=${{#COMP_LINE}}
$(complete -p kilnfolio | sed 's/.*-F \\([^ ]*\\).*/\\1/') kilnfolio
printf '%s\\n' "${{COMPREPLY[@]}}"
"""


def printed(capsys, kind):
    assert main(["completion", kind]) == 0
    return capsys.readouterr().out


def completed(script, *words):
    given = COMPLETE.format(script=script, words=" ".join(words), last=len(words))
    run = subprocess.run(["bash", "-c", given], capture_output=True, text=True, check=True)
    return {line.strip() for line in run.stdout.split("\n") if line.strip()}


def test_bash_completes_commands_and_options(capsys):
    script = printed(capsys, "bash")
    assert completed(script, "ch") == {"check"}
    assert completed(script, "check", "--ch") == {"--charge"}
    assert completed(script, "sheet", "--paper", "") >= {"a4", "letter"}


def test_a_round_completes_open_charges_and_their_boards(capsys, tmp_path, monkeypatch):
    """The script asks the program; here a function of the shell stands for the installed command."""
    root = minimal_mill(tmp_path / "mill", charge=RUNNING)
    monkeypatch.chdir(root)
    script = printed(capsys, "bash")
    script += f'\nkilnfolio() {{ "{sys.executable}" -m kilnfolio "$@"; }}'
    assert completed(script, "weigh", "") >= {"C1", "S1=", "S2=", "S3="}
    assert completed(script, "weigh", "C1", "S") == {"S1=", "S2=", "S3="}
    assert completed(script, "correct", "C1", "S") == {"S1@", "S2@", "S3@"}
    assert completed(script, "stop", "") >= {"C1"}
    minimal_mill(root)  # it has ended
    assert words_of(capsys, "weigh") == []


def words_of(capsys, *typed):
    assert main(["completion", "entry", *typed]) == 0
    return capsys.readouterr().out.split()


def test_commands_at_the_kiln_complete_what_they_take(capsys, tmp_path, monkeypatch):
    root = minimal_mill(tmp_path / "mill", charge=RUNNING)
    monkeypatch.chdir(root)
    assert words_of(capsys, "weigh", "C1") == ["S1=", "S2=", "S3="]
    assert words_of(capsys, "correct", "C1") == ["S1@", "S2@", "S3@"]
    assert words_of(capsys, "stop") == words_of(capsys, "stop", "C1") == ["C1"]
    record = (root / FILES["charge"]).read_text("utf-8")
    assert max(int(step) for step in re.findall(r"step: (\d+)", record)) == 2
    assert words_of(capsys, "step", "C1") == ["3"]
    misread = ["correct", "C1", "S1@2026-06-04T08:00", "2533 g", "--reason", "misread", "--yes"]
    assert main([*misread, "--by", "A"]) == 0
    capsys.readouterr()
    main(["check", "--charge", "C1"])
    shown = capsys.readouterr().out
    found = words_of(capsys, "answer", "C1")
    assert found
    assert all(one in shown for one in found)
    assert words_of(capsys, "answer") == ["C1"]
    assert words_of(capsys, "weigh", "none such") == ["C1", "S1=", "S2=", "S3="]


#: How a shell reads its script.
READ = {
    "zsh": ["autoload -U compinit", "compinit -u -D", 'eval "$(cat {script})"'],
    "tcsh": ["source {script}"],
}
TAB, LIST, CLEAR = "\t", "\x04", "\x15"


def typed(shell, lines, keys, until):
    """Type into a shell at a terminal; return what it showed by the time it showed ``until``."""
    child, terminal = pty.fork()
    if child == 0:
        os.environ["TERM"] = "xterm"
        os.execvp(shell, [shell, "-f"])
    shown = ""
    try:
        for line in [*lines, "echo rea''dy"]:
            os.write(terminal, f"{line}\n".encode())
        while "ready" not in shown:
            more = _shown(terminal, 300)
            assert more, "the shell shows nothing more"
            shown += more
        for _ in range(20):  # keys pressed before the shell is ready are lost
            shown = ""
            os.write(terminal, f"{CLEAR}{keys}".encode())
            while more := _shown(terminal, 15):
                shown += more
                if until in shown:
                    return shown
    finally:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        os.close(terminal)
    return shown


def _shown(terminal, seconds):
    """Return what a terminal shows next, or nothing if it stays silent for ``seconds``."""
    if not select.select([terminal], [], [], seconds)[0]:
        return ""
    return os.read(terminal, 65536).decode(errors="replace")


@pytest.fixture
def installed(tmp_path, monkeypatch):
    """Return a folder; ``kilnfolio`` is on the path, and an open charge in the folder."""
    root = minimal_mill(tmp_path / "mill", charge=RUNNING)
    command = tmp_path / "bin/kilnfolio"
    command.parent.mkdir()
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m kilnfolio "$@"\n')
    command.chmod(0o755)
    monkeypatch.setenv("PATH", f"{command.parent}:{os.environ['PATH']}")
    monkeypatch.setenv("PYTHONPATH", ":".join(path for path in sys.path if path))
    monkeypatch.chdir(root)
    return tmp_path


@pytest.mark.parametrize(
    ("shell", "keys", "until"),
    [
        ("tcsh", f"kilnfolio che{TAB}", "kilnfolio check"),
        ("tcsh", f"kilnfolio sheet --paper={LIST}", "letter"),
        ("tcsh", f"kilnfolio weigh {LIST}", "S2="),
        ("zsh", f"kilnfolio comple{TAB}", "kilnfolio completion"),
        ("zsh", f"kilnfolio check --char{TAB}", "--charge"),
        ("zsh", f"kilnfolio weigh {TAB}", "S2="),
    ],
)
def test_a_shell_completes_at_a_terminal(shell, keys, until, capsys, installed):
    if shutil.which(shell) is None:
        pytest.skip(f"{shell} is not on this machine")
    script = installed / "script"
    script.write_text(printed(capsys, shell))
    lines = [line.format(script=script) for line in READ[shell]]
    assert until in typed(shell, lines, keys, until)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("ch", {"check"}),
        ("check --ch", {"--charge"}),
        ("sheet --paper ", {"a4", "letter"}),
        ("weigh ", {"C1", "S1=", "S2=", "S3="}),
        ("weigh C1 S", {"S1=", "S2=", "S3="}),
    ],
)
def test_fish_completes(line, words, capsys, installed):
    if shutil.which("fish") is None:
        pytest.skip("fish is not on this machine")
    script = installed / "script"
    script.write_text(printed(capsys, "fish"))
    run = subprocess.run(
        ["fish", "--no-config", "-c", f'source {script}; complete -C "kilnfolio {line}"'],
        capture_output=True,
        text=True,
        check=True,
    )
    assert {one.split("\t")[0] for one in run.stdout.splitlines()} == words


@pytest.mark.parametrize("shell", ["fish", "zsh", "tcsh"])
def test_other_shells_get_every_command(shell, capsys):
    script = printed(capsys, shell)
    assert all(command in script for command in COMMANDS)


def test_the_manual_page_names_every_command_and_is_well_formed(capsys):
    page = printed(capsys, "man").replace(r"\-", "-")
    assert page.startswith(".TH KILNFOLIO")
    assert all(
        f"kilnfolio\\ {command}" in page or f"kilnfolio {command}" in page for command in COMMANDS
    )
    if shutil.which("groff"):
        run = subprocess.run(
            ["groff", "-man", "-Tutf8", "-ww", "-z"], input=page, text=True, capture_output=True
        )
        # a loose line around a long word is no fault of the page
        said = [line for line in run.stderr.splitlines() if "cannot adjust line" not in line]
        assert said == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["chek"], "there is no command 'chek'; did you mean 'check'?"),
        (["check", "--char", "C1"], "unrecognized arguments: --char"),
        (
            ["completion", "powershell"],
            "there is no choice 'powershell'; choose from bash, zsh, fish, tcsh, man, entry",
        ),
    ],
)
def test_a_mistyped_command_is_named_and_exits_2(words, said, capsys):
    with pytest.raises(SystemExit) as ended:
        main(words)
    assert ended.value.code == 2
    assert said in capsys.readouterr().err


def test_every_command_has_completions():
    whole = parser()
    whole.make_all()
    assert "--without-pdf" in whole._subparsers._group_actions[0].choices["build"].format_help()
