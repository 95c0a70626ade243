"""The mill edition: every page agrees with its record, and every link has a target."""

from __future__ import annotations

import csv
import posixpath
import re
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pandas as pd
import pytest
import yaml
from tests.minimal import LIBRARY
from tests.site.site import Mill, Outline, shared_mill, small_mill
from tests.site_assets import copy_assets

from kilnfolio.pipeline.build import build_site
from kilnfolio.rendering.regional import regional_format
from kilnfolio.rendering.safety import SAFETY
from kilnfolio.review.findings import CHECKS
from kilnfolio.site.pages.records import FILES

REFERENCE = Path(__file__).resolve().parent.parent / "data" / "reference"


@pytest.fixture(scope="module")
def mill() -> Mill:
    return shared_mill(library=True)


@pytest.fixture(scope="module")
def pages(mill) -> dict[str, Outline]:
    return {page.path: Outline(page.html) for page in mill.pages}


def test_every_page_has_the_safety_wording_and_names_its_language(mill):
    for page in mill.pages:
        assert SAFETY in page.html, page.path
        assert re.search(r'<html lang="en">', page.html), page.path
        assert re.search("<title>[^<]+</title>", page.html), page.path


def test_a_demonstration_says_so_on_every_page(mill):
    for page in mill.pages:
        assert re.search(r'<aside class="invented"[^>]*>[^<]*invented', page.html), page.path


def test_links_and_anchors_have_targets(pages, tmp_path):
    files = {path.relative_to(tmp_path).as_posix() for path in copy_assets(tmp_path)}
    later = {
        "assets/search-index.js",
        "assets/practice-problems.js",
        "handbook.pdf",
        "handbook-a5.pdf",
    }
    for path, page in pages.items():
        for link in page.links:
            parts = urlsplit(link)
            if parts.scheme or parts.netloc:
                continue
            target = (
                posixpath.normpath(posixpath.join(posixpath.dirname(path), unquote(parts.path)))
                if parts.path
                else path
            )
            if target.startswith(
                ("calculators", "practice", "drills", "bench", "lessons", "series/")
            ):
                continue  # made elsewhere; tests/test_site.py follows these links in the whole site
            assert target in pages or target in files or target in later, (path, link)
            if parts.fragment and target in pages:
                assert parts.fragment in pages[target].ids, (path, link)


def test_ids_are_unique_in_a_page(pages):
    for path, page in pages.items():
        assert len(page.ids) == len(set(page.ids)), path


def test_each_record_has_its_page(mill, pages):
    folder = mill.folder
    for kind, names in (
        ("species", folder.species),
        ("schedules", folder.schedules),
        ("kilns", folder.kilns),
        ("charges", folder.charges),
        ("lots", folder.lots),
    ):
        for name in names:
            assert f"{kind}/{name}.html" in pages


def test_nothing_is_fetched_from_elsewhere(mill):
    for page in mill.pages:
        assert not re.search(
            r'(?:src|href)="(?:https?:)?//[^"]*\.(?:css|js|woff2?|png|svg)', page.html
        )


# --- schedules ----------------------------------------------------------------


def reference_steps(name: str) -> list[dict[str, str]]:
    with (REFERENCE / "assembled_schedules.csv").open(encoding="utf-8") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        return [row for row in rows if row["schedule"] == name]


@pytest.mark.parametrize(
    ("published", "identity"),
    [
        ("Oregon white oak 4/4 (OSU RP27)", "quercus-garryana-4-4"),
        ("T4-D2 (red oak upland 4/4)", "quercus-rubra-4-4"),
        ("T3-D1 (red oak upland 8/4)", "quercus-rubra-8-4"),
        ("T12-E7 (basswood 4/4)", "tilia-americana-4-4"),
    ],
)
def test_the_step_table_agrees_with_the_sources(mill, published, identity):
    """OSU Research Paper 27 as read; AH-188 as assembled from memory; EMC by psychrolib."""
    # the paper's equalizing and conditioning are not steps
    steps = [
        step
        for step in reference_steps(published)
        if re.fullmatch(r"green|[\d.]+", step["mc_from_pct"])
    ]
    html = next(page.html for page in mill.pages if page.path == f"schedules/{identity}.html")
    table = html[html.index('<table class="figures steps">') :]
    printed = re.findall(
        r'<tr><th scope="row">(\d+)</th>(.*?)</tr>', table[: table.index("</table>")], re.DOTALL
    )
    assert steps
    assert len(printed) == len(steps)
    for step, (number, cells) in zip(steps, printed, strict=True):
        figures = [
            float(re.sub("<[^>]*>", "", cell)) for cell in re.findall("<td>(.*?)</td>", cells)
        ]
        dry_f, dry_c, depression_f, _, wet_f, _, _, emc = figures  # North American
        assert (int(number), dry_f, depression_f, wet_f) == (
            int(step["step"]),
            float(step["dry_bulb_f"]),
            float(step["wet_bulb_depression_f"]),
            float(step["wet_bulb_f"]),
        )
        assert dry_c == pytest.approx(float(step["dry_bulb_c"]), abs=0.06)
        # the mill is at 310 m, and a ventilated wet bulb is not quite the thermodynamic one
        assert emc == pytest.approx(float(step["emc_hh_pct"]), abs=0.4)


def test_values_from_memory_are_marked(pages):
    assert "from memory, unconfirmed" in pages["schedules/quercus-rubra-4-4.html"].text


def test_an_unapproved_schedule_is_a_draft(tmp_path):
    def unapprove(schedule):
        del schedule["approved"]
        schedule["status"] = "memory"

    mill = small_mill(tmp_path, schedule=unapprove)
    html = {page.path: page.html for page in mill.pages}
    assert "Draft: from memory until the mill signs it off" in html["schedules/red-oak-4-4.html"]


# --- species ------------------------------------------------------------------


def test_species_page_prints_every_value_of_its_file(pages):
    record = yaml.load(
        (LIBRARY / "species/quercus-rubra.yaml").read_text("utf-8"), yaml.CSafeLoader
    )
    text = pages["species/quercus-rubra.html"].text.replace("\u00a0", " ")
    assert all(name in text for name in record["also_called"])
    for values in (*record["green_mc"], record["shrinkage"]):
        for key, value in values.items():
            if key not in ("source", "status"):
                assert str(value) in text
    for known in record["prone_to"]:
        assert " ".join(known["note"].split()) in text
    for hazard in record["hazards"]:
        assert " ".join(hazard["dust"].split()) in text
    assert "Wood Handbook 2021" in text
    assert "3.8 points/day" in text


def test_defects_link_to_the_atlas(pages):
    assert any(
        link.endswith("handbook/defect-atlas.html#honeycomb")
        for link in pages["species/quercus-rubra.html"].links
    )


# --- charges ------------------------------------------------------------------


def test_charge_page_gives_the_answer_first(pages):
    text = pages["charges/C1.html"].text.replace("\u00a0", " ")
    # the mean of the twelve readings in the record: 145.0 / 12
    assert "Dried to 12.1 % MC in 6.0 d; the target was 12 %." in text
    assert text.index("Dried to 12.1") < text.index("What the checks say")


def test_every_finding_is_on_the_page_with_its_line(mill, pages):
    text = pages["charges/C1.html"].text.replace("\u00a0", " ")
    for finding in mill.dossiers["C1"].findings:
        said = regional_format(mill.folder.mill.record).localized(finding.message)
        assert " ".join(said.replace("\u00a0", " ").replace("\u202f", " ").split()) in text
        for spot in finding.where:
            assert f"{spot.file}:{spot.line}" in text
            lines = (mill.folder.root / spot.file).read_text("utf-8").splitlines()
            assert 1 <= spot.line <= len(lines)


def test_outcomes_are_counted_as_they_are_listed(mill, pages):
    text = pages["charges/C1.html"].text
    counts = {
        word: int(number)
        for number, word in re.findall(
            r"(\d+) (pass|no data|not applicable|fail|answered|questions?|notes?)\b",
            text[: text.index("What the checks say")],
        )
    }
    assert sum(counts.values()) == len(mill.dossiers["C1"].findings)


def test_digests_are_those_of_the_files(mill, pages):
    import subprocess

    for file in mill.dossiers["C1"].inputs:
        said = subprocess.run(
            ["sha256sum", mill.folder.root / file.path], capture_output=True, text=True, check=True
        ).stdout.split()[0]
        assert said in pages["charges/C1.html"].text


def test_a_step_change_is_shown_with_the_boards_that_decided_it(pages):
    """Due at 15.2 %; S1 and S2 are the wettest half of three on day 3."""
    from tests.minimal import BOARDS, board_mc

    text = pages["charges/C1.html"].text.replace("\u00a0", " ")
    sentence = re.search(
        r"Due at 15.2 %. The last weighing gave ([\d.]+) % from boards (S\d) and "
        r"(S\d)",
        text,
    )
    assert {sentence[2], sentence[3]} == {"S1", "S2"}
    mean = sum(board_mc(BOARDS[tag][1], 3) for tag in ("S1", "S2")) / 2
    assert float(sentence[1]) == pytest.approx(mean, abs=0.15)


def test_a_step_change_is_shown_with_the_air_up_to_then(mill, pages):
    """The bulbs printed are the means of the log's rows in the interval before the change."""
    text = pages["charges/C1.html"].text.replace("\u00a0", " ")
    found = re.search(
        r"Air in the (\d+) h before: dry bulb \d+ °F \(([\d.]+) °C\), "
        r"wet bulb \d+ °F \(([\d.]+) °C\), EMC",
        text,
    )
    dossier = mill.dossiers["C1"]
    log = mill.folder.charges["C1"].record.log[0]
    rows = pd.read_csv(mill.folder.charge_folder("C1") / log.file)
    change = next(step.at for step in dossier.steps if step.trigger_pct is not None)
    hours = float(found[1])
    since = (change - dossier.log.first).total_seconds() / 3600.0 // hours * hours - hours
    times = pd.to_datetime(rows.iloc[:, 0])
    at = (times - times[0]).dt.total_seconds() / 3600
    own = rows[(at >= since) & (at < since + hours)]
    assert float(found[2]) == pytest.approx(own["DB"].mean(), abs=0.06)
    assert float(found[3]) == pytest.approx(own["WB"].mean(), abs=0.06)


@pytest.mark.parametrize(
    ("judged_by", "said"),
    [
        ("the lot's own packs", "boards of this lot's own packs"),
        ("the whole charge", "boards of the kiln load this lot comes from"),
        ("the whole charges", "boards of the kiln loads this lot comes from"),
    ],
)
def test_a_customer_reads_which_boards_were_measured(mill, judged_by, said):
    lots = {
        name: lot.model_copy(
            update={"judgement": lot.judgement.model_copy(update={"readings_from": judged_by})}
        )
        for name, lot in mill.lots.items()
    }
    pages = [Outline(mill.lot_page(lot)).text for lot in lots.values()]
    told = [text for text in pages if "boards of" in text]
    assert told
    assert all(said in text.replace("’", "'") for text in told)


def test_defects_are_listed_with_the_worst_as_entered(tmp_path):
    """10 mm is 0.39 in; a defect nobody found is not listed."""
    mill = small_mill(
        tmp_path,
        charge={
            "defects": [
                {
                    "defect": "bow",
                    "pieces": 3,
                    "of": 120,
                    "worst": "10 mm",
                    "note": "from the heart",
                },
                {"defect": "surface-checks", "pieces": 1, "of": 120},
                {"defect": "honeycomb", "pieces": 0, "of": 120},
            ]
        },
    )
    text = next(
        Outline(page.html).text for page in mill.pages if page.path == "charges/C1.html"
    ).replace("\u00a0", " ")
    table = text[text.index("Found at grading") :]
    assert re.search(r"Bow ?3 of 120 ?0\.39\d* in \(10 mm\) ?from the heart", table)
    assert re.search(r"Surface checks ?1 of 120", table)
    assert "EN 1310" in table
    assert "Honeycomb" not in text


def test_the_mills_text_is_shown_as_text(tmp_path):
    sly = '<script>alert(1)</script><img src=x onerror=alert(2)> & "quoted"'
    mill = small_mill(
        tmp_path,
        charge={"notes": sly},
        lot={"product": sly, "notes": sly},
        kiln={"notes": sly, "name": sly},
    )
    for page in [*mill.pages, *mill.customer()]:
        assert "<script>alert" not in page.html, page.path
        assert "<img" not in page.html, page.path


def test_a_charge_without_anything_optional_has_a_page(tmp_path):
    def strip(charge):
        for key in ("boards", "weighings", "log", "survey", "step_changes", "signatures"):
            del charge[key]

    mill = small_mill(tmp_path, charge=strip)
    html = {page.path: page.html for page in mill.pages}["charges/C1.html"]
    assert "No final survey and no weighings" in html
    assert "<svg" not in html


def test_the_same_records_give_the_same_pages(tmp_path):
    mill = shared_mill()
    build_site(mill.folder.root, tmp_path, workers=1, pdfs=False)
    again = {
        path.relative_to(tmp_path / "mill").as_posix(): path.read_text("utf-8")
        for path in (tmp_path / "mill").rglob("*.html")
    }
    assert again == {page.path: page.html for page in mill.pages}


# --- checks, sources, records -------------------------------------------------


def test_the_catalogue_lists_every_check_with_its_limits(mill, pages):
    limits = yaml.load((LIBRARY / "limits.yaml").read_text("utf-8"), yaml.CSafeLoader)["limits"]
    for check in CHECKS.values():
        assert check.slug in pages["checks/index.html"].ids
        text = pages[f"checks/{check.slug}.html"].text.replace("\u00a0", " ").replace("\u2212", "-")
        say = regional_format(mill.folder.mill.record).localized
        assert say(check.reason).replace("\u2212", "-").replace("\u00a0", " ") in text
        for key in check.limits:
            for limit in limits[key]:
                amount = say(f"{limit['value']:g} {limit['unit']}").replace("\u00a0", " ")
                assert f"{key} {amount}" in text, (check.slug, key)


def test_sources_list_what_uses_them(pages):
    page = pages["sources.html"]
    assert "wood-handbook" in page.ids
    assert "species/quercus-rubra.html" in page.links
    assert "schedules/quercus-rubra-4-4.html" in page.links


def test_the_reference_lists_every_key_that_pydantic_knows(pages):
    """Compared with the JSON Schema that pydantic itself derives."""
    text = pages["records.html"].text
    for model in FILES:
        schema = model.model_json_schema()
        for part in [schema, *schema.get("$defs", {}).values()]:
            for name in part.get("properties", {}):
                assert re.search(rf"\b{name}\b", text), (model.__name__, name)


@pytest.mark.parametrize("tag", ["en", "de"])
def test_a_charge_is_printed_for_an_auditor_in_english(tag):
    """What both editions print of a charge is made once, but never in the other's language."""

    def heads(mill: Mill, edition: str) -> list[str]:
        page = (mill.site / edition / "charges/C1.html").read_text("utf-8")
        return re.findall("<thead>.*?</thead>", page, re.DOTALL)

    auditors, own = (heads(shared_mill(tag=tag), edition) for edition in ("auditor", "mill"))
    assert auditors == heads(shared_mill(), "auditor")
    assert (len(set(auditors) & set(own)) > 5) is (tag == "en")
