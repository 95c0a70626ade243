"""Orders with a due day: begun by a command, checked against other records, shown on the plan."""

import datetime as dt

import pytest
from tests.minimal import minimal_mill

from kilnfolio.cli import main
from kilnfolio.forecast.mill_orders import mill_plan
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.problems import RecordProblems

ORDER = {
    "format": 1,
    "id": "A-1",
    "species": "quercus-rubra",
    "thickness": "4/4",
    "target_mc": "8 %",
    "due": dt.date(2026, 7, 1),
}


def mill(tmp_path, **changes):
    order = {key: value for key, value in (ORDER | changes).items() if value is not None}
    minimal_mill(tmp_path, files={"content/orders/A-1.yaml": order})
    return tmp_path


def test_a_new_order_says_what_is_to_be_filled_in(tmp_path, capsys):
    minimal_mill(tmp_path)
    words = ["new", "order", "A-1", str(tmp_path), "--species", "quercus-rubra"]
    assert main([*words, "--thickness", "4/4", "--due", "2026-07-01"]) == 0
    assert "target_mc" in capsys.readouterr().out
    assert (tmp_path / "content/orders/A-1.yaml").is_file()
    folder = checked_mill(tmp_path)
    assert list(folder.orders) == []
    assert "order A-1" in folder.drafts


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("species", "quercus-rubro", "species 'quercus-rubro'"),
        ("schedule", "none-such", "schedule 'none-such'"),
        ("charges", ["C9"], "charge 'C9'"),
        ("target_mc", "80 %", "80 %"),
        ("due", None, "due"),
        ("colour", "red", "colour"),
    ],
)
def test_a_mistake_in_an_order_is_reported_at_its_place(tmp_path, key, value, said):
    with pytest.raises(RecordProblems) as refused:
        checked_mill(mill(tmp_path, **{key: value}))
    (problem,) = refused.value.problems
    assert said in str(problem)
    assert str(problem).startswith("content/orders/A-1.yaml:")


def test_an_order_dried_in_a_finished_charge_counts_as_dry(tmp_path):
    folder = checked_mill(mill(tmp_path, charges=["C1"]))
    (one,) = mill_plan(folder, [], folder.latest).orders
    assert one.standing == "dry"
    assert one.done.median == folder.charges["C1"].record.unloaded


def test_an_order_without_a_charge_goes_into_the_free_kiln(tmp_path):
    folder = checked_mill(mill(tmp_path))
    found = mill_plan(folder, [], folder.latest)
    (one,), (bar,) = found.orders, found.plan.bars
    assert (one.kiln, one.begins) == ("k1", folder.latest)
    assert bar.orders == ("A-1",)
    assert one.done.low80 < one.done.median < one.done.high80
    assert not mill_plan(
        checked_mill(mill(tmp_path, shipped=dt.date(2026, 7, 2))), [], folder.latest
    ).orders
