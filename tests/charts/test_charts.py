"""Charts of records draw what was measured."""

import datetime as dt
import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from tests.site.site import shared_mill

from kilnfolio.charts.charge import charge_chart
from kilnfolio.charts.steps import step_diagram
from kilnfolio.charts.survey import histogram
from kilnfolio.charts.wet_spots import Spot, wet_spot_map

READINGS = (7.0, 7.4, 7.5, 8.0, 8.0, 8.1, 8.3, 8.5, 8.9, 9.6)
SVG = "{http://www.w3.org/2000/svg}"


def drawn(svg) -> ET.Element:
    return ET.fromstring(str(svg))


def with_class(svg, name: str) -> list[ET.Element]:
    return [element for element in drawn(svg).iter() if element.get("class") == name]


def test_bars_count_the_readings_as_numpy_does():
    bars = histogram(READINGS, title="t").bars
    edges = [float(words.split(" ")[0]) for words, _ in bars]
    width = edges[1] - edges[0]
    counted, _ = np.histogram(READINGS, bins=[*edges, edges[-1] + width])
    assert [number for _, number in bars] == counted.tolist()
    assert sum(counted) == len(READINGS)


def test_heights_of_bars_are_in_proportion():
    svg = histogram(READINGS, title="t").svg
    heights = [float(bar.get("height")) for bar in with_class(svg, "bar")]
    counts = [number for _, number in histogram(READINGS, title="t").bars if number]
    assert np.allclose(np.array(heights) / heights[0], np.array(counts) / counts[0], atol=0.01)


def test_the_ordered_band_is_drawn_at_its_values():
    svg = histogram(READINGS, title="t", low_pct=7.0, high_pct=9.0, target_pct=8.0).svg
    band = next(e for e in with_class(svg, "band-ordered") if e.tag == SVG + "rect")
    target = next(e for e in with_class(svg, "target-line") if e.tag == SVG + "path")
    middle = float(band.get("x")) + float(band.get("width")) / 2
    assert float(re.match(r"M([\d.]+)", target.get("d"))[1]) == pytest.approx(middle, abs=0.2)


def test_every_drawing_has_a_title():
    mill = shared_mill()
    dossier = mill.dossiers["C1"]
    for svg in (
        charge_chart(dossier, mill.folder.mill.record.zone),
        histogram(READINGS, title="t").svg,
        wet_spot_map("Kiln", [Spot("door", 0.4, 9), Spot("back", -0.2, 9)]),
    ):
        root = drawn(svg)
        names = root.get("aria-labelledby").split()
        assert root.get("role") == "img"
        assert [root.find(f"{SVG}{tag}").get("id") for tag in ("title", "desc")] == names
        assert all(root.find(f"{SVG}{tag}").text for tag in ("title", "desc"))
        assert "style=" not in str(svg)


def test_every_drawing_looks_the_same_when_saved_alone():
    """Without a style sheet SVG fills every shape with black (SVG 2, 13.4.2, initial value)."""
    dossier = shared_mill().dossiers["C1"]
    for svg in (
        charge_chart(dossier, dt.UTC),
        histogram(READINGS, title="t", low_pct=7.0, high_pct=9.0, target_pct=8.0).svg,
        wet_spot_map("Kiln", [Spot("door", 0.4, 9), Spot("back", -0.2, 9)]),
    ):
        for part in drawn(svg).iter():
            if part.tag not in {SVG + tag for tag in ("path", "rect", "circle", "line", "text")}:
                continue
            told = ET.tostring(part, "unicode")
            assert re.fullmatch(r"#[0-9a-f]{6}|#000|none", part.get("fill", "")), told
            assert "var(" not in told
            if part.tag == SVG + "text":
                assert part.get("font-family"), told


def test_a_gap_in_the_log_is_not_bridged():
    mill = shared_mill()
    dossier = mill.dossiers["C1"]
    zone = mill.folder.mill.record.zone
    whole = with_class(charge_chart(dossier, zone), "series-db")[0].get("d")
    assert whole.count("M") == 1
    middle = dossier.log.air[len(dossier.log.air) // 2].at
    left = tuple(
        point for point in dossier.log.air if abs(point.at - middle) > dt.timedelta(hours=8)
    )
    gapped = dossier.model_copy(update={"log": dossier.log.model_copy(update={"air": left})})
    assert with_class(charge_chart(gapped, zone), "series-db")[0].get("d").count("M") == 2


def test_controlling_line_passes_through_every_weighing():
    mill = shared_mill()
    dossier = mill.dossiers["C1"]
    line = with_class(charge_chart(dossier, mill.folder.mill.record.zone), "controlling")[0]
    assert len(re.findall("[ML]", line.get("d"))) == len(dossier.controlling)


def test_stairs_have_a_tread_for_each_step():
    from kilnfolio.records.setpoints import planned_steps

    mill = shared_mill(library=True)
    schedule = mill.folder.schedules["quercus-rubra-4-4"].record
    steps = planned_steps(schedule, mill.folder.steps_of(schedule), 97_700.0)
    line = with_class(step_diagram("t", steps), "series-db")[0].get("d")
    assert len(re.findall("[ML]", line)) == 2 * len(steps)
    # from wet to dry is from left to right
    xs = [float(x) for x in re.findall(r"[ML]([\d.]+) ", line)]
    assert xs == sorted(xs)
