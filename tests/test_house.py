"""The plan of the house: imports point one way, and nothing forbidden is written down."""

import ast
import re
import subprocess
from collections.abc import Mapping
from importlib import import_module
from pathlib import Path
from statistics import median

import pytest
from tests.rows import each_of

PROJECT = Path(__file__).resolve().parent.parent
PACKAGE = PROJECT / "builder" / "kilnfolio"

#: Lines of code that a function may have, docstring aside.
SCREEN = 60

#: A room may import those after it, never those before.
ORDER = (
    "cli",
    "adopt",
    "api",
    "pipeline",
    "paper",
    "site",
    "training",
    "handbook",
    "calculators",
    "charts",
    "rendering",
    "archive",
    "trends",
    "forecast",
    "review",
    "records",
    "physics",
    "graph",
    "runtime",
)


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported_rooms(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        names = []
        if isinstance(node, ast.ImportFrom) and node.level == 0:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        found |= {
            name.split(".")[1]
            for name in names
            if name.startswith("kilnfolio.") and name.split(".")[1] in ORDER
        }
    return found


SOURCES = sorted(path for path in PACKAGE.rglob("*.py") if room_of(path) in ORDER)


@each_of(SOURCES, name=lambda path: path.relative_to(PACKAGE).as_posix())
def test_imports_point_one_way(path):
    room = room_of(path)
    allowed = {room, *ORDER[ORDER.index(room) + 1 :]}
    assert imported_rooms(path) <= allowed


def modules() -> dict[str, Path]:
    """Return every module of the package by its dotted name."""
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imported_modules(path: Path, known: Mapping[str, Path]) -> set[str]:
    """Return the package's modules that a file imports when it runs, at its top or later."""
    tree = ast.parse(path.read_text())
    typing = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If)
        and isinstance(node.test, ast.Name)
        and node.test.id == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    found: set[str] = set()
    for node in ast.walk(tree):
        if id(node) in typing:
            continue
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {
                name if (name := f"{node.module}.{alias.name}") in known else node.module
                for alias in node.names
            }
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return found & set(known)


def test_no_modules_import_each_other_in_a_circle():
    known = modules()
    waiting = {name: imported_modules(path, known) - {name} for name, path in known.items()}
    while free := {name for name, needs in waiting.items() if not needs}:
        waiting = {name: needs - free for name, needs in waiting.items() if name not in free}
    assert not waiting, "these import each other, or need some that do"


@each_of(modules())
def test_every_module_can_be_imported(name):
    import_module(name)


def lines_of_code(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Return the lines of a function without its docstring."""
    docstring = ast.get_docstring(function, clean=False) or ""
    return function.end_lineno - function.lineno + 1 - len(docstring.splitlines())


def test_a_function_fits_on_a_screen():
    long = {
        f"{path.relative_to(PACKAGE)}: {node.name}": lines
        for path in SOURCES
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and (lines := lines_of_code(node)) > SCREEN
    }
    assert not long


def test_a_file_is_read_in_one_sitting():
    lengths = [len(path.read_text().splitlines()) for path in SOURCES]
    assert median(lengths) <= 150


def test_the_graph_knows_nothing_of_timber():
    for path in (PACKAGE / "graph").glob("*.py"):
        assert imported_rooms(path) <= {"graph", "runtime"}, path.name


def test_physics_knows_no_files():
    for path in (PACKAGE / "physics").glob("*.py"):
        assert not re.search(r"\bopen\(|pathlib|\byaml\b|\bjson\b", path.read_text()), path.name


def tracked_text() -> list[Path]:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=PROJECT, capture_output=True)
    if listed.returncode:
        pytest.skip("not a git checkout")
    names = [name for name in listed.stdout.decode().split("\0") if name]
    return [
        PROJECT / name
        for name in names
        if Path(name).suffix in {".py", ".md", ".toml", ".txt", ".yaml", ".css", ".js", ".html"}
        and (PROJECT / name).is_file()
    ]


def test_no_address_of_an_index_or_machine_is_written_down():
    # spelled in halves, so that this file does not hold what it looks for
    forbidden = re.compile(
        "|".join(
            ("pypi" + r"\.org", "npm" + "js", r"deb\." + "debian", "/wo" + "rk/", "/ro" + "ot/")
        )
    )
    for path in tracked_text():
        assert not forbidden.search(path.read_text(errors="replace")), path


#: The names others check, as the plan fixes them.
FIXED = {
    "air": (
        "saturation_pressure",
        "relative_humidity",
        "wet_bulb",
        "dew_point",
        "humidity_ratio",
        "pressure_at_altitude",
    ),
    "sorption": ("equilibrium_moisture_content", "relative_humidity_for_emc"),
    "moisture": (
        "moisture_content",
        "oven_dry_mass",
        "mass_at",
        "moisture_content_uncertainty",
        "controlling_moisture_content",
    ),
    "shrinkage": ("shrinkage_at", "dimension_change"),
    "water": ("water_removed", "least_heat"),
    "heat": ("longest_run_above",),
    "survey": ("tolerance_limits", "share_shown"),
    "drying": ("dry", "gradient_index", "core_time"),
}


@pytest.mark.parametrize(("module", "name"), [(m, n) for m, names in FIXED.items() for n in names])
def test_fixed_public_names(module, name):
    import importlib

    assert callable(getattr(importlib.import_module(f"kilnfolio.physics.{module}"), name))


def test_the_picture_of_the_rooms_is_that_of_the_imports():
    from tests.house_map import house_map, shown

    assert shown() == house_map(), "python -m tests.house_map draws it again"
