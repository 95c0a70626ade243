"""The audit, end to end: what is sealed and bagged passes; whatever is changed is reported."""

import json
import os
import random
import shutil
import socket
from pathlib import Path

import pytest
from tests.archive import sealing
from tests.minimal import FILES

from kilnfolio.archive.audit import AuditReport, NothingToAuditError
from kilnfolio.archive.audit import audit as audit_of
from kilnfolio.archive.bag import ALGORITHMS, DESCRIPTIONS, pack, read_bag
from kilnfolio.archive.canonical import canonical
from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.heads import Head, sign_head
from kilnfolio.archive.merkle import Tree, leaf_hash
from kilnfolio.archive.places import KEPT, LEDGER, dossier_path
from kilnfolio.archive.proofs import ENTRIES, PROOF, Inclusion, Proof
from kilnfolio.archive.report import report_text
from kilnfolio.archive.trust import TrustedKey
from kilnfolio.cli import main


def audit(path, *trusted, **more):
    """Audit the small mill, whose bags print its notice."""
    return audit_of(
        path, trusted=[TrustedKey(key.public) for key in trusted], again=sealing.AGAIN, **more
    )


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    """A mill with C1 sealed and amended, and C2 sealed."""
    root = sealing.two_charges(tmp_path_factory.mktemp("mill"))
    sealing.seal_charge(root)
    sealing.seal_charge(root, "C2")
    sealing.change(root / sealing.CHARGE, "green_mass: 2410 g", "green_mass: 2411 g")
    sealing.amend_charge(root, "The mass was misread.")
    return root


@pytest.fixture(scope="module")
def bags(mill, tmp_path_factory):
    out = tmp_path_factory.mktemp("bags")
    for charge in ("C1", "C2"):
        sealing.bag_of(mill, out, charge)
    return out


@pytest.fixture
def bag(bags, tmp_path):
    return shutil.copytree(bags / "C1", tmp_path / "C1")


def mend_manifests(bag: Path) -> None:
    """Rewrite the manifests, as somebody who changed a file would."""
    files, _ = read_bag(bag)
    payload = {
        path.removeprefix("data/"): data for path, data in files.items() if path.startswith("data/")
    }
    tags = {path: files[path] for path in ("README.txt", "bag-info.txt")}
    for path, data in pack(payload, tags).items():
        (bag / path).write_bytes(data)


def rewrite(data: Path, lines: list[bytes], keys) -> None:
    """Rewrite a bag's part of the ledger: a ledger of only these entries, and its proof."""
    numbered = [sealing.sign_again(line, keys, number=place) for place, line in enumerate(lines, 1)]
    last = json.loads(numbered[-1])
    if last["amends"]:
        numbered[-1] = sealing.sign_again(numbered[-1], keys, amends=last["number"] - 1)
    tree = Tree(map(leaf_hash, numbered))
    inclusions = [
        Inclusion(
            number=place, path=tuple(step.hex() for step in tree.inclusion(place - 1, len(tree)))
        )
        for place in range(1, len(tree) + 1)
    ]
    (data / ENTRIES).write_bytes(b"".join(line + b"\n" for line in numbered))
    (data / PROOF).write_bytes(
        canonical(Proof(head=sign_head(tree, keys), inclusions=tuple(inclusions)))
    )


def found(report) -> set[tuple[str, str]]:
    return {(d.kind, d.where) for d in report.all_differences}


# --- what passes
# -----------------------------------------------------------------------------------


def test_what_is_sealed_and_bagged_passes_the_audit(mill, bags):
    for path in (bags / "C1", bags / "C2", bags, mill):
        report = audit(path, sealing.key())
        assert found(report) == set()
        assert report.outcome == "identical", report.all_open
    [folder] = audit(bags / "C1").folders
    assert (folder.kind, folder.entries) == ("bag", 2)
    assert [(s.charge, s.entry, s.kind, s.reason) for s in folder.seals] == [
        ("C1", 1, "seal", ""),
        ("C1", 3, "amendment", "The mass was misread."),
    ]
    assert all(seal.numbers > 100 for seal in folder.seals)
    [folder] = audit(mill).folders
    assert [(s.charge, s.entry) for s in folder.seals] == [("C1", 1), ("C1", 3), ("C2", 2)]


def test_charges_that_are_not_sealed_are_listed(tmp_path):
    sealing.two_charges(tmp_path)
    sealing.seal_charge(tmp_path)
    report = audit(tmp_path)
    assert report.holds
    assert report.folders[0].unsealed == ("C2",)
    assert "not sealed: C2" in report_text(report)


def test_the_report_goes_to_json_and_back(bags):
    report = audit(bags)
    assert AuditReport.model_validate_json(report.model_dump_json()) == report


def test_the_audit_names_the_version_of_the_rules(bags):
    seal = audit(bags / "C1").folders[0].seals[-1]
    assert seal.rules_sealed == seal.rules_now
    assert seal.rules_sealed["schedule"] == "red-oak-4-4, revision 1"
    assert "limits revision" in report_text(audit(bags / "C1"))


def snapshot(folder):
    return {
        path.relative_to(folder): (
            path.stat().st_mtime_ns,
            path.read_bytes() if path.is_file() else None,
        )
        for path in sorted(folder.rglob("*"))
    }


def test_the_audit_works_offline_and_writes_nothing_into_the_bag(bag, monkeypatch):
    def refuse(*_):
        raise AssertionError("the audit asked for the network")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    before = snapshot(bag)
    for path in [bag, *bag.rglob("*")]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    assert audit(bag).holds
    for path in [bag, *bag.rglob("*")]:
        path.chmod(0o755 if path.is_dir() else 0o644)
    assert snapshot(bag) == before


def test_a_bag_can_be_audited_by_itself(bags, tmp_path, monkeypatch):
    moved = shutil.copytree(bags / "C2", tmp_path / "somewhere else" / "a name")
    monkeypatch.chdir(tmp_path)
    assert audit(moved).holds


# --- what was changed -----------------------------------------------------------------------------


def test_a_changed_log_is_reported_with_the_numbers_it_changes(bag):
    log = bag / "data" / sealing.LOG
    lines = log.read_text().splitlines()
    lines[1] = lines[1].replace(lines[1].split(",")[1], "56.00")
    log.write_text("\n".join(lines) + "\n")
    mend_manifests(bag)  # so that only the seal contradicts it
    differences = found(audit(bag))
    assert ("file-changed", f"data/{sealing.LOG}") in differences
    place = f"data/{dossier_path('C1', 2)}/log/air/0/dry_bulb_c"
    [moved] = [d for d in audit(bag).all_differences if d.where == place]
    assert moved.kind == "number-differs"
    # half-hourly readings, means over whole hours: one of two readings changed by about 6 K
    assert float(moved.found) > float(moved.sealed) + 2.0


def test_a_changed_number_in_the_sealed_dossier_is_reported(bag):
    path = bag / "data" / dossier_path("C1", 2)
    for copy in (path, bag / "data/dossier.json"):
        sealing.change(copy, '"S1","oven_dry_g":2000.8', '"S1","oven_dry_g":2009.8')
    mend_manifests(bag)
    report = audit(bag)
    assert ("dossier-changed", f"data/{dossier_path('C1', 2)}") in found(report)
    assert ("dossier-changed", "data/dossier.json") in found(report)
    [number] = [d for d in report.all_differences if d.kind == "number-differs"]
    assert number.where == f"data/{dossier_path('C1', 2)}/boards/S1/oven_dry_g"
    assert (number.sealed, number.found) == ("2009.8", "2000.8")
    assert "sealed 2009.8, computed again 2000.8" in report_text(report)


def test_a_forged_dossier_signed_by_a_stranger_is_reported(bag):
    """Dossier, ledger, keys and manifests all made to agree: the recomputation still differs."""
    from kilnfolio.archive.canonical import sha256
    from kilnfolio.archive.keyring import KEYRING

    data = bag / "data"
    path = data / dossier_path("C1", 2)
    for copy in (path, data / "dossier.json"):
        sealing.change(copy, '"S1","oven_dry_g":2000.8', '"S1","oven_dry_g":2009.8')
    first, last = (data / ENTRIES).read_bytes().splitlines()
    forged = [
        sealing.sign_again(first, sealing.key(2)),
        sealing.sign_again(last, sealing.key(2), dossier=sha256(path.read_bytes())),
    ]
    rewrite(data, forged, sealing.key(2))
    sealing.change(data / KEYRING, sealing.key().public, sealing.key(2).public)
    mend_manifests(bag)
    kinds = {kind for kind, _ in found(audit(bag))}
    assert kinds == {"number-differs", "file-differs"}  # the README was made from the old ones
    kinds = {kind for kind, _ in found(audit(bag, sealing.key()))}
    assert kinds == {"number-differs", "file-differs", "entry-key-not-trusted"}


def test_a_changed_reading_of_an_earlier_version_is_reported(bag):
    kept = [
        path
        for path in (bag / "data" / KEPT).iterdir()
        if b"green_mass: 2410 g" in path.read_bytes()
    ]
    assert len(kept) == 1
    sealing.change(kept[0], "green_mass: 2410 g", "green_mass: 2419 g")
    mend_manifests(bag)
    kinds = {kind for kind, _ in found(audit(bag))}
    assert "kept-file-missing" in kinds


@pytest.mark.parametrize(
    "path",
    [
        "bagit.txt",
        "bag-info.txt",
        "README.txt",
        "manifest-sha256.txt",
        "tagmanifest-sha512.txt",
        "data/dossier.json",
        f"data/{ENTRIES}",
        f"data/{sealing.LOG}",
        f"data/{sealing.CHARGE}",
        f"data/{FILES['limits']}",
        f"data/{FILES['sources']}",
        f"data/{dossier_path('C1', 1)}",
        "data/content/ledger/keys.yaml",
    ],
)
def test_a_file_removed_from_a_bag_is_reported(bag, path):
    (bag / path).unlink()
    assert path in {where for _, where in found(audit(bag))}


def test_a_record_removed_with_its_lines_in_the_manifests_is_reported(bag):
    (bag / "data" / sealing.CHARGE).unlink()
    mend_manifests(bag)
    assert ("file-missing", f"data/{sealing.CHARGE}") in found(audit(bag))


def test_a_changed_kept_copy_that_no_charge_needs_is_reported_too(bag):
    """A lot's own copies are kept beside those of the charge; the page that checks bags found this
    gap."""
    kept = next((bag / "data" / KEPT).iterdir())
    kept.write_bytes(kept.read_bytes() + b"#")
    mend_manifests(bag)
    assert ("kept-file-changed", kept.relative_to(bag).as_posix()) in found(audit(bag))


def test_a_file_added_to_a_bag_is_reported(bag):
    (bag / "data/content/kilns/k9.yaml").write_text("format: 1\nid: k9\n")
    assert ("file-added", "data/content/kilns/k9.yaml") in found(audit(bag))
    mend_manifests(bag)
    report = audit(bag)
    assert report.outcome == "differs"  # bag-info.txt counts the files
    assert ("not-made-again", "data/content/kilns/k9.yaml") in {
        (one.kind, one.where) for one in report.all_open
    }  # and it played no part in the figures


def test_a_link_in_a_bag_is_not_followed(bag):
    (bag / "data" / sealing.LOG).unlink()
    (bag / "data" / sealing.LOG).symlink_to("/etc/hostname")
    assert ("not-a-file", f"data/{sealing.LOG}") in found(audit(bag))
    assert audit(bag).folders[0].seals == ()


def test_flipped_bits_of_a_bag_are_reported_by_the_audit(bag):
    """Twenty random bits anywhere in the bag; more with KILNFOLIO_FLIPS."""
    files, _ = read_bag(bag)
    chance = random.Random(2)
    names = sorted(files)
    for _ in range(int(os.environ.get("KILNFOLIO_FLIPS", "20"))):
        path = chance.choice(names)
        data = bytearray(files[path])
        bit = chance.randrange(8 * len(data))
        data[bit // 8] ^= 1 << bit % 8
        (bag / path).write_bytes(data)
        differences = audit(bag).all_differences
        assert any(path in f"{d.where} {d.what}" for d in differences), (path, bit)
        (bag / path).write_bytes(files[path])
    assert audit(bag).holds


@pytest.mark.parametrize("seed", range(8))
def test_flipped_bits_of_sealed_files_are_caught_by_the_seal_alone(bag, seed):
    """With the manifests rewritten: dossiers, ledger, record, log and every other sealed file."""
    files, _ = read_bag(bag)
    chance = random.Random(seed)
    beside = (*(f"data/{name}" for name in DESCRIPTIONS), "data/content/ledger/keys.yaml")
    path = chance.choice(
        [name for name in sorted(files) if name.startswith("data/") and name not in beside]
    )
    data = bytearray(files[path])
    bit = chance.randrange(8 * len(data))
    data[bit // 8] ^= 1 << bit % 8
    (bag / path).write_bytes(data)
    mend_manifests(bag)
    named = audit(bag).all_differences
    assert any(d.where.startswith((path, f"data/{ENTRIES.parent}")) for d in named), (path, bit)


@pytest.mark.parametrize("text", [b"", b"\x00" * 50, b"time,DB,WB\n", b"\xff\xfe", b"a" * 10**5])
def test_a_log_replaced_by_rubbish_is_reported_in_a_sentence(bag, text):
    (bag / "data" / sealing.LOG).write_bytes(text)
    mend_manifests(bag)
    report = audit(bag)
    assert ("file-changed", f"data/{sealing.LOG}") in found(report)
    assert report_text(report)


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"[]",
        b"{}",
        b"null",
        b'{"boards":NaN}',
        b"[" * 10**5,
        b'{"boards":' + b"9" * 400 + b"}",
        b"\xff",
    ],
)
def test_a_dossier_replaced_by_rubbish_is_reported_in_a_sentence(bag, text):
    for path in (dossier_path("C1", 2), "dossier.json"):
        (bag / "data" / path).write_bytes(text)
    mend_manifests(bag)
    report = audit(bag)
    assert ("dossier-changed", f"data/{dossier_path('C1', 2)}") in found(report)
    assert report_text(report)


def test_a_ledger_replaced_by_another_mills_is_reported(bag, tmp_path):
    other = sealing.sealed_mill(tmp_path / "other", mill={"altitude": "1500 m"})
    shutil.copy(other / LEDGER, bag / "data" / ENTRIES)
    mend_manifests(bag)
    kinds = {kind for kind, _ in found(audit(bag))}
    assert {"dossier-changed", "file-changed", "entry-not-in-ledger"} <= kinds


# --- several bags, and the mill -------------------------------------------------------------------


def test_the_heads_alone_reveal_two_forked_ledgers_of_one_key(tmp_path):
    """Same size, two roots: no mill has two ledgers. A third party needs only the two heads."""
    out, heads = tmp_path / "bags", []
    for name, charges in (("one", ("C1", "C2")), ("other", ("C2", "C1"))):
        root = sealing.two_charges(tmp_path / name)
        for charge in charges:
            sealing.seal_charge(root, charge)
        sealing.bag_of(root, out, charges[-1])
        assert audit(out / charges[-1]).holds
        heads.append(read_ledger(root).heads[-1])
    assert (heads[0].size, heads[0].is_valid, heads[1].is_valid) == (heads[1].size, True, True)
    assert heads[0].root != heads[1].root
    assert {kind for kind, _ in found(audit(out))} == {"ledgers-disagree"}


def test_a_kept_head_reveals_what_was_dropped_or_changed_since(mill, tmp_path):
    kept = read_ledger(mill).heads[-1]
    since = Head(size=kept.size, root=kept.root)
    assert audit(mill, since=since).holds
    root = shutil.copytree(mill, tmp_path / "mill")
    sealing.write_lines(
        root, sealing.lines_of(root)[:2]
    )  # the newest entry dropped, and its head with it
    (root / dossier_path("C1", 2)).unlink()
    assert audit(root).outcome != "incomplete"
    assert {kind for kind, _ in found(audit(root, since=since))} >= {"entries-dropped"}
    lines = sealing.lines_of(mill)
    sealing.write_lines(root, sealing.written_anew(lines, sealing.key(), entry_2={"by": "Another"}))
    assert {kind for kind, _ in found(audit(root, since=since))} >= {"ledgers-disagree"}


def test_a_bag_names_no_other_charge(bags):
    """Selective disclosure: no other charge, its date or its reason of amendment."""
    for path in (bags / "C2").rglob("*"):
        if path.is_file():
            raw = path.read_bytes()
            assert b"The mass was misread" not in raw, path
            assert b'"charge":"C1"' not in raw, path


def test_a_changed_log_in_the_mill_is_reported_with_the_numbers(mill, tmp_path):
    root = shutil.copytree(mill, tmp_path / "mill")
    log = root / sealing.LOG
    log.write_text(log.read_text().replace("2026-06-01 08:00,", "2026-06-01 08:00,1", 1))
    differences = found(audit(root))
    assert ("file-changed", sealing.LOG) in differences
    assert any(where.startswith(f"{dossier_path('C1', 2)}/log/air/0/") for _, where in differences)
    assert not any(dossier_path("C2", 1).as_posix() in where for _, where in differences)


def test_a_shared_file_of_the_mill_may_change_and_the_kept_copy_is_used(mill, tmp_path):
    root = shutil.copytree(mill, tmp_path / "mill")
    sealing.change(root / FILES["mill"], "310 m", "610 m")
    report = audit(root)
    assert report.holds
    assert not [note for seal in report.folders[0].seals for note in seal.notes]
    shutil.rmtree(root / KEPT)
    assert "kept-file-missing" in {kind for kind, _ in found(audit(root))}


def test_a_damaged_kept_copy_is_reported_before_it_is_needed(mill, tmp_path):
    root = shutil.copytree(mill, tmp_path / "mill")
    kept = sorted((root / KEPT).iterdir())[0]
    kept.write_bytes(kept.read_bytes()[:-1])
    assert ("kept-file-missing", kept.relative_to(root).as_posix()) in found(audit(root))


def test_a_folder_with_nothing_to_audit_is_refused(tmp_path):
    with pytest.raises(NothingToAuditError, match=r"bagit\.txt"):
        audit(tmp_path)


def test_text_from_a_bag_cannot_control_the_terminal(bag):
    (bag / "data/\x1b[2Jname\u202e.txt").write_text("")
    sealing.change(
        bag / "data" / dossier_path("C1", 2), '"kiln":"k1"', '"kiln":"\\u001b[2Jk1\u202e"'
    )
    text = report_text(audit(bag))
    assert "[2Jname" in text
    assert "[2Jk1" in text
    assert "\x1b" not in text
    assert "\u202e" not in text


# --- the commands ---------------------------------------------------------------------------------


def test_the_commands_work_from_making_a_key_to_the_audit(tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", str(int(sealing.SEALED_AT.timestamp())))
    root = sealing.minimal_mill(tmp_path)
    assert main(["seal", "C1", str(root), "--by", "A. N. Other"]) == 2
    assert "--new-key" in capsys.readouterr().err
    assert main(["seal", "C1", str(root), "--by", "A. N. Other", "--new-key"]) == 0
    public = capsys.readouterr().out.split()[-1]
    assert main(["seal", "C1", str(root), "--by", "A. N. Other"]) == 1
    assert main(["amend", "C1", str(root), "--by", "A. N. Other", "--reason", "None."]) == 1
    assert main(["audit", str(root), "--key", public]) == 0
    assert "recomputed and identical" in capsys.readouterr().out
    assert main(["audit", str(root)]) == 3
    assert "nobody confirmed the key with the mill" in capsys.readouterr().out
    sealing.change(root / sealing.CHARGE, "green_mass: 2410 g", "green_mass: 2411 g")
    assert main(["audit", str(root), "--format", "json"]) == 1
    report = json.loads(capsys.readouterr().out)
    [seal] = report["folders"][0]["seals"]
    assert ("file-changed", sealing.CHARGE) in {
        (d["kind"], d["where"]) for d in seal["differences"]
    }
    assert (report["holds"], report["outcome"]) == (False, "differs")
    assert report["verdict"].endswith("differences")
    assert main(["amend", "C1", str(root), "--by", "A. N. Other", "--reason", "Misread."]) == 0
    assert main(["audit", str(root), "--key", sealing.key(9).public]) == 1
    assert "entry-key-not-trusted" in capsys.readouterr().out


@pytest.mark.parametrize(
    "words",
    [
        ["seal", "C9", "--by", "A. N. Other"],
        ["amend", "C9", "--by", "A", "--reason", "R"],
        ["audit", "nowhere"],
    ],
)
def test_bad_input_ends_with_2(tmp_path, capsys, monkeypatch, words):
    monkeypatch.chdir(sealing.minimal_mill(tmp_path))
    assert main(words) == 2
    assert words[1] in capsys.readouterr().err


@pytest.mark.parametrize("command", ["seal", "amend", "audit"])
def test_help_gives_an_example(command, capsys):
    with pytest.raises(SystemExit, match="0"):
        main([command, "--help"])
    assert f"example: kilnfolio {command}" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize("key", ["", "00", "x" * 64])
def test_an_invalid_key_is_bad_usage(tmp_path, key, capsys):
    assert main(["audit", str(tmp_path), "--key", key]) == 2
    assert "64 hex digits" in capsys.readouterr().err


def test_both_manifests_are_written(bags):
    assert {path.name for path in (bags / "C1").glob("*manifest-*.txt")} == {
        f"{kind}-{name}.txt" for kind in ("manifest", "tagmanifest") for name in ALGORITHMS
    }
