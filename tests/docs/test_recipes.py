"""The guide's recipes, each tried as far as possible without a network."""

import configparser
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
import yaml
from tests.conftest import PROJECT
from tests.minimal import minimal_mill

from kilnfolio.cli import parser

PAGE = (PROJECT / "builder/kilnfolio/guide/21-let-machines-do-it.md").read_text("utf-8")


def recipe(kind: str) -> str:
    (text,) = re.findall(rf"^```{kind}\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)
    return text


@pytest.fixture
def mill(tmp_path, monkeypatch) -> Path:
    """A mill under version control, and kilnfolio among the commands."""
    commands = tmp_path / "bin"
    commands.mkdir()
    (commands / "kilnfolio").write_text(f'#!/bin/sh\nexec {sys.executable} -m kilnfolio "$@"\n')
    (commands / "kilnfolio").chmod(0o755)
    monkeypatch.setenv("PATH", f"{commands}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.setenv("PYTHONPATH", str(PROJECT / "builder"))
    root = tmp_path / "mill"
    root.mkdir()
    minimal_mill(root)
    return root


def git(mill: Path, *words: str) -> subprocess.CompletedProcess:
    settings = ("-c", "user.name=A. N. Other", "-c", "user.email=a@mill.example")
    return subprocess.run(
        ["git", *settings, *words], cwd=mill, capture_output=True, text=True, check=False
    )


def test_the_hook_stops_a_commit_with_a_record_that_cannot_be_read(mill):
    assert git(mill, "init", "-q").returncode == 0
    hook = mill / ".git/hooks/pre-commit"
    hook.write_text(recipe("hook"))
    hook.chmod(0o755)
    git(mill, "add", ".")
    done = git(mill, "commit", "-qm", "The mill")  # its two open questions do not stop a commit
    assert done.returncode == 0, done.stderr
    kiln = mill / "content/kilns/k1.yaml"
    kiln.write_text(kiln.read_text().replace("hottest: 85 °C", "hottest: 85"))
    git(mill, "add", ".")
    refused = git(mill, "commit", "-qm", "A slip")
    assert refused.returncode != 0
    assert "content/kilns/k1.yaml" in refused.stderr
    assert git(mill, "log", "--oneline").stdout.count("\n") == 1


def test_the_pre_commit_hook_and_the_build_server_agree(mill):
    (repo,) = yaml.load(recipe("pre-commit"), yaml.CSafeLoader)["repos"]
    (hook,) = repo["hooks"]
    assert (repo["repo"], hook["language"], hook["pass_filenames"]) == ("local", "system", False)
    assert re.search(hook["files"], "content/mill.yaml")
    assert subprocess.run(shlex.split(hook["entry"]), cwd=mill, check=False).returncode == 0
    steps = yaml.load(recipe("workflow"), yaml.CSafeLoader)["jobs"]["mill"]["steps"]
    (report,) = (step["run"] for step in steps if "junit" in step.get("run", ""))
    assert subprocess.run(["sh", "-c", report], cwd=mill, check=False).returncode == 0
    assert ET.parse(mill / "checks.xml").getroot().tag in ("testsuite", "testsuites")
    (mill / "content/mill.yaml").write_text("format: 1\n")
    for command in (["sh", "-c", report], shlex.split(hook["entry"])):
        assert subprocess.run(command, cwd=mill, check=False, capture_output=True).returncode == 1


def commands() -> list[list[str]]:
    """Return every kilnfolio command on the page."""
    lines = re.findall(r"kilnfolio ((?:check|build)[^\n;`>\"']*)", PAGE)
    return [shlex.split(line) for line in lines]


def test_every_command_on_the_page_exists():
    assert len(commands()) > 5
    for words in commands():
        if not {"ends", "stops"} & set(words):
            parser().parse_args(words)


def test_systemd_can_read_the_timer(tmp_path):
    units = {name: recipe(name) for name in ("service", "timer")}
    for name, text in units.items():
        unit = configparser.ConfigParser(interpolation=None, strict=False)
        unit.optionxform = str
        unit.read_string(text)
        assert unit["Unit"]["Description"]
        assert unit["Service" if name == "service" else "Timer"]
        (tmp_path / f"kilnfolio.{name}").write_text(text)
    if checker := shutil.which("systemd-analyze"):
        files = [str(tmp_path / f"kilnfolio.{name}") for name in units]
        done = subprocess.run(
            [checker, "verify", "--user", *files], capture_output=True, text=True, check=False
        )
        assert "kilnfolio" not in done.stderr, done.stderr
        assert subprocess.run([checker, "calendar", "*-*-* 02:30"], check=False).returncode == 0


def test_the_container_installs_what_pdfs_need():
    text = recipe("container")
    # WeasyPrint's documentation, "First steps", names these libraries for Debian (from memory)
    assert {"libpango-1.0-0", "libpangoft2-1.0-0", "libharfbuzz-subset0"} <= set(text.split())
    assert text.index("USER mill") < text.index("ENTRYPOINT")


def instructions() -> list[tuple[str, str]]:
    """Return the instructions of the Containerfile, continued lines joined."""
    lines = re.sub(r"\\\n\s*", " ", recipe("container")).splitlines()
    return [(line.split(maxsplit=1)[0], line.split(maxsplit=1)[1]) for line in lines if line]


def test_the_containers_commands_are_in_order(tmp_path):
    """Its instructions are read, and its commands as a shell does; the next test but one runs them."""
    known = {"FROM", "RUN", "USER", "WORKDIR", "ENTRYPOINT", "CMD"}  # Containerfile(5), from memory
    assert {word for word, _ in instructions()} <= known
    assert instructions()[0][0] == "FROM"
    script = tmp_path / "run.sh"
    script.write_text(
        "#!/bin/sh\n" + "\n".join(text for word, text in instructions() if word == "RUN") + "\n"
    )
    checked = subprocess.run(["shellcheck", script], capture_output=True, text=True, check=False)
    assert checked.returncode == 0, checked.stdout
    [entry] = [text for word, text in instructions() if word == "ENTRYPOINT"]
    [given] = [text for word, text in instructions() if word == "CMD"]
    parser().parse_args(yaml.safe_load(given))
    assert yaml.safe_load(entry) == ["kilnfolio"]


def test_the_containers_packages_are_debians():
    """Asked of this machine's package lists, where it has some."""
    install = next(text for word, text in instructions() if "apt-get install" in text)
    packages = re.search(r"--no-install-recommends (.*?) &&", install)[1].split()
    assert len(packages) == 3
    if not shutil.which("apt-cache"):
        pytest.skip("no Debian here")
    listed = subprocess.run(["apt-cache", "pkgnames"], capture_output=True, text=True, check=True)
    if len(listed.stdout.split()) < 10_000:
        pytest.skip("this machine has no list of packages")
    assert set(packages) <= set(listed.stdout.split())


@pytest.mark.skipif("KILNFOLIO_CONTAINER" not in os.environ, reason="set KILNFOLIO_CONTAINER")
def test_the_container_builds_a_mill_with_its_pdfs(tmp_path):
    """``KILNFOLIO_CONTAINER=1`` asks buildah for it, which must have or reach the image it is FROM.

    The image must be able to install kilnfolio: from an index, or by PIP_FIND_LINKS set in it.
    """
    (tmp_path / "Containerfile").write_text(recipe("container"))
    minimal_mill(tmp_path / "mill")
    for path in (tmp_path / "mill", *(tmp_path / "mill").rglob("*")):
        path.chmod(0o777 if path.is_dir() else 0o666)  # the user of the container owns nothing here
    tool = ["buildah", *os.environ.get("KILNFOLIO_BUILDAH", "").split()]
    volume = os.environ.get("KILNFOLIO_WHEELS", str(tmp_path))

    def run(*words: str) -> str:
        done = subprocess.run([*tool, *words], capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr[-2000:]
        return done.stdout.strip()

    wheels = f"--volume={volume}:/wheels:ro"
    run("bud", "--isolation=chroot", wheels, "-t", "kilnfolio-recipe", str(tmp_path))
    name = run("from", "--pull=false", "localhost/kilnfolio-recipe")
    folder = f"--volume={tmp_path / 'mill'}:/mill"
    run("run", "--isolation=chroot", folder, name, "--", "kilnfolio", "build", "--quiet")
    run("rm", name)
    assert (tmp_path / "mill/site/mill/handbook.pdf").read_bytes().startswith(b"%PDF-")
