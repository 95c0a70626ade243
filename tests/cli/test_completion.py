"""Shell completion and the manual page, tried in the shells; mistyped commands."""

import shutil
import subprocess
import sys

import pytest
from tests.minimal import DROP, minimal_mill

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
    assert main(["completion", "round", "C1"]) == 0
    assert capsys.readouterr().out.split() == ["S1=", "S2=", "S3="]
    minimal_mill(root)  # it has ended
    assert main(["completion", "round"]) == 0
    assert capsys.readouterr().out.split() == []


@pytest.mark.parametrize("shell", ["zsh", "tcsh"])
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
        # a long word that leaves a line loose is no fault of the page
        said = [line for line in run.stderr.splitlines() if "cannot adjust line" not in line]
        assert said == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["chek"], "there is no command 'chek'; did you mean 'check'?"),
        (["check", "--char", "C1"], "unrecognized arguments: --char"),
        (
            ["completion", "fishh"],
            "there is no choice 'fishh'; choose from bash, zsh, tcsh, man, round",
        ),
    ],
)
def test_a_slip_is_named_and_ends_with_2(words, said, capsys):
    with pytest.raises(SystemExit) as ended:
        main(words)
    assert ended.value.code == 2
    assert said in capsys.readouterr().err


def test_every_command_can_be_filled():
    whole = parser()
    whole.fill_all()
    assert "--without-pdf" in whole._subparsers._group_actions[0].choices["build"].format_help()
