"""Shell completion and the manual page, tried in the shells; mistyped commands."""

import shutil
import subprocess

import pytest

from kilnfolio.cli import COMMANDS, main, parser

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


@pytest.mark.parametrize("shell", ["zsh", "tcsh"])
def test_other_shells_get_every_command(shell, capsys):
    script = printed(capsys, shell)
    assert all(command in script for command in COMMANDS)


def test_the_manual_page_names_every_command_and_is_well_formed(capsys):
    page = printed(capsys, "man")
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
        (["completion", "fishh"], "there is no choice 'fishh'; choose from bash, zsh, tcsh, man"),
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
