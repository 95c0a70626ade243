"""Every file of an edition is covered: any change in what people read is reported.

The attacks are those of an adversary without the mill's key who rewrites every manifest.
KILNFOLIO_FLIPS=500 flips that many bits.
"""

import os
import random
import secrets
import shutil
from pathlib import Path

import pytest
from tests.archive.sealing import change, key
from tests.archive.sealing import kinds as kinds_of

from kilnfolio.archive.audit import audit
from kilnfolio.archive.bag import DESCRIPTIONS, pack, read_bag
from kilnfolio.archive.edition import MANIFEST, SEAL, manifest_of, read_edition, sign_edition
from kilnfolio.archive.heads import LEAVES, kept_head
from kilnfolio.archive.trust import TrustedKey
from kilnfolio.cli.audit import makers

BAG = "bags/C1"
MILL = TrustedKey(key().public)


@pytest.fixture
def edition(built, tmp_path) -> Path:
    return shutil.copytree(built.site / "auditor", tmp_path / "auditor")


def write_bag_manifests(bag: Path) -> None:
    files, _ = read_bag(bag)
    payload = {path[5:]: data for path, data in files.items() if path.startswith("data/")}
    tags = {path: files[path] for path in ("README.txt", "bag-info.txt")}
    for path, data in pack(payload, tags).items():
        (bag / path).write_bytes(data)


def write_manifest(edition: Path, signer=None) -> None:
    """Rewrite the edition's manifest, as somebody who changed a file would."""
    (edition / MANIFEST).unlink(missing_ok=True)
    (edition / SEAL).unlink(missing_ok=True)
    manifest = manifest_of(read_edition(edition).files)
    (edition / MANIFEST).write_bytes(manifest)
    if signer:
        (edition / SEAL).write_bytes(sign_edition("auditor", manifest, None, signer))


def named(report) -> set[str]:
    """Return the files that differ or are not confirmed, as paths of the edition."""
    found = {d.where for d in (*report.edition.differences, *report.edition.open)}
    for folder in report.folders:
        for one in (*folder.differences, *folder.open):
            found |= {one.where, f"{folder.path}/{one.where}"}
    return found


def test_an_edition_is_signed_and_agrees_with_its_manifest(built):
    found = read_edition(built.site / "auditor")
    assert (found.differences, found.open) == ([], [])
    assert found.seal.is_valid
    assert found.seal.public_key == key().public
    assert found.seal.head.size == len(built.ledger.lines)


def test_sha256sum_can_read_the_manifest(built):
    import subprocess

    run = subprocess.run(
        ["sha256sum", "-c", "--quiet", MANIFEST], cwd=built.site / "auditor", capture_output=True
    )
    assert (run.returncode, run.stdout) == (0, b"")


def test_a_forgery_of_anything_people_read_is_reported(edition):
    bag = edition / BAG
    change(edition / "charges/C1.html", "<h1>Charge C1</h1>", "<h1>Charge C1: dry to 8 %</h1>")
    series = edition / "series/C1-boards.csv"
    series.write_text(series.read_text().replace("S1", "S9", 1))
    change(edition / "bags/ABOUT.txt", "  C1\n", "  C1, C2\n")
    for name in ("record.pdf", *DESCRIPTIONS):
        file = bag / "data" / name
        file.write_bytes(file.read_bytes().replace(b"C1", b"C7"))
    shutil.copy(bag / "data/record.pdf", edition / "records/C1.pdf")
    readme = bag / "README.txt"
    readme.write_text(readme.read_text().replace(key().public, key(2).public))
    info = bag / "bag-info.txt"
    info.write_text(info.read_text().replace("Contact-Email: ", "Contact-Email: x"))
    (bag / "data/heat-treatment-certificate.pdf").write_bytes(b"%PDF-1.7 false")
    (edition / "certificate.html").write_text("<p>Heat-treated</p>")
    (edition / "checks/index.html").write_text("<p>Every check passes</p>")
    write_bag_manifests(bag)
    write_manifest(edition)
    report = audit(edition, again=makers())
    assert report.outcome == "differs"
    assert {
        "charges/C1.html",
        "series/C1-boards.csv",
        "bags/ABOUT.txt",
        f"{BAG}/data/record.pdf",
        *(f"{BAG}/data/{name}" for name in DESCRIPTIONS),
        f"{BAG}/README.txt",
        f"{BAG}/bag-info.txt",
        f"{BAG}/data/heat-treatment-certificate.pdf",
        SEAL,  # what cannot be made from a bag is not confirmed: nobody signed for it
    } <= named(report)
    [line] = [d.what for d in report.folders[0].differences if d.where == "charges/C1.html"]
    assert "dry to 8 %" in line


def test_a_manifest_that_the_mill_did_not_sign_confirms_nothing(edition):
    (edition / "checks/index.html").write_text("<p>Every check passes</p>")
    assert "file-changed" in kinds_of(read_edition(edition).differences)
    unsigned = shutil.copytree(edition, edition.parent / "unsigned")
    write_manifest(unsigned)
    assert audit(unsigned, trusted=[MILL]).outcome == "incomplete"
    write_manifest(edition, key(2))
    for trusted in ([], [MILL]):
        report = audit(edition, trusted=trusted)
        assert report.outcome == "differs"
        assert {"entry-key-not-trusted", "edition-key-unknown"} & kinds_of(
            report.edition.differences
        )


def test_a_false_page_is_reported_even_if_signed_with_the_mills_key(edition):
    change(edition / "charges/C1.html", "<h1>Charge C1</h1>", "<h1>Charge C1: dry to 8 %</h1>")
    write_manifest(edition, key())
    makers_of_pages = makers().__class__(pages=makers().pages)
    report = audit(edition, trusted=[MILL], again=makers_of_pages)
    assert report.outcome == "differs"
    assert "charges/C1.html" in named(report)


def test_a_bag_that_was_left_out_is_reported(edition):
    shutil.rmtree(edition / BAG)
    assert kinds_of(read_edition(edition).differences) == {"file-missing"}
    write_manifest(edition)
    report = audit(edition)
    assert "bag-missing" in kinds_of(report.edition.differences)
    # an adversary who also cuts the ledger's leaves is caught by anyone who kept a head
    leaves = edition / "bags" / LEAVES
    leaves.write_text("".join(leaves.read_text().splitlines(keepends=True)[:1]))
    write_manifest(edition)
    head = edition.parent / "head.json"
    head.write_text('{"root": "%s", "size": 4}' % ("0" * 64))
    assert "entries-dropped" in kinds_of(audit(edition, since=kept_head(head)).differences)


def test_files_added_removed_swapped_or_cut_short_are_reported(edition):
    (edition / "new.html").write_text("x")
    (edition / "sources.html").unlink()
    first, second = edition / "series/C1-air.csv", edition / "series/C1-boards.csv"
    one, two = first.read_bytes(), second.read_bytes()
    first.write_bytes(two)
    second.write_bytes(one)
    page = edition / "index.html"
    page.write_bytes(page.read_bytes()[:-100])
    (edition / "link.html").symlink_to("index.html")
    assert {(d.kind, d.where) for d in read_edition(edition).differences} == {
        ("file-added", "new.html"),
        ("file-missing", "sources.html"),
        ("file-swapped", "series/C1-air.csv"),
        ("file-swapped", "series/C1-boards.csv"),
        ("file-changed", "index.html"),
        ("not-a-file", "link.html"),
    }


def test_a_flipped_bit_in_any_file_is_reported(edition):
    seed = secrets.randbits(32)
    chance = random.Random(seed)
    files = sorted(path for path in edition.rglob("*") if path.is_file())
    for _ in range(int(os.environ.get("KILNFOLIO_FLIPS", "20"))):
        path = chance.choice(files)
        whole = path.read_bytes()
        if not whole:
            continue
        place = chance.randrange(len(whole))
        flipped = bytearray(whole)
        flipped[place] ^= 1 << chance.randrange(8)
        path.write_bytes(flipped)
        name = path.relative_to(edition).as_posix()
        found = read_edition(edition).differences
        assert found, (seed, name, place)
        if name not in (MANIFEST, SEAL):
            assert [d.where for d in found] == [name], (seed, name, place)
        path.write_bytes(whole)


def test_the_customer_edition_is_checked_against_the_manifest_in_the_mill(built, tmp_path):
    customer = shutil.copytree(built.site / "customer", tmp_path / "customer")
    manifest = built.site / "mill/customer-sha256.txt"
    report = audit(customer, trusted=[MILL], manifest=manifest)
    assert report.outcome == "identical", (report.all_differences, report.all_open)
    page = customer / built.token / "index.html"
    page.write_bytes(page.read_bytes().replace(b"L1", b"L2", 1))
    report = audit(customer, trusted=[MILL], manifest=manifest)
    assert [d.where for d in report.all_differences] == [f"{built.token}/index.html"]
    # it would give away the addresses of all lots
    assert not list((built.site / "customer").rglob("*sha256*"))
