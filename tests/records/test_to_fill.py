"""A value still to be filled in is reported with its place, its meaning and how to write it."""

import pytest
from tests.minimal import FILES, minimal_mill
from tests.records.refusal import refused

from kilnfolio.records.checking import checked_mill


@pytest.mark.parametrize("mark", ["…", "..."])
def test_a_value_to_fill_in_is_reported_with_its_place_and_meaning(tmp_path, mark):
    root = minimal_mill(tmp_path, kiln={"capacity": mark, "kind": mark, "name": mark})
    kiln = "content/kilns/k1.yaml"
    assert refused(checked_mill, root) == [
        "content/charges/2026/C1/charge.yaml:4:7: kiln 'k1': its record, content/kilns/k1.yaml, is "
        "still to be filled in. Fill that in first, or name another kiln.",
        f"{kiln}:3:7: name is still to be filled in: it holds: The name people use.",
        f"{kiln}:4:7: kind is still to be filled in: it holds: How it heats and removes water, or what "
        "kind of plant it is. "
        "Write one of steam, dehumidification, hot-water, vacuum, solar, progressive, pre-dryer, "
        "dryer shed, air-drying yard.",
        f"{kiln}:5:11: capacity is still to be filled in: it holds: Stacked timber it holds. "
        "Write it as in '42.5 m³'.",
    ]


def test_other_mistakes_are_reported_first(tmp_path):
    root = minimal_mill(tmp_path, kiln={"capacity": "…", "hottest": "85"})
    (said,) = refused(checked_mill, root)
    assert "hottest '85': has no unit" in said


def test_a_record_that_may_not_be_a_draft_reports_both_problems(tmp_path):
    root = minimal_mill(tmp_path, mill={"place": "…", "altitude": "310"})
    said = refused(checked_mill, root)
    assert len(said) == 2
    assert "place is still to be filled in" in said[0]
    assert "altitude '310': has no unit. Write '310 m' or '310 ft', whichever it is" in said[1]


def test_a_mark_deep_in_a_charge_is_reported(tmp_path):
    root = minimal_mill(
        tmp_path,
        charge=lambda c: (
            c["boards"][1].update(green_mass="…"),
            c.update(started="…"),
            c["weighings"][2]["masses"].update(S2="…"),
        ),
    )
    words = [line.split(": ", 1)[1] for line in refused(checked_mill, root)]
    assert words == [
        "started is still to be filled in: it holds: When heating began. "
        "Write it as in 2026-03-02T07:10.",
        "green_mass is still to be filled in: it holds: Mass when the sections were cut. "
        "Write it as in '4862 g'.",
        "S2 is still to be filled in: the record is not complete without it.",
    ]


@pytest.mark.parametrize("noun", ["kiln", "lot", "schedule", "species"])
def test_a_file_that_holds_nothing_but_a_mark_is_no_record(tmp_path, noun):
    root = minimal_mill(tmp_path, **{noun: "…"})
    assert any(
        f"{FILES[noun]}:1:1: the file holds no record" in said
        for said in refused(checked_mill, root)
    )
