"""A command finds the mill it is in, from any folder below it."""

import pytest
from tests.minimal import minimal_mill

from kilnfolio.cli import main


@pytest.mark.parametrize("below", [".", "content", "content/charges/2026/C1", "schedules/species"])
def test_the_mill_is_found_from_any_of_its_folders(tmp_path, monkeypatch, capsys, below):
    minimal_mill(tmp_path)
    monkeypatch.chdir(tmp_path / below)
    assert main(["check", "-q"]) in (0, 1)  # questions, but no record that cannot be read
    assert "C1" in capsys.readouterr().out


def test_a_folder_without_a_mill_above_it_is_refused(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["check"]) == 2
    assert "this is not a mill's folder" in capsys.readouterr().err
