"""The plan of all kilns, the calendar file by the rules of RFC 5545, and both drawings."""

import datetime as dt
import re
from dataclasses import replace
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from tests.forecast.check_charges import check_charges, group

from kilnfolio.charts.fan import fan_chart
from kilnfolio.charts.kiln_plan import plan_chart
from kilnfolio.forecast.calendar_file import calendar
from kilnfolio.forecast.charge import forecast, learn_for
from kilnfolio.forecast.plan import CLASH, Plan, next_charge, plan
from kilnfolio.forecast.result import CAUTION

ZONE = ZoneInfo("America/Moncton")


@pytest.fixture(scope="module")
def found():
    learnt = learn_for("oak", 27.0, [one.run for one in group("oak", "A", "earlier")[:4]])
    run = replace(check_charges()["A-oak-test-01"].run, kiln="k1")
    return forecast(run, learnt, 400.0)


def moved(one, hours, kiln, charge):
    shift = dt.timedelta(hours=hours)
    end = type(one.end)(**{name: getattr(one.end, name) + shift for name in vars(one.end)})
    return replace(one, kiln=kiln, charge=charge, end=end)


def test_unloadings_close_together_are_reported(found):
    near = moved(found, 5.0, "k2", "C2")
    far = moved(found, 100.0, "k3", "C3")
    planned = plan([far, found, near])
    assert [bar.kiln for bar in planned.bars] == ["k1", "k2", "k3"]
    assert [(one.first, one.second) for one in planned.clashes] == [
        (f"charge {found.charge}", "charge C2")
    ]
    assert planned.clashes[0].at == near.end.median
    assert not plan([found, moved(found, 5.0, "k1", "C2")]).clashes
    assert planned.free("k3") == far.end
    assert planned.free("k9") is None
    assert dt.timedelta(hours=5) < CLASH


def test_the_next_charge_waits_for_the_kiln_and_adds_both_spreads(found):
    due = next_charge(found.end, (20.0, 17.0, 23.0, 15.0, 26.0))
    assert due.median == found.end.median + dt.timedelta(days=20)
    assert due.low95 < due.low80 < due.median < due.high80 < due.high95
    waits, dries = found.end.high80 - found.end.median, dt.timedelta(days=3)
    assert due.high80 - due.median == pytest.approx(
        dt.timedelta(seconds=(waits.total_seconds() ** 2 + dries.total_seconds() ** 2) ** 0.5),
        abs=dt.timedelta(seconds=1),
    )


def test_the_calendar_follows_rfc_5545(found):
    """Sections 3.1, 3.3.5, 3.3.11, 3.6.1: CRLF, 75 octets, UTC times, what an event must have."""
    text = calendar("Alder; Brook, Timber", [found])
    assert text.endswith("END:VCALENDAR\r\n")
    lines = text.split("\r\n")[:-1]
    assert all(len(line.encode("utf-8")) <= 75 for line in lines)
    assert "\n" not in text.replace("\r\n", "")
    whole = text.replace("\r\n ", "").split("\r\n")
    assert "X-WR-CALNAME:Alder\\; Brook\\, Timber: kilns" in whole
    assert whole.count("BEGIN:VEVENT") == whole.count("END:VEVENT") == len(found.steps) + 1
    for name in ("UID", "DTSTAMP", "DTSTART", "SUMMARY"):
        assert sum(line.startswith(f"{name}:") for line in whole) == len(found.steps) + 1
    uids = [line for line in whole if line.startswith("UID:")]
    assert len(set(uids)) == len(uids)
    assert all(
        re.fullmatch(r"DT(START|STAMP):\d{8}T\d{6}Z", line)
        for line in whole
        if line.startswith("DT")
    )
    assert all(CAUTION in line for line in whole if line.startswith("DESCRIPTION:"))
    assert calendar("Alder; Brook, Timber", [found]) == text


def test_the_drawings_contain_their_words_as_text(found):
    fan = fan_chart(found, ZONE)
    assert "step 8, 15 %" in fan
    assert "end, 8 %" in fan
    assert CAUTION in fan
    assert 'class="fan-80"' in fan
    drawn = plan_chart(plan([found]), {"k1": "Kiln <1>"}, found.as_of, ZONE)
    assert "Kiln &lt;1&gt;" in drawn
    assert plan_chart(plan([replace(found, end=None)]), {}, found.as_of, ZONE) == ""


def test_no_mark_covers_the_words_above_a_bar(found):
    """Whatever day an order is due on: a letter reaches 3 units below its line, at 14 units type."""
    bar = replace(plan([found]).bars[0], charge="", orders=("26-1",))
    first, last = bar.started.date(), bar.done.high95.date()
    for day in range((last - first).days):
        due = {"26-1": first + dt.timedelta(days=day)}
        drawn = plan_chart(Plan((bar,), ()), {"k1": "Kiln 1"}, found.as_of, ZONE, due)
        parts = list(ElementTree.fromstring(drawn).iter())
        (words,) = (part.get("y") for part in parts if (part.text or "").startswith("Kiln 1:"))
        marks = [
            part.get("d").partition("L")[0].split()[1]
            for part in parts
            if part.get("class") in ("day-due", "fan-likely", "fan-now")
        ]
        assert len(marks) == 3
        assert all(float(top) >= float(words) + 3 for top in marks)


def test_a_saved_drawing_keeps_its_looks(found):
    """SVG 2, section 6.6: without a style sheet the presentation attributes hold."""
    for drawing in (fan_chart(found, ZONE), plan_chart(plan([found]), {}, found.as_of, ZONE)):
        tree = ElementTree.fromstring(drawing)
        drawn = [
            part
            for part in tree.iter()
            if part.tag.rpartition("}")[2] in ("path", "rect", "text") and part.get("class")
        ]
        assert len(drawn) > 10
        for part in drawn:
            assert part.get("fill"), part.attrib
            assert "var(" not in "".join(part.attrib.values())
        assert all(part.get("font-size") for part in drawn if part.tag.rpartition("}")[2] == "text")


def test_no_name_adds_a_line_to_the_calendar():
    """RFC 5545, 3.3.11: commas, semicolons, backslashes and ends of lines in text are escaped."""
    for end in ("\n", "\r\n", "\r", "\x0b", "\u2028"):
        lines = calendar(f"a;b,c\\d{end}BEGIN:VEVENT", []).splitlines()
        assert lines[4] == "X-WR-CALNAME:a\\;b\\,c\\\\d\\nBEGIN:VEVENT: kilns"
        assert len(lines) == 6
