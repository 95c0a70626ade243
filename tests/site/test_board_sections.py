"""Sections of the board model on pages of the mill: shown and labelled there, and nowhere else."""

import pytest
from tests.conftest import PROJECT

from kilnfolio.archive.sealed_mill import open_sealed_mill
from kilnfolio.site.context import context_of, mill_context
from kilnfolio.site.pages.stored import AFTER_DAYS, stored_view
from kilnfolio.site.pages.what_if import replay_view, schedule_view

TEMPLATES = PROJECT / "builder/kilnfolio/site/templates"


@pytest.fixture(scope="module")
def mill():
    return open_sealed_mill(PROJECT)


@pytest.fixture(scope="module")
def context(mill):
    return mill_context(mill.graph)


def test_a_lot_is_stored_in_the_air_its_record_names(context):
    """18 °C and 45 % RH keep wood at 8.5 % (Wood Handbook, eq. 4-5), within an order of 7 to 9 %."""
    lot = context.folder.lots["HBL-26-001"].record
    found = stored_view(context, lot, context.lot_dossiers[lot.id])
    assert found.air.endswith("as the lot's record says")
    assert len(found.rows) == 3
    assert all(len(row.after) == len(AFTER_DAYS) for row in found.rows)
    assert found.rows[0].after[-1].startswith("8.5")
    assert found.rows[0].stays.startswith("over 365")
    assert "estimate" in found.label


def test_a_schedule_is_drawn_for_the_mill_and_not_for_the_auditor(mill, context):
    found = schedule_view(context, "acer-saccharum-4-4")
    assert found.chart.startswith("<svg")
    assert sum(step.share for step in found.found.steps) == pytest.approx(1.0)
    assert max(step.peak_pct for step in found.found.steps) == pytest.approx(found.found.run.peak)
    assert schedule_view(context_of(mill.graph, "auditor"), "acer-saccharum-4-4") is None


def test_a_charge_is_drawn_beside_its_log(context):
    found = replay_view(context, "HB-26-038")
    assert found.chart.startswith("<svg")
    assert len(found.points) <= 120
    assert all("%" in row.days or "no change" in row.days for row in found.rows)


@pytest.mark.parametrize("name", ["customer_lot", "customer_facts", "lot_record", "audit_charge"])
def test_no_estimate_leaves_the_mill(name):
    text = (TEMPLATES / f"{name}.html").read_text("utf-8")
    assert not any(part in text for part in ("stored", "board_part", "schedule_effect"))
