"""`check` and `build` report a changed sealed record until it is amended."""

import io
import json
import os
import random
import re
import shutil
import signal
import stat
import subprocess
import sys
import time

import pytest
from pypdf import PdfReader
from tests.given import given
from tests.trust.sealing import CHARGE, LOT, change, labelled_mill

from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.places import lot_record_path
from kilnfolio.archive.tokens import lot_token, read_address_keys, read_token_key
from kilnfolio.pipeline.build import build_site

#: How many builds are killed; set it higher for a longer trial.
KILLS = int(os.environ.get("KILNFOLIO_KILLS", "2"))


@pytest.fixture(scope="module")
def labelled(tmp_path_factory):
    return labelled_mill(tmp_path_factory.mktemp("labelled") / "mill")


@pytest.fixture
def root(labelled, tmp_path):
    return shutil.copytree(labelled, tmp_path / "mill")


def test_check_and_build_report_a_changed_sealed_record_until_it_is_amended(tmp_path):
    root = tmp_path / "mill"
    assert given("new", "keys", _mill(root)).returncode == 0
    assert given("seal", "C1", root, "--by", "A. N. Other").returncode == 0
    assert given("seal", "L1", root, "--by", "A. N. Other").returncode == 0
    change(root / CHARGE, "green_mass: 2410 g", "green_mass: 2411 g")
    checked = given("check", root)
    assert checked.returncode == 1
    assert "as-sealed" in checked.stdout
    assert "content/charges/2026/C1/charge.yaml" in checked.stdout
    built = given("build", root, "--workers", "1", "--without-pdf")
    assert built.returncode == 1
    assert "C1: it is not as A. N. Other sealed it" in built.stderr
    page = (root / "site/mill/charges/C1.html").read_text("utf-8")
    assert "Changed since it was sealed" in page
    assert "charge.yaml: it is not the file that was sealed" in page
    assert (root / "site/auditor/bags/C1/bagit.txt").exists()
    audited = given("audit", root / "site/auditor")
    assert audited.returncode == 3, audited.stdout  # the bag contains what was sealed
    for number in ("C1", "L1"):
        amended = given("amend", number, root, "--by", "A. N. Other", "--reason", "Read again")
        assert amended.returncode == 0, amended.stderr
    assert "as-sealed" not in given("check", root).stdout
    assert read_ledger(root).differences == ()


def _mill(root):
    from tests.minimal import minimal_mill

    root.mkdir()
    return minimal_mill(root)


def test_a_changed_lot_is_reported_too(root):
    change(root / LOT, "claim: ", "claim: other ") if "claim: " in (
        root / LOT
    ).read_text() else change(root / LOT, "product: ", "product: Other ")
    checked = given("check", root)
    assert "lot L1" in checked.stdout
    assert "kilnfolio amend lot L1" not in checked.stdout
    assert "kilnfolio amend L1 --by NAME" in checked.stdout


def test_a_record_changed_in_the_ledger_reaches_no_customer(root, monkeypatch):
    """It is made again from the files behind the seal, or the build is refused."""
    file = root / lot_record_path("L1", 1)
    sealed = file.read_bytes()
    mean = json.loads(sealed)["mean"]
    changed = sealed.replace(mean.encode(), mean.replace("1", "2").encode())
    assert changed != sealed
    for damaged in (changed, b"not JSON"):
        file.write_bytes(damaged)
        built = given("build", root, "--workers", "1", "--without-pdf", "--fresh")
        assert built.returncode == 1
        assert "L1-1.json: it is not the lot record" in built.stderr
        records = list((root / "site/customer").glob("*/record.json"))
        assert [one.read_bytes() for one in records] == [sealed]
    monkeypatch.setattr("kilnfolio.site.sealed.lot_record", lambda *_: {"mean": "8 %"})
    file.write_bytes(changed)
    built = given("build", root, "--workers", "1", "--without-pdf", "--fresh")
    assert built.returncode == 2
    assert "the sealed record of lot L1: it is missing, or is not the record" in built.stderr
    assert records[0].is_file()  # the old site stays


@pytest.mark.parametrize("gone", [CHARGE, LOT])
def test_a_sealed_record_whose_file_is_gone_stops_the_build(root, gone):
    """Its page and its bag would be missing; where a lot rested on it, that was a fault of ours."""
    assert given("build", root, "--workers", "1", "--without-pdf").returncode == 0
    before = sorted(path for path in (root / "site").rglob("*") if ".staging" not in path.parts)
    raw = (root / gone).read_bytes()
    (root / gone).unlink()
    for command in (("check",), ("build", "--workers", "1", "--without-pdf")):
        ran = given(*command, root)
        assert ran.returncode == 2
        assert f"{gone}:1:1: the record of " in ran.stderr
        assert "it is sealed, and it is not there" in ran.stderr
    after = sorted(path for path in (root / "site").rglob("*") if ".staging" not in path.parts)
    assert after == before
    [copy] = re.findall(r"its copy is (\S+)\.\n", ran.stderr)
    assert (root / copy).read_bytes() == raw


def test_a_change_the_customer_never_sees_does_not_affect_the_label(root):
    text = (root / LOT).read_text()
    (root / LOT).write_text(text + "notes: A note that stays in the mill\n")
    assert "as-sealed" not in given("check", root).stdout


def test_labels_are_printed_only_for_sealed_lots(root, tmp_path):
    out = tmp_path / "labels.pdf"
    run = given("labels", "L1", "--folder", root, "--out", out)
    assert run.returncode == 0, run.stderr
    text = " ".join(" ".join(page.extract_text() for page in PdfReader(out).pages).split())
    # what a label is for, in its own words: the record, the figure with its date, the seal
    assert "Scan for the drying record" in text
    assert "The page must show these words" in text
    assert re.search(r"Mean MC \d+\.\d %, \d{1,2} [A-Z][a-z]+ \d{4}", text)
    run = given("labels", "L9", "--folder", root, "--out", tmp_path / "none.pdf")
    assert run.returncode == 1
    assert "there is no lot 'L9'" in run.stderr
    assert not (tmp_path / "none.pdf").exists()


def test_new_keys_are_readable_only_by_their_owner_and_never_overwritten(tmp_path):
    run = given("new", "keys", tmp_path)
    assert run.returncode == 0, run.stderr
    paths = [tmp_path / "keys/seal-key.pem", tmp_path / "keys/lot-addresses.key"]
    kept = [path.read_bytes() for path in paths]
    assert [stat.S_IMODE(path.stat().st_mode) for path in paths] == [0o600, 0o600]
    again = given("new", "keys", tmp_path)
    assert again.returncode == 2
    assert "already exist" in again.stderr
    assert [path.read_bytes() for path in paths] == kept
    paths[1].unlink()
    assert given("new", "keys", tmp_path).returncode == 0
    assert paths[0].read_bytes() == kept[0]


@pytest.fixture(scope="module")
def unsealed(tmp_path_factory):
    """A mill without keys, built."""
    root = _mill(tmp_path_factory.mktemp("unsealed") / "mill")
    run = given("build", root, "--workers", "1", "--without-pdf")
    assert run.returncode == 0, run.stderr
    (root / "said.txt").write_text(run.stderr)
    return root


def test_a_build_without_keys_says_how_to_make_them(unsealed):
    assert "kilnfolio new keys" in (unsealed / "said.txt").read_text()
    assert not list((unsealed / "site/customer").rglob("*.html"))


@pytest.mark.parametrize("place", ["site/auditor", "."])
def test_an_audit_of_a_mill_without_seals_says_so(unsealed, place):
    run = given("audit", unsealed / place)
    assert run.returncode == 4, run.stderr  # nothing was confirmed
    assert "no charge is sealed yet, so there is nothing to compute again" in run.stdout
    assert "identical" not in run.stdout


def test_replacing_the_key_keeps_old_labels_working(root):
    old = lot_token("L1", read_token_key(root, invented=True))
    for _ in range(2):
        assert given("new", "keys", root, "--replace-addresses").returncode == 0
    now, *earlier = read_address_keys(root, invented=True).live_tokens("L1")
    assert len({now, *earlier}) == 3
    assert earlier[-1] == old
    build_site(root, root / "site", workers=1, pdfs=False)
    now = root / "site/customer" / now
    for address in earlier:
        served = root / "site/customer" / address
        assert {path.name: path.read_bytes() for path in served.iterdir()} == {
            path.name: path.read_bytes() for path in now.iterdir()
        }


def below(folder):
    """Return the bytes of each file below a folder by its path."""
    files = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


def test_a_withdrawn_address_says_so_and_reveals_nothing_about_the_lot(root):
    with (root / "content/mill.yaml").open("a", encoding="utf-8") as mill:
        mill.write("customer_languages: [en, fr]\n")
    for _ in range(2):
        assert given("new", "keys", root, "--replace-addresses").returncode == 0
    build_site(root, root / "site", workers=1, pdfs=False)
    assert given("new", "keys", root, "--withdraw", "L1").returncode == 0
    build_site(root, root / "site", workers=1)
    keys = read_address_keys(root, invented=True)
    (now,) = keys.live_tokens("L1")
    customer = root / "site/customer"
    assert "Ask the mill for a new label" not in (customer / now / "index.html").read_text("utf-8")
    served = [below(customer / address) for address in keys.withdrawn_tokens("L1")]
    assert len(served) == 2
    assert served[0] == served[1]
    # every file at the address has changed, so that copying the edition replaces it
    before = below(customer / now)
    assert served[0].keys() == before.keys() >= {"fr/index.html", "fr/record.pdf", "events.json"}
    assert not {path for path in before if served[0][path] == before[path]}
    page = served[0]["index.html"].decode()
    assert "This address is no longer in use" in page
    assert json.loads(served[0]["record.json"]).keys() == {"withdrawn"}
    told = page + "".join(
        one.extract_text() for one in PdfReader(io.BytesIO(served[0]["record.pdf"])).pages
    )
    assert "Do not accept a record from this address" in told
    assert "prevail" in told  # the caution that every page and PDF carries
    for word in ("L1", "C1", "Quercus", "oak", "P1", now, read_ledger(root).of_lot("L1")[-1].seal):
        assert word not in told, word


def test_builds_killed_at_random_leave_the_old_site_and_the_ledger_intact(root):
    out = root / "site"
    for edition in ("mill", "customer", "auditor"):
        (out / edition).mkdir(parents=True)
        (out / edition / "index.html").write_text("the old site")
    ledger = (root / "content/ledger/ledger.jsonl").read_bytes()
    moments = random.Random(26)
    for turn in range(KILLS):  # the work of the last one is continued or started again
        anew = ["--fresh"] if turn % 2 else ["--without-pdf"]
        build = subprocess.Popen(
            [sys.executable, "-m", "kilnfolio", "build", root, *anew],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        time.sleep(moments.uniform(0.2, 5.0))
        os.killpg(build.pid, signal.SIGKILL)
        build.wait()
        for edition in ("mill", "customer", "auditor"):
            page = (out / edition / "index.html").read_text() if edition != "customer" else ""
            # each edition is completely the old one or completely the new one
            assert page in ("", "the old site") or page.rstrip().endswith("</html>")
        assert (root / "content/ledger/ledger.jsonl").read_bytes() == ledger
        assert read_ledger(root).differences == ()
