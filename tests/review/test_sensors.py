"""EMC sensors and pins in the timber: corrected once, and used where no board is weighed."""

import datetime as dt
from itertools import pairwise

import numpy as np
import pytest
from tests.minimal import DROP, STARTED, minimal_log, minimal_mill, minimal_records

from kilnfolio.paper.sheet import kiln_sheet
from kilnfolio.records.folder import open_mill
from kilnfolio.review.kiln_state import kiln_state
from kilnfolio.review.review import build_case, read_logs, review_charge
from kilnfolio.site.context import mill_context
from kilnfolio.site.pages.home import home_page
from kilnfolio.site.pages.kiln_side import kiln_side_page


def with_channel(record, text, heading, channel, values):
    """Return a logger profile and its log with one extra column."""
    record["columns"].append({"heading": heading, "channel": channel, "unit": "%"})
    head, *rows = text.rstrip("\n").split("\n")
    return record, "\n".join(
        [
            f"{head},{heading}",
            *(f"{row},{value:.2f}" for row, value in zip(rows, values, strict=True)),
        ]
    ) + "\n"


def mill_with(tmp_path, instruments, *, channel, values, **charge):
    profile, log = minimal_records()["logger"], minimal_log()
    profile, log = with_channel(profile, log, "X", channel, values)
    return minimal_mill(
        tmp_path / "mill",
        logger=lambda record: record.update(profile),
        log=log,
        kiln=lambda kiln: kiln["instruments"].extend(instruments),
        charge=charge,
    )


def rows():
    return len(minimal_log().rstrip("\n").split("\n")) - 1


def test_pins_take_the_place_of_boards_that_nobody_weighed(tmp_path):
    """Wood Handbook 2010, p. 13-3: 0.5 point for each 5.6 °C, so 30 K above the scale is 2.68."""
    shown = np.linspace(24.0, 14.0, rows())
    pins = {
        "id": "pins-in-pack",
        "kind": "MC pins",
        "channel": "pin-1",
        "calibration_temperature": "20 °C",
        "offset": 0.5,
        "corrected_for": ["species"],
    }
    root = mill_with(tmp_path, [pins], channel="pin-1", values=shown, boards=DROP, weighings=DROP)
    dossier = review_charge(open_mill(root), "C1")
    first = dossier.controlling[0]
    assert first.at == STARTED.replace(tzinfo=first.at.tzinfo)
    # the minimal mill's first step keeps 50 °C, so 30 K above 20 °C, within the log's noise
    assert first.mc_pct == pytest.approx(24.0 + 0.5 - 30 * 0.5 / 5.6, abs=0.1)
    assert first.boards == ("pin-1",)
    gaps = {b.at - a.at for a, b in pairwise(dossier.controlling)}
    assert gaps == {dt.timedelta(hours=8)}


def test_the_range_of_pins_is_one_of_mc_not_of_what_they_show(tmp_path):
    """At 50 °C, 2.68 points less (Wood Handbook 2010, p. 13-3): 31.5 is 28.8 %, and 8 is 5.3 %."""
    shown = np.where(np.arange(rows()) < rows() // 2, 31.5, 8.0)
    pins = {"id": "pins", "kind": "MC pins", "channel": "pin-1", "calibration_temperature": "20 °C"}
    root = mill_with(
        tmp_path, [pins | {"corrected_for": ["species"]}], channel="pin-1", values=shown
    )
    mc = build_case_of(root).log.channels["pin-1"]
    assert mc[0] == pytest.approx(31.5 - 30 * 0.5 / 5.6, abs=0.1)
    assert np.isnan(mc[-1])


def test_an_emc_sensor_is_corrected_by_its_offset(tmp_path):
    """Without a wet bulb the sensor's EMC is used: 9.2 as shown, 9.9 with its offset."""
    sensor = {"id": "wafer", "kind": "EMC sensor", "channel": "emc", "offset": 0.7}
    root = mill_with(tmp_path, [sensor], channel="emc", values=np.full(rows(), 9.2))
    profile = root / "content/loggers/two-bulbs.yaml"
    text = profile.read_text("utf-8")
    wet = next(part for part in text.split("- ") if "wet-bulb" in part)
    profile.write_text(text.replace("- " + wet, "").rstrip("\n") + "\nignored: [WB]\n", "utf-8")
    air = build_case_of(root)
    assert np.nanmedian(air.emc) == pytest.approx(9.9, abs=0.01)


def test_a_log_without_such_instruments_is_not_changed(tmp_path):
    values = np.full(rows(), 9.2)
    root = mill_with(tmp_path, [], channel="emc", values=values)
    assert np.array_equal(build_case_of(root).log.channels["emc"], values)


def build_case_of(root):
    mill = open_mill(root)
    located = mill.located_charge("C1")
    return build_case(mill, located, read_logs(mill, located)).air


def test_kiln_side_pages_give_the_sensors_readings_and_their_uncertainty(tmp_path):
    """The last reading, corrected: 9.2 as shown plus the offset of 0.7 is 9.9."""
    sensor = {"id": "wafer", "kind": "EMC sensor", "channel": "emc", "offset": 0.7}
    root = mill_with(
        tmp_path,
        [sensor | {"uncertainty_points": 0.8}],
        channel="emc",
        values=np.full(rows(), 9.2),
        **dict.fromkeys(("ended", "unloaded", "survey", "signatures"), DROP),
    )
    context = mill_context(open_mill(root).graph)
    shown = "EMC sensor showed 9.9\N{NO-BREAK SPACE}% ± 0.8 on"
    assert shown in kiln_side_page(context, "C1").html
    assert shown in home_page(context).html
    assert shown in kiln_sheet(context.folder, "C1").rounds.standing
    (state,) = state_of(context.folder).sensors
    assert (state.channel, state.at, state.uncertainty_points) == (
        "emc",
        "2026-06-07T08:00-04:00",
        0.8,
    )
    assert state.value_pct == pytest.approx(9.9)


def state_of(folder):
    return kiln_state(folder, folder.open_charges["C1"].so_far.record)


def test_an_open_charge_without_boards_stands_where_its_pins_say(tmp_path):
    """14 at the end and 35 K above the scale: 3.125 points less (Wood Handbook 2010, p. 13-3)."""
    pins = {"id": "pins", "kind": "MC pins", "channel": "pin-1", "calibration_temperature": "20 °C"}
    without = ("ended", "unloaded", "survey", "signatures", "boards", "weighings")
    root = mill_with(
        tmp_path,
        [pins | {"corrected_for": ["species"]}],
        channel="pin-1",
        values=np.linspace(24.0, 14.0, rows()),
        **dict.fromkeys(without, DROP),
    )
    folder = open_mill(root)
    state = state_of(folder)
    assert state.controlling_pct == pytest.approx(14.0 - 35 * 0.5 / 5.6, abs=0.05)
    assert (state.controlling_boards, state.last_round) == (("pin-1",), "2026-06-07T08:00-04:00")
    # the second step runs until 12 %, the target
    assert (state.next_due.label, state.is_due) == ("equalize", False)
    assert "Sensors: pin-1 showed 10.9" in kiln_sheet(folder, "C1").rounds.standing
    # a log that cannot be read is for check to name, and keeps nobody from writing a round down
    (root / "content/charges/2026/C1/bulbs.csv").write_text("?")
    assert state_of(open_mill(root)).sensors == ()
