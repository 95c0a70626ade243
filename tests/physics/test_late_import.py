"""Modules that are imported when something of theirs is first used."""

import subprocess
import sys

import pytest

from kilnfolio.physics._late_import import import_when_used

PARTS = {"__init__.py": "", "one.py": "VALUE = 1", "two.py": "from made import one"}


@pytest.fixture
def made(tmp_path, monkeypatch):
    """A package with two modules, which notes what was imported."""
    for name, text in PARTS.items():
        (tmp_path / "made").mkdir(exist_ok=True)
        (tmp_path / "made" / name).write_text(
            f"{text}\nopen({str(tmp_path / name)!r}, 'a').close()\n"
        )
    monkeypatch.syspath_prepend(tmp_path)
    yield lambda: {path.name for path in tmp_path.glob("*.py")}
    for name in [name for name in sys.modules if name.partition(".")[0] == "made"]:
        del sys.modules[name]


def test_a_module_is_imported_when_something_of_it_is_used(made):
    import_when_used("made", "one", "two", "none")
    assert made() == {"__init__.py"}
    from made import one

    assert made() == {"__init__.py"}
    assert one.VALUE == 1
    assert made() == {"__init__.py", "one.py"}
    from made.two import one as same

    assert same is one
    assert made() == set(PARTS)


@pytest.mark.usefixtures("made")
def test_a_module_imported_before_stays_as_it_is():
    from made import one

    import_when_used("made", "one")
    assert sys.modules["made.one"] is one


def test_scipy_does_not_import_what_compiles_and_tests():
    program = """
import sys
import kilnfolio.physics.comparisons
import scipy.special, scipy.linalg, scipy.stats
assert not {"numpy.f2py.crackfortran", "numpy.testing._private", "unittest"} & {*sys.modules}
from numpy.testing import assert_allclose
assert_allclose(1.0, 1.0)
"""
    run = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert run.returncode == 0, run.stderr
