"""The package as installed: a wheel from the sdist, and from it a mill in an empty folder."""

import os
import re
import shutil
import subprocess
import sys
import tarfile
import zipfile
from email import message_from_string
from pathlib import Path

import pypdf
import pytest
from tests.adopt.own_files import MILL
from tests.conftest import PROJECT

from kilnfolio import __version__

HOOK = "from setuptools import build_meta; print(build_meta.build_{}({!r}))"


def run(words, cwd, *, code=0, **env):
    done = subprocess.run(
        [str(word) for word in words],
        cwd=cwd,
        capture_output=True,
        text=True,
        env={"PATH": os.environ["PATH"], "HOME": str(cwd), "LC_ALL": "C.UTF-8", **env},
        timeout=300,
    )
    assert done.returncode == code, done.stderr[-2000:]
    return done.stdout


def build(kind, source, out):
    """Build by the hook that every installer calls."""
    out.mkdir(exist_ok=True)
    name = run([sys.executable, "-c", HOOK.format(kind, str(out))], source).split("\n")[-2]
    return out / name


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory):
    """Return the folder that the sdist of the whole source tree unpacks to."""
    home = tmp_path_factory.mktemp("package")
    source = home / "source"
    for name in ("builder", "schedules", "content", "tests"):
        shutil.copytree(
            PROJECT / name,
            source / name,
            ignore=shutil.ignore_patterns("__pycache__", "*.egg-info", "node_modules", "data"),
        )
    compiled = source / "builder/kilnfolio/site/templates/__pycache__/page.pyc"
    compiled.parent.mkdir()
    compiled.write_bytes(b"left by a build in the source tree")
    for name in ("pyproject.toml", "README.md", "DEVELOPERS.md", "LICENSE"):
        shutil.copyfile(PROJECT / name, source / name)
    sdist = build("sdist", source, home / "dist")
    with tarfile.open(sdist) as packed:
        # Debian's Python 3.11 has no filters yet
        packed.extractall(
            home / "unpacked", **({"filter": "data"} if hasattr(tarfile, "data_filter") else {})
        )
    (folder,) = (home / "unpacked").iterdir()
    return folder


@pytest.fixture(scope="module")
def wheel(unpacked):
    """Return the wheel that is built from the sdist, as an index would have it built."""
    return build("wheel", unpacked, unpacked.parent.parent / "dist")


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    target = tmp_path_factory.mktemp("installed")
    run(
        [
            sys.executable,
            "-m",
            "pip",
            "install",
            "--quiet",
            "--no-deps",
            "--no-index",
            "--disable-pip-version-check",
            "--target",
            target,
            wheel,
        ],
        target,
    )
    return target


def names(wheel):
    with zipfile.ZipFile(wheel) as packed:
        return packed.namelist()


def below(folder, *suffixes):
    return {
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and path.suffix in suffixes
    }


def test_the_sdist_holds_what_the_wheel_is_built_from_and_nothing_else(unpacked):
    held = {path.relative_to(unpacked).as_posix() for path in unpacked.rglob("*") if path.is_file()}
    package = PROJECT / "builder/kilnfolio"
    wanted = {
        f"builder/kilnfolio/{path.relative_to(package).as_posix()}"
        for path in package.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    wanted |= {f"schedules/{name}" for name in below(PROJECT / "schedules", ".yaml")}
    wanted |= {
        f"content/handbook/{name}"
        for name in below(PROJECT / "content/handbook", ".md", ".svg", ".yaml")
    }
    wanted |= {"builder/build_commands.py", "pyproject.toml", "README.md", "LICENSE"}
    made = {"PKG-INFO", "setup.cfg"}
    assert {name for name in held if ".egg-info/" not in name} - made == wanted


def test_the_wheel_holds_the_package_the_starter_and_nothing_else(wheel):
    package = PROJECT / "builder/kilnfolio"
    held = {name for name in names(wheel) if ".dist-info/" not in name}
    tree = {
        f"kilnfolio/{path.relative_to(package).as_posix()}"
        for path in package.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    starter = {
        f"kilnfolio/starter/schedules/{name}" for name in below(PROJECT / "schedules", ".yaml")
    }
    starter |= {
        f"kilnfolio/starter/handbook/{name}"
        for name in below(PROJECT / "content/handbook", ".md", ".svg", ".yaml")
    }
    assert held == tree | starter
    assert "kilnfolio/py.typed" in held
    assert any(name.endswith(".woff2") for name in held)


def test_licences_of_what_is_bundled_lie_beside_it(wheel):
    held = names(wheel)
    named = {name.partition(".dist-info/licenses/")[2] for name in held if "/licenses/" in name}
    assert named == {"LICENSE", "builder/kilnfolio/guide/17-licences.md"} | {
        f"builder/kilnfolio/site/assets/{name}"
        for name in (
            "fonts/OFL-literata.txt",
            "fonts/OFL-folio-sans.txt",
            "vendor/minisearch-LICENSE.txt",
            "vendor/qrcode-generator-LICENSE.txt",
        )
    }
    assert sum("OFL" in name for name in held) == 4  # beside the fonts, and with the licences
    vendored = {name.rsplit("/", 1)[0] for name in held if "/vendor/" in name}
    for folder in vendored:
        assert any(name.startswith(f"{folder}/") and "licen" in name.lower() for name in held)


def test_what_it_says_of_itself(wheel):
    with zipfile.ZipFile(wheel) as packed:
        name = next(name for name in packed.namelist() if name.endswith("/METADATA"))
        told = message_from_string(packed.read(name).decode())
    assert told["Version"] == __version__
    [newest] = re.findall(r"^## (.*)$", (PROJECT / "CHANGELOG.md").read_text("utf-8"), re.M)[:1]
    assert newest.startswith(("Unreleased", f"{__version__}, "))
    assert told["Requires-Python"] == ">=3.11"
    assert {"test", "browser"} <= set(told.get_all("Provides-Extra"))
    assert told["License-Expression"] == "MIT AND OFL-1.1"
    assert told["Description-Content-Type"] == "text/markdown"
    assert told.get_payload().startswith("# kilnfolio")
    assert "Typing :: Typed" in told.get_all("Classifier")
    assert set(told["Keywords"].split(",")) >= {"kiln", "timber"}
    plain = {
        re.split(r"[>=;\s]", need)[0]
        for need in told.get_all("Requires-Dist")
        if "extra ==" not in need
    }
    assert "openpyxl" in plain
    assert not plain & {"pytest", "mypy", "ruff", "hypothesis", "jsonschema", "setuptools"}


def test_from_an_empty_folder_it_makes_checks_and_builds_a_mill(installed, tmp_path):
    command = [sys.executable, installed / "bin/kilnfolio"]
    env = {"PYTHONPATH": str(installed)}
    where = run(
        [sys.executable, "-c", "import kilnfolio; print(kilnfolio.__file__)"], tmp_path, **env
    ).strip()
    assert Path(where).is_relative_to(installed)
    run([*command, "new", "mill", "mill", *MILL], tmp_path, **env)
    run([*command, "check", "mill"], tmp_path, **env)
    run([*command, "build", "mill", "--without-pdf"], tmp_path, **env)
    assert len(list((tmp_path / "mill/site/mill/species").glob("*.html"))) > 100
    assert (tmp_path / "mill/site/mill/guide/publish.html").is_file()
    # a PDF, with the packaged fonts and style sheets; nothing is sealed yet, so it ends with 4
    run([*command, "audit", "mill", "--report", "report.pdf"], tmp_path, code=4, **env)
    report = pypdf.PdfReader(tmp_path / "report.pdf")
    fonts = {
        str(font.get_object()["/BaseFont"]).partition("+")[2]
        for font in report.pages[0]["/Resources"]["/Font"].values()
    }
    assert fonts
    assert all(name.startswith(("Literata", "Folio")) for name in fonts)


def test_it_runs_as_a_module_too(installed, tmp_path):
    said = run(
        [sys.executable, "-m", "kilnfolio", "--version"], tmp_path, PYTHONPATH=str(installed)
    )
    assert re.fullmatch(r"kilnfolio \d+\.\d+\.\d+\n", said)
