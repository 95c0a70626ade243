"""A charge not yet fully recorded: everything around it is read and built as usual."""

import datetime as dt
import json
import re

import pytest
from tests.minimal import DROP, FILES, minimal_mill
from tests.reviewed import reviewed_mill
from tests.site.site import Built

from kilnfolio.cli import main
from kilnfolio.pipeline.build import build_site
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.problems import RecordProblems

#: What a charge of the minimal mill does not have on its fourth day.
RUNNING = {"ended": DROP, "unloaded": DROP, "survey": DROP, "signatures": DROP}
#: A charge just begun beside it, half filled, as `new charge` writes it.
BEGUN = """\
format: 1
id: C2
kiln: k1
schedule: …
schedule_revision: …
stock:
  - species: quercus-rubra
    thickness: 4/4
    volume: …
    start: green
target_mc: 12 %
loaded: …
started: …
ended: …
unloaded: …
"""
C2 = "content/charges/2026/C2/charge.yaml"


def pages_of(root):
    build_site(root, root / "site", workers=1, pdfs=False)
    home = root / "site/mill"
    return {
        path.relative_to(home).as_posix(): Built(path.name, path.read_text("utf-8"))
        for path in home.rglob("*.html")
    }


def words_of(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.html).split())


def test_a_half_filled_charge_stops_nothing(tmp_path):
    root = minimal_mill(tmp_path, files={C2: BEGUN})
    reviewed = reviewed_mill(root)
    assert list(reviewed.dossiers) == ["C1"]
    assert list(reviewed.lots) == ["L1"]
    assert reviewed.open_reviews["C2"].dossier is None
    assert reviewed.open_reviews["C2"].charge.keys == (
        "schedule",
        "schedule_revision",
        "volume",
        "loaded",
        "started",
        "ended",
        "unloaded",
    )
    places = {str(one.place) for one in reviewed.open_reviews["C2"].charge.to_fill}
    assert f"{C2}:4:11" in places


@pytest.mark.parametrize(
    ("slip", "told"),
    [
        ("kiln: k1", "kiln: k9"),
        ("volume: …", "volume: 40"),
        ("thickness: 4/4", "thicknes: 4/4"),
        ("target_mc: 12 %", "target_mc: 120 %"),
        ("id: C2", "id: C3"),
    ],
)
def test_what_is_filled_in_must_still_be_correct(tmp_path, slip, told):
    root = minimal_mill(tmp_path, files={C2: BEGUN.replace(slip, told)})
    with pytest.raises(RecordProblems) as caught:
        reviewed_mill(root)
    assert {problem.place.file for problem in caught.value.problems} == {C2}
    assert not any(problem.absent for problem in caught.value.problems)


def test_marks_in_a_finished_charge_are_still_mistakes(tmp_path):
    root = minimal_mill(tmp_path, charge={"kiln": "…"})
    with pytest.raises(RecordProblems, match="kiln is still to be filled in"):
        reviewed_mill(root)


def test_a_running_charge_is_checked_but_gets_no_verdict(tmp_path):
    reviewed = reviewed_mill(minimal_mill(tmp_path, charge=RUNNING))
    running = reviewed.open_reviews["C1"]
    # the last weighing and the log's last row are both of day 6, 08:00
    assert running.dossier.ended.isoformat() == "2026-06-07T08:00:00-04:00"
    assert {finding.outcome for finding in running.findings} <= {
        "question",
        "no data",
        "not applicable",
    }
    assert running.dossier.controlling[-1].mc_pct == pytest.approx(12.2, abs=0.1)
    assert reviewed.dossiers == {}
    assert reviewed.lots == {}
    assert running.lots == ("L1",)


def test_what_goes_wrong_is_reported_while_it_can_be_corrected(tmp_path):
    def gain(charge):
        for key in RUNNING:
            del charge[key]
        charge["weighings"][3]["masses"]["S1"] = "2533 g"

    running = reviewed_mill(minimal_mill(tmp_path, charge=gain)).open_reviews["C1"]
    assert [
        finding.outcome
        for finding in running.findings
        if finding.check == "gained-weight-while-drying"
    ] == ["question"]


def test_the_log_shows_how_far_a_charge_is(tmp_path):
    def two_days(charge):
        for key in RUNNING:
            del charge[key]
        del charge["weighings"][2:], charge["step_changes"][1:]
        for key in ("equalizing", "conditioning", "stress", "defects", "corrections", "waivers"):
            charge.pop(key, None)

    running = reviewed_mill(minimal_mill(tmp_path, charge=two_days)).open_reviews["C1"]
    # last weighed on the second day; the export runs to day 6
    assert running.charge.so_far.record.ended.isoformat() == "2026-06-02T08:00:00-04:00"
    assert running.dossier.ended.isoformat() == "2026-06-07T08:00:00-04:00"


def test_pages_say_that_the_charge_is_running_and_claim_nothing(tmp_path):
    pages = pages_of(minimal_mill(tmp_path, charge=RUNNING, files={C2: BEGUN}))
    own = words_of(pages["charges/C1.html"])
    assert "Still running. Controlling MC was 12.2" in own
    assert "Not yet complete" in own
    assert "Waiting for it: lot L1" in own
    assert "Reviewed up to" in own
    assert "Drying ended" not in own
    assert "Dried to" not in own
    assert "The seal" not in own
    begun = words_of(pages["charges/C2.html"])
    assert f"{C2}:4" in begun
    assert "Started; not enough is recorded yet" in begun
    assert "C1" in words_of(pages["index.html"])
    index = words_of(pages["charges/index.html"])
    assert "C2" in index
    assert "lots/L1.html" not in pages


def test_a_running_charge_counts_in_no_statistics(tmp_path):
    """No species, schedule, kiln or check page uses it."""
    root = minimal_mill(tmp_path, charge=RUNNING)
    for path, page in pages_of(root).items():
        if path not in (
            "charges/C1.html",
            "kiln-side/C1.html",
            "plan.html",
            "charges/index.html",
            "index.html",
            "search.html",
        ):
            assert "C1" not in words_of(page), path


def test_check_names_what_is_still_to_be_filled_in(tmp_path, capsys):
    root = minimal_mill(tmp_path, charge=RUNNING)
    assert main(["check", str(root)]) == 1
    said = capsys.readouterr().out
    assert "Still to fill in: ended, unloaded. Read up to 2026-06-07 08:00" in said
    assert "lot L1: 1 no data" in said
    assert "it waits for charge C1, which is not complete" in said
    assert main(["check", str(root), "--charge", "C1", "--format", "json"]) == 1
    found = json.loads(capsys.readouterr().out)["findings"]
    assert found["C1"][0]["check"] == "record-complete"


@pytest.mark.parametrize("number", ["C1", "L1"])
def test_an_open_charge_and_its_lot_cannot_be_sealed(tmp_path, capsys, number):
    root = minimal_mill(tmp_path, charge=RUNNING)
    assert main(["seal", number, str(root), "--by", "A. N. Other", "--new-key"]) == 1
    assert f"{number} cannot be sealed before its charge is complete" in capsys.readouterr().err
    assert not (root / "ledger").exists()


def test_a_sealed_charge_cannot_be_reopened_unnoticed(tmp_path, capsys):
    root = minimal_mill(tmp_path)
    assert main(["seal", "C1", str(root), "--by", "A. N. Other", "--new-key"]) == 0
    path = root / FILES["charge"]
    path.write_text(re.sub(r"(?m)^ended: .*\n", "", path.read_text("utf-8")), "utf-8")
    assert main(["check", str(root)]) == 1
    assert f"{FILES['charge']}: it is not the file that was sealed" in capsys.readouterr().out
    assert main(["build", str(root), "--without-pdf"]) == 1
    assert f"{FILES['charge']}: it is not the file that was sealed" in capsys.readouterr().err
    assert "Drying ended" in (root / "site/mill/charges/C1.html").read_text(
        "utf-8"
    ) or "Dried to" in (root / "site/mill/charges/C1.html").read_text("utf-8")


def test_the_newest_record_of_a_running_charge_can_date_the_build(tmp_path):
    folder = checked_mill(minimal_mill(tmp_path, charge=RUNNING))
    assert folder.latest.date() == dt.date(2026, 6, 7)


def test_filling_in_its_end_completes_a_charge(tmp_path):
    root = minimal_mill(tmp_path, charge=RUNNING)
    path = root / FILES["charge"]
    assert reviewed_mill(root).open_reviews
    path.write_text(
        path.read_text("utf-8") + "ended: 2026-06-07T08:00\nunloaded: 2026-06-07T14:00\n", "utf-8"
    )
    reviewed = reviewed_mill(root)
    assert reviewed.open_reviews == {}
    assert list(reviewed.dossiers) == ["C1"]
    assert list(reviewed.lots) == ["L1"]
