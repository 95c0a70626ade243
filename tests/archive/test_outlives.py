"""A seal outlives the library: shared records may change, and no sealed record changes with them."""

import shutil

import pytest
import yaml
from tests.minimal import FILES
from tests.reviewed import reviewed_mill
from tests.trust.sealing import labelled_mill

from kilnfolio.archive.as_sealed import by_todays_limits, folder_as_sealed, sealed_dossier
from kilnfolio.archive.canonical import canonical
from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.places import dossier_path
from kilnfolio.archive.seal import state
from kilnfolio.archive.sealed_mill import SEALED, open_sealed_mill
from kilnfolio.archive.standing import broken_findings, charge_standing, lot_standing
from kilnfolio.pipeline.build import build_site
from kilnfolio.records import reading
from kilnfolio.records.folder import open_mill
from kilnfolio.records.limits import BOUNDS


def _species(record):
    record["safe_daily_loss"][0]["rate"] = "0.1 %/day"
    record["trade_name"] = "Another oak"


def _schedule(record):
    record["revision"] = 2
    record["steps"][0]["dry_bulb"] = "45 °C"


def _fewer_steps(record):
    del record["steps"][0]


def _kiln(record):
    record["name"] = "Kiln one, rebuilt"
    record["instruments"] = []


def _limit(record):
    for entries in record["limits"].values():
        for limit in entries:
            # twice as much, but no share above 100 %
            limit["value"] *= 0.5 if 50 < limit["value"] <= 100 else 2
            limit["value"] = limit["value"] or 1.0


def _channels(record):
    record["title"] = "Another export"
    record["time"]["heading"] = "clock"


#: Every kind of record that charges share, with a change that would alter numbers or be refused if
#: the charge were reviewed again.
CHANGES = {
    "limits": ("limits", _limit),
    "species": ("species", _species),
    "schedule revision": ("schedule", _schedule),
    "schedule steps": ("schedule", _fewer_steps),
    "kiln": ("kiln", _kiln),
    "logger": ("logger", _channels),
    "altitude": ("mill", lambda mill: mill.update(altitude="2000 m")),
    "price": ("mill", lambda mill: mill.update(energy_tariff="9.99 CAD/kWh")),
    "address": ("mill", lambda mill: mill["contact"].update(email="desk@mill.example")),
    "sources": (
        "sources",
        lambda sources: [
            book.update(short=f"{book['short']}, reprinted")
            for book in sources["publications"].values()
        ],
    ),
}


@pytest.fixture(scope="module")
def sealed(tmp_path_factory):
    return labelled_mill(tmp_path_factory.mktemp("sealed"))


@pytest.fixture
def root(sealed, tmp_path):
    return shutil.copytree(sealed, tmp_path / "mill")


def change_record(root, noun, change):
    path = root / FILES[noun]
    record = yaml.load(path.read_text("utf-8"), yaml.CSafeLoader)
    change(record)
    path.write_text(yaml.safe_dump(record, allow_unicode=True, sort_keys=False), "utf-8")


@pytest.mark.parametrize("what", CHANGES)
def test_a_shared_record_may_change_without_affecting_a_seal(root, what):
    change_record(root, *CHANGES[what])
    graph = open_sealed_mill(root).graph
    assert broken_findings(graph) == {}
    assert {charge_standing(graph, "C1").word, lot_standing(graph, "L1").word} == {"sealed"}
    dossier = reviewed_mill(root, SEALED).dossiers["C1"]
    assert canonical(dossier) == (root / dossier_path("C1", 1)).read_bytes()


def test_a_sealed_charge_is_in_the_groups_it_was_sealed_in(root):
    """Its file may say something else since, or no longer be complete."""
    kiln = reading.charge(open_sealed_mill(root).graph, "C1").record.kiln

    def moved(charge):
        charge["kiln"] = "elsewhere"
        del charge["ended"]

    change_record(root, "charge", moved)
    graph = open_sealed_mill(root).graph
    assert reading.charges(graph, reading.of_kiln(kiln)) == ("C1",)
    assert reading.charges(graph, reading.of_kiln("elsewhere")) == ()
    assert reading.open_charges(graph) == ()


def test_a_build_after_every_such_change_shows_what_was_sealed(sealed, root, tmp_path):
    """The customer's record is the same byte for byte; so are the charge's figures and findings."""
    for what in CHANGES:
        change_record(root, *CHANGES[what])
    before, after = (
        build_site(one, tmp_path / name, workers=1, pdfs=False)
        for one, name in ((sealed, "before"), (root, "after"))
    )
    assert after.broken == before.broken == []
    for edition, pattern in (
        ("customer", "*/record.json"),
        ("mill", "series/C1-boards.csv"),
        ("auditor", "bags/C1/data/dossier.json"),
    ):
        first, second = (
            next((tmp_path / name / edition).glob(pattern)).read_bytes()
            for name in ("before", "after")
        )
        assert first == second, pattern
    page = (tmp_path / "after/mill/charges/C1.html").read_text("utf-8")
    assert "Changed since it was sealed" not in page
    assert "By the limits in force today" in page


def test_without_a_seal_the_same_changes_do_alter_the_reviews(root):
    """The control: if nothing had been sealed, the same reviews would change."""
    dossier = reviewed_mill(root).dossiers["C1"]
    shutil.rmtree(root / "content/ledger")
    change_record(root, *CHANGES["altitude"])
    assert reviewed_mill(root).dossiers["C1"].rules.pressure_pa != dossier.rules.pressure_pa


def test_todays_limits_are_shown_beside_the_sealed_result_only_where_they_differ(root):
    [entry] = read_ledger(root).of_charge("C1")
    folder = folder_as_sealed(root, entry)
    sealed = sealed_dossier(root, entry, 1, folder)
    same = open_mill(root).limits
    assert by_todays_limits(folder, sealed, same) == ()

    def tight(limits):
        for key, entries in limits["limits"].items():
            for one in entries:
                least = BOUNDS.get(key, (0.0, 0.0))[0]
                one["value"] = max(one["value"] / 2, least) if one["value"] else 0.5

    change_record(root, "limits", tight)
    other = by_todays_limits(folder, sealed, open_mill(root).limits)
    assert other
    for one in other:
        assert one.sealed != one.today
        assert "By the limits in force today" in one.sentence
        outcomes = {
            f.outcome for f in sealed.findings if (f.check, f.subject) == (one.check, one.subject)
        }
        assert set(filter(None, one.sealed.split(" and "))) == outcomes


def test_a_lost_copy_is_reported(root):
    [entry] = read_ledger(root).of_charge("C1")
    (root / "content/ledger/kept" / entry.inputs[0].sha256).unlink()
    assert "kept-file-missing" in {d.kind for d in state(root, "C1").differences}
