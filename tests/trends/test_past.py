"""One line for each finished charge: the figures of its review, or of the mill's own list."""

import datetime as dt
from types import SimpleNamespace

import pytest
from tests.minimal import minimal_mill

from kilnfolio.cli import main
from kilnfolio.records.earlier import CHARGES, READINGS
from kilnfolio.records.folder import mill_of, open_mill
from kilnfolio.records.reading import of_kiln, of_schedule
from kilnfolio.review.reviews import charge_dossier
from kilnfolio.trends.in_steps import _union, hours_by_step, hours_of, stops_by_step
from kilnfolio.trends.past import past_charge, past_charges

LIST = (
    "charge,kiln,species,thickness,schedule,supplier,started,ended,target_mc,examined,bow,"
    "wick_per_day [K]\n"
    "A-1,k1,quercus-rubra,4/4,red-oak-4-4,Sawmill,2024-03-01,2024-03-29,8,120,3,-0.2\n"
)
NOON, HOUR = dt.datetime(2026, 6, 1, 12, tzinfo=dt.UTC), dt.timedelta(hours=1)
PLACES = "charge,position,mc\nA-1,door,8.1\nA-1,door,8.3\nA-1,back,9.2\n"


@pytest.fixture(scope="module")
def graph(tmp_path_factory):
    root = minimal_mill(
        tmp_path_factory.mktemp("mill"),
        files={CHARGES: LIST, READINGS: PLACES},
        charge={
            "defects": [
                {
                    "defect": "bow",
                    "pieces": 2,
                    "of": 40,
                    "places": [
                        {"position": "door", "pieces": 2, "of": 20},
                        {"position": "back", "pieces": 0, "of": 20},
                    ],
                }
            ],
            "energy": "1200 kWh",
            "stops": [
                {"start": "2026-06-03T08:00", "end": "2026-06-03T14:00", "cause": "No power"}
            ],
        },
    )
    return open_mill(root).graph


def graph_charge(graph):
    return mill_of(graph).charges["C1"].record


def test_a_line_holds_the_figures_of_the_review(graph):
    line, dossier = past_charge(graph, "C1"), charge_dossier(graph, "C1")
    assert (line.origin, line.kiln, line.species) == ("record", "k1", "quercus-rubra")
    assert line.hours == 6 * 24.0
    assert line.final_mean_pct == dossier.survey.mean_pct
    assert line.over_target_pct == pytest.approx(dossier.survey.mean_pct - dossier.target_mc_pct)
    assert line.wick_k_per_day == dossier.air.wick.drift_k_per_day
    assert line.energy_kwh_kg == pytest.approx(1200.0 / dossier.water.water_kg)
    assert [(one.defect, one.share_pct) for one in line.defects] == [("bow", 5.0)]
    assert [(one.position, one.pieces, one.of) for one in line.placed_defects] == [
        ("door", 2, 20),
        ("back", 0, 20),
    ]
    assert (line.stops, line.stopped_hours) == (1, 6.0)
    changes = [(one.step, one.at) for one in graph_charge(graph).step_changes]
    begun = max(step for step, at in changes if at <= graph_charge(graph).stops[0].start)
    assert dict(line.stop_steps)[begun] == 1.0
    assert sum(count for _, count in line.stop_steps) == 1.0
    assert len(line.placed) == sum(map(bool, dossier.survey.positions))
    assert line.outcome == dossier.outcome_of()
    assert line.hours_forecast > 24.0
    assert line.stress_index_pct > 0.0


def test_a_listed_charge_stands_among_them_and_is_marked(graph):
    first, second = past_charges(graph)
    assert (first.number, first.listed, second.number, second.listed) == ("A-1", True, "C1", False)
    assert first.hours == 28 * 24.0
    assert first.started.astimezone(dt.UTC).date() == dt.date(2024, 3, 1)
    assert first.final_mean_pct == pytest.approx((8.1 + 8.3 + 9.2) / 3)
    assert first.readings == 3
    assert first.wick_k_per_day == -0.2
    assert first.outcome == ""


@pytest.mark.parametrize(
    ("group", "numbers"),
    [
        (of_kiln("k1"), ["A-1", "C1"]),
        (of_kiln("k9"), []),
        (of_schedule("red-oak-4-4"), ["A-1", "C1"]),
    ],
)
def test_lines_are_found_by_group(graph, group, numbers):
    assert [line.number for line in past_charges(graph, group)] == numbers


def test_a_slip_in_the_packs_of_an_inspection_is_refused(tmp_path, capsys):
    packs = [
        {"position": "door", "pieces": 2, "of": 20},
        {"position": "door", "pieces": 1, "of": 20},
    ]
    for places, says in (
        (packs, "this pack stands here twice"),
        ([packs[0] | {"pieces": 21}], "only 20 pieces of this pack were examined"),
        ([packs[0], packs[1] | {"position": "back"}], "the packs have 3 together"),
        ([packs[0] | {"of": 41}], "the packs have 41 together"),
    ):
        defects = [{"defect": "bow", "pieces": 2, "of": 40, "places": places}]
        root = minimal_mill(tmp_path / says.replace(" ", "-"), charge={"defects": defects})
        assert main(["check", str(root)]) == 2
        assert says in capsys.readouterr().err


def test_hours_by_step_are_those_that_lay_in_it():
    record = SimpleNamespace(
        step_changes=[
            SimpleNamespace(step=1, at=NOON),
            SimpleNamespace(step=2, at=NOON + 4 * HOUR),
        ],
        equalizing=None,
        conditioning=SimpleNamespace(start=NOON + 9 * HOUR),
        ended=NOON + 12 * HOUR,
    )
    spans = [(NOON + HOUR, NOON + 6 * HOUR), (NOON + 8 * HOUR, NOON + 11 * HOUR)]
    assert hours_by_step(record, spans) == ((1, 3.0), (2, 3.0))
    assert stops_by_step(record, [NOON + 5 * HOUR, NOON + 10 * HOUR]) == ((1, 0.0), (2, 1.0))


def test_hours_that_overlap_count_once():
    noon, hour = NOON, HOUR
    spans = [
        (noon, noon + 5 * hour),
        (noon + 3 * hour, noon + 8 * hour),
        (noon + 9 * hour, noon + 10 * hour),
    ]
    assert sum(map(hours_of, _union(spans))) == 9.0
