"""Keys replaced and revoked, clocks corrected, heads witnessed, older ledgers converted."""

import datetime as dt
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time

import pytest
from tests.archive import sealing
from tests.archive.sealing import verify_ledger

from kilnfolio.archive import upkeep
from kilnfolio.archive.adding import SealRefusedError
from kilnfolio.archive.audit import audit
from kilnfolio.archive.canonical import canonical, sha256
from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.entries import Head
from kilnfolio.archive.heads import HEADS
from kilnfolio.archive.keys import find_keys, make_keys
from kilnfolio.archive.places import LEDGER
from kilnfolio.archive.trust import TrustedKey, read_trust, trusted_key
from kilnfolio.archive.witness import countersign, countersignature_text, read_time_stamp
from kilnfolio.cli import main

LATER = sealing.SEALED_AT + dt.timedelta(days=1)
#: How many runs are killed; set it higher for a longer trial.
KILLS = int(os.environ.get("KILNFOLIO_KILLS", "6"))


@pytest.fixture
def root(tmp_path):
    """A mill with two charges and a key of its own, C1 sealed."""
    sealing.two_charges(tmp_path)
    keys = make_keys(tmp_path / "keys")
    sealing.seal_charge(tmp_path, keys=keys)
    return tmp_path


def head_of(root):
    ledger = read_ledger(root)
    return Head(size=len(ledger.tree), root=ledger.tree.root().hex())


# --- keys -----------------------------------------------------------------------------------------


def test_after_a_rotation_each_key_is_valid_for_its_own_time(root):
    old = find_keys(root)
    entry = upkeep.rotate_key(root, old, "A. N. Other", "The office moved.", LATER)
    new = find_keys(root)
    assert (entry.public_key, entry.new_key) == (old.public, new.public)
    assert old.public != new.public
    sealing.seal_charge(root, "C2", keys=new, at=LATER)
    assert verify_ledger(root) == ()
    for keys in (old, new):
        report = audit(
            sealing.bag_of(root, root / "bags", "C1" if keys is old else "C2"),
            trusted=[TrustedKey(old.public, LATER.date()), TrustedKey(new.public)],
            again=sealing.AGAIN,
        )
        assert report.outcome == "identical", report.all_differences


def test_a_replaced_key_seals_no_more(root):
    old = find_keys(root)
    upkeep.rotate_key(root, old, "A. N. Other", "The office moved.", LATER)
    with pytest.raises(SealRefusedError, match="was replaced before, by entry 2"):
        sealing.seal_charge(root, "C2", keys=old, at=LATER)
    assert not list((root / "content/ledger/dossiers").glob("C2*"))  # no orphan


def test_a_rotation_needs_both_keys(root):
    old = find_keys(root)
    upkeep.rotate_key(root, old, "A. N. Other", "The office moved.", LATER)
    lines = sealing.lines_of(root)
    entry = json.loads(lines[1])
    forged = sealing.sign_again(lines[1], old, new_key=sealing.key(7).public)
    assert entry["new_key"] != sealing.key(7).public
    sealing.write_lines(root, [lines[0], forged], old)
    assert "entry-edited" in sealing.kinds(verify_ledger(root))


def test_a_rotation_stopped_half_way_can_be_completed(root):
    old = find_keys(root)
    new = make_keys(root / "keys", name=upkeep.NEW_KEY)
    entry = upkeep.rotate_key(root, old, "A. N. Other", "The office moved.", LATER)
    assert entry.new_key == new.public == find_keys(root).public
    # stopped after its entry, before the key files were exchanged
    (root / "keys/seal-key.pem").rename(root / "keys" / upkeep.NEW_KEY)
    (root / "keys/seal-key.1.pem").rename(root / "keys/seal-key.pem")
    again = upkeep.rotate_key(root, find_keys(root), "A. N. Other", "The office moved.", LATER)
    assert again == entry
    assert find_keys(root).public == new.public
    assert verify_ledger(root) == ()


def test_a_refused_rotation_leaves_no_key(root):
    lines = sealing.lines_of(root)
    sealing.write_lines(root, [sealing.change_entry(lines[0], by="Somebody"), *lines[1:]])
    with pytest.raises(SealRefusedError, match="does not hold"):
        upkeep.rotate_key(root, find_keys(root), "A. N. Other", "The office moved.", LATER)
    assert [path.name for path in (root / "keys").iterdir()] == ["seal-key.pem"]


def test_a_revoked_key_is_trusted_to_its_last_day_and_seals_no_more(root):
    thief = find_keys(root)
    upkeep.rotate_key(root, thief, "A. N. Other", "A laptop was stolen.", LATER)
    own = find_keys(root)
    upkeep.revoke_key(
        root,
        own,
        thief.public,
        sealing.SEALED_AT.date(),
        "A. N. Other",
        "A laptop was stolen.",
        LATER,
    )
    assert sealing.kinds(verify_ledger(root)) == {"entry-key-revoked"}  # the rotation, a day later
    with pytest.raises(SealRefusedError, match="its last day was 2026-06-08"):
        sealing.seal_charge(root, "C2", keys=thief, at=LATER)


def test_a_bag_that_hides_a_stolen_keys_last_day_fails_against_the_auditors_paper(root, tmp_path):
    """A forged bag leaves out the list's 'until' and the revocation; the auditor's paper has it."""
    thief = find_keys(root)
    sealing.seal_charge(root, "C2", keys=thief, at=sealing.SEALED_AT + dt.timedelta(days=20))
    bag = sealing.bag_of(root, tmp_path / "bags", "C2")
    assert audit(bag, again=sealing.AGAIN).outcome == "identical, key not confirmed"
    paper = tmp_path / "keys.txt"
    paper.write_text(f"# by telephone\n{thief.public} until 2026-06-10\n")
    report = audit(bag, trusted=read_trust(paper), again=sealing.AGAIN)
    assert "entry-key-past-its-last-day" in {d.kind for d in report.all_differences}


@pytest.mark.parametrize(
    "text", ["", "00", "x" * 64, "a" * 64 + " until tomorrow", "a" * 64 + " until 2026-13-01"]
)
def test_what_is_not_a_key_is_refused(text):
    with pytest.raises(ValueError, match="64 hex digits"):
        trusted_key(text)


# --- clocks ---------------------------------------------------------------------------------------


def test_an_entry_from_a_wrong_clock_is_corrected_and_sealing_continues(root):
    keys = find_keys(root)
    sealing.change(root / sealing.CHARGE, "green_mass: 2410 g", "green_mass: 2411 g")
    sealing.amend_charge(root, "The mass was misread.", keys=keys, days=365 * 74)
    with pytest.raises(SealRefusedError, match="ledger correct-clock"):
        sealing.seal_charge(root, "C2", keys=keys, at=LATER)
    entry = upkeep.correct_clock(root, keys, "A. N. Other", "The clock stood in 2100.", LATER)
    assert entry.wrong == (2,)
    sealing.seal_charge(root, "C2", keys=keys, at=LATER)
    assert verify_ledger(root) == ()
    kinds = {one.kind for one in audit(root).all_open}
    assert kinds == {"sealed-in-the-future"}
    with pytest.raises(SealRefusedError, match="nothing to correct"):
        upkeep.correct_clock(root, keys, "A. N. Other", "Again.", LATER)


@pytest.mark.parametrize(
    "at", [dt.datetime(1970, 1, 1, tzinfo=dt.UTC), dt.datetime(2026, 6, 7, 0, 0, tzinfo=dt.UTC)]
)
def test_a_charge_cannot_be_sealed_before_it_ended(root, at):
    with pytest.raises(SealRefusedError, match="before the charge ended"):
        sealing.seal_charge(root, "C2", keys=find_keys(root), at=at)


def test_a_seal_dated_1970_is_questioned(root):
    keys = find_keys(root)
    [line] = sealing.lines_of(root)
    keyring = root / "content/ledger/keys.yaml"
    keyring.write_text(keyring.read_text().replace("since: 2026-06-08", "since: 1970-01-01"))
    sealing.write_lines(root, [sealing.sign_again(line, keys, at="1970-01-01T00:00:00Z")], keys)
    report = audit(root)
    assert report.outcome == "incomplete"
    assert {one.kind for one in report.all_open} == {"sealed-before-it-ended"}


def test_nothing_is_sealed_in_the_future(root, capsys, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", str(int(time.time()) + 86400))
    assert main(["seal", "C2", str(root), "--by", "A. N. Other"]) == 1
    assert "later than this computer's clock" in capsys.readouterr().err
    assert not list((root / "content/ledger/dossiers").glob("C2*"))


# --- witnesses ------------------------------------------------------------------------------------


def test_a_countersignature_is_added_and_belongs_to_this_ledger_only(root):
    keys, witness = find_keys(root), sealing.key(5)
    head = head_of(root)
    signed = countersignature_text(countersign(head, "A. Auditor", witness))
    entry = upkeep.add_witness(root, keys, signed, "A. N. Other", LATER)
    assert (entry.witness, entry.head, entry.witness_key) == ("A. Auditor", head, witness.public)
    assert verify_ledger(root) == ()
    other = Head(size=1, root="0" * 64)
    with pytest.raises(SealRefusedError, match="not one of this ledger"):
        upkeep.add_witness(
            root,
            keys,
            countersignature_text(countersign(other, "A. Auditor", witness)),
            "A. N. Other",
            LATER,
        )
    with pytest.raises(SealRefusedError, match="does not fit"):
        upkeep.add_witness(
            root, keys, signed.replace(b'"size":1', b'"size":2'), "A. N. Other", LATER
        )
    lines = sealing.lines_of(root)
    sealing.write_lines(
        root,
        [lines[0], sealing.sign_again(lines[1], keys, witness_key=sealing.key(6).public)],
        keys,
    )
    assert "witness-does-not-fit" in sealing.kinds(verify_ledger(root))


OPENSSL = shutil.which("openssl")


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    """Our own time-stamping service, run by OpenSSL."""
    if OPENSSL is None:
        pytest.skip("no openssl on the PATH")
    home = tmp_path_factory.mktemp("service")

    def openssl(*words):
        subprocess.run([OPENSSL, *words], cwd=home, check=True, capture_output=True)

    openssl(
        "req",
        "-x509",
        "-newkey",
        "rsa:2048",
        "-nodes",
        "-days",
        "3650",
        "-subj",
        "/CN=A test root",
        "-keyout",
        "root.key",
        "-out",
        "root.pem",
    )
    (home / "ext.cnf").write_text("extendedKeyUsage=critical,timeStamping\n")
    openssl(
        "req",
        "-newkey",
        "rsa:2048",
        "-nodes",
        "-subj",
        "/CN=A test service",
        "-keyout",
        "tsa.key",
        "-out",
        "tsa.csr",
    )
    openssl(
        "x509",
        "-req",
        "-in",
        "tsa.csr",
        "-CA",
        "root.pem",
        "-CAkey",
        "root.key",
        "-days",
        "3650",
        "-extfile",
        "ext.cnf",
        "-set_serial",
        "7",
        "-out",
        "tsa.pem",
    )
    (home / "serial").write_text("01\n")
    (home / "tsa.cnf").write_text(
        "[tsa]\ndefault_tsa = one\n[one]\nserial = serial\nsigner_cert = tsa.pem\n"
        "signer_key = tsa.key\nsigner_digest = sha256\ndefault_policy = 1.2.3.4\n"
        "digests = sha256\naccuracy = secs:1\ness_cert_id_alg = sha256\n"
    )

    def stamp(data: bytes) -> bytes:
        (home / "data").write_bytes(data)
        openssl("ts", "-query", "-data", "data", "-sha256", "-cert", "-out", "query")
        openssl("ts", "-reply", "-config", "tsa.cnf", "-queryfile", "query", "-out", "reply")
        return (home / "reply").read_bytes()

    return home, stamp


def test_a_time_stamp_is_verified_offline_here_and_by_openssl(root, service):
    home, stamp = service
    head = head_of(root)
    token = stamp(head.text)
    entry = upkeep.add_witness(root, find_keys(root), token, "A. N. Other", LATER)
    assert (entry.head, "A test service" in entry.witness) == (head, True)
    assert abs(read_time_stamp(token, head).at - dt.datetime.now(dt.UTC)) < dt.timedelta(minutes=2)
    assert verify_ledger(root) == ()
    (home / "head.json").write_bytes(canonical({"root": head.root, "size": head.size}))
    run = subprocess.run(
        [OPENSSL, "ts", "-verify", "-data", "head.json", "-in", "reply", "-CAfile", "root.pem"],
        cwd=home,
        capture_output=True,
        text=True,
    )
    assert "Verification: OK" in run.stdout + run.stderr


def test_a_time_stamp_of_something_else_or_changed_is_refused(root, service):
    _, stamp = service
    with pytest.raises(SealRefusedError, match="does not cover"):
        upkeep.add_witness(root, find_keys(root), stamp(b"another"), "A. N. Other", LATER)
    token = stamp(head_of(root).text)
    chance = random.Random(3)
    for _ in range(200):
        changed = bytearray(token)
        changed[chance.randrange(len(token) // 2, len(token))] ^= 1 << chance.randrange(8)
        try:
            stamped = read_time_stamp(bytes(changed), head_of(root))
        except ValueError:
            continue
        # what is not covered by the signature may change unnoticed, and proves nothing
        assert stamped.at == read_time_stamp(token, head_of(root)).at
    for rubbish in (b"", b"\x30", b"rubbish", b"\x30\x80" * 1000):
        with pytest.raises(SealRefusedError, match="no RFC 3161"):
            upkeep.add_witness(root, find_keys(root), rubbish, "A. N. Other", LATER)


# --- older ledgers --------------------------------------------------------------------------------


def as_format_1(root, keys):
    """Write the ledger in format 1: each line with the digest of the line before."""
    lines, before = [], "0" * 64
    for line in sealing.lines_of(root):
        lines.append(sealing.sign_again(line, keys, format=1, before=before))
        before = sha256(lines[-1])
    (root / LEDGER).write_bytes(b"".join(line + b"\n" for line in lines))
    (root / HEADS).unlink()


def test_an_older_ledger_is_converted_by_a_command_and_its_seals_still_verify(
    root, tmp_path, capsys
):
    keys = find_keys(root)
    sealing.seal_charge(root, "C2", keys=keys)
    as_format_1(root, keys)
    before = (root / LEDGER).read_bytes()
    assert verify_ledger(root) == ()
    old = audit(sealing.bag_of(root, tmp_path / "old"), again=sealing.AGAIN)
    assert (old.outcome, [one.kind for one in old.all_open]) == ("incomplete", ["no-proof"])
    assert main(["ledger", "convert", "--folder", str(root)]) == 0
    assert "head of 2 entries" in capsys.readouterr().out
    assert (root / LEDGER).read_bytes() == before
    assert verify_ledger(root) == ()
    new = audit(sealing.bag_of(root, tmp_path / "new"), again=sealing.AGAIN)
    assert new.outcome == "identical, key not confirmed", new.all_differences
    assert main(["ledger", "convert", "--folder", str(root)]) == 1
    sealing.change(root / sealing.CHARGE, "green_mass: 2410 g", "green_mass: 2411 g")
    sealing.amend_charge(root, "The mass was misread.", keys=keys)
    assert verify_ledger(root) == ()
    assert [entry.format for entry in read_ledger(root).entries] == [1, 1, 2]


# --- the commands, and a power cut ----------------------------------------------------------------


def test_the_commands_work_from_the_head_to_the_witness(root, tmp_path, capsys):
    folder = ["--folder", str(root)]
    head = tmp_path / "head.json"
    assert main(["ledger", "head", *folder, "--out", str(head)]) == 0
    assert "in words: " in capsys.readouterr().out
    other = make_keys(tmp_path / "auditors")
    out = tmp_path / "witness.json"
    assert (
        main(
            [
                "witness",
                str(head),
                "--sign",
                str(other.path),
                "--by",
                "A. Auditor",
                "--out",
                str(out),
            ]
        )
        == 0
    )
    assert main(["witness", "--add", str(out), *folder, "--by", "A. N. Other"]) == 0
    assert main(["ledger", "rotate-key", *folder, "--by", "A", "--reason", "Yearly."]) == 0
    assert main(["ledger", "revoke-key", *folder, "--by", "A", "--reason", "Lost."]) == 2
    assert "--key and --last-day" in capsys.readouterr().err
    assert main(["audit", str(root), "--since", str(head)]) == 3
    assert verify_ledger(root) == ()


def test_commands_killed_at_random_leave_a_usable_ledger(root):
    """Seal, amend, rotate, witness: after each kill the ledger is valid or the next entry repairs
    it."""
    moments = random.Random(26)
    mended = {"ledger-line-torn", "dossier-without-entry", "head-missing"}
    counts = []
    paper = root / "witness.json"
    other = make_keys(root / "auditors")
    paper.write_bytes(countersignature_text(countersign(head_of(root), "A. Auditor", other)))
    for turn in range(KILLS):
        seal = ["seal" if turn % 2 else "amend", "C2" if turn % 2 else "C1", str(root), "--by", "A"]
        commands = [
            [*seal, *(["--reason", "Read again"] if seal[0] == "amend" else [])],
            ["ledger", "rotate-key", "--folder", str(root), "--by", "A", "--reason", "R"],
            ["witness", "--add", str(paper), "--folder", str(root), "--by", "A"],
        ]
        if turn % 2 == 0:
            text = (root / sealing.CHARGE).read_text()
            (root / sealing.CHARGE).write_text(text + f"# {turn}\n")
        words = commands[turn // 2 % 3]
        process = subprocess.Popen(
            [sys.executable, "-m", "kilnfolio", *words],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(moments.uniform(0.2, 4.0))
        process.send_signal(signal.SIGKILL)
        process.wait()
        assert sealing.kinds(verify_ledger(root)) <= mended, verify_ledger(root)
        counts.append(len(read_ledger(root).entries))
    assert counts == sorted(counts)
    upkeep.rotate_key(
        root, find_keys(root), "A", "After the last of them.", dt.datetime.now(dt.UTC)
    )
    assert sealing.kinds(verify_ledger(root)) <= {"dossier-without-entry"}
