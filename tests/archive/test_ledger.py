"""The ledger tampered with in every way we could think of; each is reported."""

import json
import shutil
import subprocess

import pytest
from tests.archive import sealing
from tests.archive.appender import add_entries
from tests.archive.sealing import verify_ledger

from kilnfolio.archive.canonical import canonical
from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.entries import safe_path
from kilnfolio.archive.keyring import KEYRING
from kilnfolio.archive.ledger import parse_ledger
from kilnfolio.archive.places import DOSSIERS, LEDGER, dossier_path
from kilnfolio.archive.trust import TrustedKey


@pytest.fixture(scope="module")
def three(tmp_path_factory):
    """A ledger of three entries: C1, C2, and C1 amended."""
    root = sealing.two_charges(tmp_path_factory.mktemp("three"))
    sealing.seal_charge(root)
    sealing.seal_charge(root, "C2")
    sealing.change(root / sealing.CHARGE, "green_mass: 2410 g", "green_mass: 2411 g")
    sealing.amend_charge(root, "The mass was misread.")
    assert verify_ledger(root) == ()
    return root


@pytest.fixture
def root(three, tmp_path):
    shutil.copytree(three / "content", tmp_path / "content")
    return tmp_path


def found(root):
    return {(d.kind, d.what.partition(" (")[0]) for d in verify_ledger(root)}


@pytest.mark.parametrize("number", [1, 2])
def test_a_dropped_ledger_entry_is_reported(root, number):
    lines = sealing.lines_of(root)
    del lines[number - 1]
    sealing.write_lines(root, lines)
    assert ("entry-missing", f"entry {number} is not there") in found(root)
    assert ("chain-broken", f"entry {number + 1}") in found(root)


def test_an_entry_number_far_off_is_reported_at_once(root):
    lines = sealing.lines_of(root)
    lines[2] = sealing.sign_again(lines[2], sealing.key(), number=2**53 - 1)
    sealing.write_lines(root, lines)
    assert ("entry-missing", f"entries 3 to {2**53 - 2} are not there") in found(root)


def test_dropping_the_last_entry_leaves_its_dossier_behind(root):
    sealing.write_lines(root, sealing.lines_of(root)[:2])
    assert [(d.kind, d.where) for d in verify_ledger(root)] == [
        ("dossier-without-entry", dossier_path("C1", 2).as_posix())
    ]


@pytest.mark.parametrize(("order", "named"), [((1, 0, 2), 1), ((0, 2, 1), 2), ((2, 1, 0), 1)])
def test_reordered_entries_are_reported(root, order, named):
    lines = sealing.lines_of(root)
    sealing.write_lines(root, [lines[place] for place in order])
    assert ("entry-out-of-order", f"entry {named}") in found(root)
    assert "chain-broken" in {kind for kind, _ in found(root)}


def test_a_repeated_entry_is_reported(root):
    lines = sealing.lines_of(root)
    sealing.write_lines(root, [*lines, lines[1]])
    assert ("entry-repeated", "entry 2") in found(root)


EDITS = {
    "by": "Somebody Else",
    "at": "2026-06-08T10:00:01-04:00",
    "charge": "C9",
    "dossier": "0" * 64,
    "before": "1" * 64,
    "reason": "Another reason.",
    "inputs": [],
    "supporting": [],
    "kind": "amendment",
    "amends": 7,
    "number": 7,
}


@pytest.mark.parametrize("key", EDITS)
@pytest.mark.parametrize("place", [0, 1])
def test_an_edited_entry_is_reported(root, key, place):
    lines = sealing.lines_of(root)
    lines[place] = sealing.change_entry(lines[place], **{key: EDITS[key]})
    sealing.write_lines(root, lines)
    differences = verify_ledger(root)
    row = f"{LEDGER.as_posix()}:{place + 1}"
    assert any(d.kind == "entry-edited" and d.where == row for d in differences)
    assert any(
        d.kind == "chain-broken" and d.where == f"{LEDGER.as_posix()}:{place + 2}"
        for d in differences
    )


@pytest.mark.parametrize(
    "values",
    [
        {"extra": 1},
        {"number": 0},
        {"number": "1"},
        {"kind": "note"},
        {"dossier": "A" * 64},
        {"signature": "0" * 127},
        {"at": "2026-06-08T10:00:00"},
        {"public_key": "x" * 64},
        {"inputs": [{"path": "../../secret", "sha256": "0" * 64, "size": 1}]},
        {"inputs": [{"path": "/etc/passwd", "sha256": "0" * 64, "size": 1}]},
        {"charge": "../C1"},
        {"format": 3},
        {"by": ""},
    ],
)
def test_a_line_that_is_not_an_entry_is_reported(root, values):
    lines = sealing.lines_of(root)
    lines[0] = (
        sealing.sign_again(lines[0], sealing.key(), **values)
        if "signature" not in values and "public_key" not in values
        else sealing.change_entry(lines[0], **values)
    )
    sealing.write_lines(root, lines)
    assert ("ledger-line-unreadable", f"{LEDGER.as_posix()}:1") in {
        (d.kind, d.where) for d in verify_ledger(root)
    }
    assert ("entry-missing", "entry 1 is not there") in found(root)


@pytest.mark.parametrize("spelling", [lambda s: s.upper(), lambda s: s[:-1] + s[-1].upper()])
def test_a_signature_has_only_one_spelling(root, spelling):
    lines = sealing.lines_of(root)
    signature = json.loads(lines[2])["signature"]
    other = spelling(signature.replace(signature[-1], "a"))
    lines[2] = sealing.change_entry(lines[2], signature=other)
    sealing.write_lines(root, lines)
    assert "ledger-line-unreadable" in sealing.kinds(verify_ledger(root))


def test_an_entry_signed_again_with_another_key_is_reported(root):
    lines = sealing.lines_of(root)
    lines[1] = sealing.sign_again(lines[1], sealing.key(2), by="Somebody Else")
    sealing.write_lines(root, lines)
    assert ("entry-key-unknown", "entry 2") in found(root)
    assert ("chain-broken", "entry 3") in found(root)


def written_anew(root, keys):
    """Rewrite the whole ledger with another key, hashes included."""
    sealing.write_lines(root, sealing.written_anew(sealing.lines_of(root), keys), keys)


def test_a_whole_ledger_rewritten_with_another_key_is_reported(root):
    written_anew(root, sealing.key(2))
    assert found(root) == {("entry-key-unknown", f"entry {n}") for n in (1, 2, 3)}


def test_a_rewritten_ledger_and_list_of_keys_are_caught_by_a_key_from_elsewhere(root):
    written_anew(root, sealing.key(2))
    sealing.change(root / KEYRING, sealing.key(1).public, sealing.key(2).public)
    assert verify_ledger(root) == ()  # as the module says, the ledger alone cannot show it
    differences = verify_ledger(root, trusted=[TrustedKey(sealing.key(1).public)])
    assert [d.kind for d in differences] == ["entry-key-not-trusted"] * 3


def test_a_key_used_outside_its_days_is_reported(root):
    sealing.change(
        root / KEYRING, "    since: 2026-06-08\n", "    since: 2026-06-08\n    until: 2026-06-08\n"
    )
    assert found(root) == {("entry-key-out-of-date", "entry 3")}


def test_a_missing_or_unreadable_list_of_keys_is_reported(root):
    (root / KEYRING).rename(root / "elsewhere")
    assert sealing.kinds(verify_ledger(root)) == {"keys-missing"}
    (root / KEYRING).write_text("format: 1\nkeys: none\n")
    assert {"keys-unreadable", "keys-missing"} >= sealing.kinds(verify_ledger(root)) != set()


@pytest.mark.parametrize(
    "values", [{"kind": "seal", "amends": None, "reason": None}, {"amends": 2}, {"reason": None}]
)
def test_an_amendment_of_nothing_is_reported(root, values):
    lines = sealing.lines_of(root)
    lines[2] = sealing.sign_again(lines[2], sealing.key(), **values)
    sealing.write_lines(root, lines)
    assert ("entry-of-wrong-kind", "entry 3") in found(root)


def test_a_backdated_entry_is_reported(root):
    lines = sealing.lines_of(root)
    lines[2] = sealing.sign_again(lines[2], sealing.key(), at="2026-06-08T09:59:59-04:00")
    sealing.write_lines(root, lines)
    assert ("entry-dated-back", "entry 3") in found(root)


def test_a_dossier_missing_changed_or_without_an_entry_is_reported(root):
    (root / dossier_path("C1", 1)).unlink()
    path = root / dossier_path("C2", 1)
    path.write_bytes(path.read_bytes().replace(b'"green_g":2410', b'"green_g":2401', 1))
    (root / DOSSIERS / "C7-1.json").write_text("{}")
    assert {(d.kind, d.where) for d in verify_ledger(root)} == {
        ("dossier-missing", dossier_path("C1", 1).as_posix()),
        ("dossier-changed", dossier_path("C2", 1).as_posix()),
        ("dossier-without-entry", dossier_path("C7", 1).as_posix()),
    }


def test_every_flipped_bit_of_a_line_is_reported(tmp_path):
    """All eight bits of every byte of a ledger's only line, where no other line can reveal them."""
    add_entries(tmp_path, 1)
    path = tmp_path / LEDGER
    whole = bytearray(path.read_bytes())
    for bit in range(8 * len(whole)):
        whole[bit // 8] ^= 1 << bit % 8
        # if it still reads as an entry, the signature must fail
        if not parse_ledger(bytes(whole)).differences:
            path.write_bytes(whole)
            assert verify_ledger(tmp_path), f"byte {bit // 8}, bit {bit % 8}"
        whole[bit // 8] ^= 1 << bit % 8
    path.write_bytes(whole)
    assert verify_ledger(tmp_path) == ()


NODE = """
const crypto = require('crypto');
const lines = require('fs').readFileSync(0, 'utf8').trimEnd().split('\\n');
const order = v => v === null || typeof v !== 'object' ? JSON.stringify(v)
  : Array.isArray(v) ? '[' + v.map(order).join(',') + ']'
  : '{' + Object.keys(v).sort().map(k => JSON.stringify(k) + ':' + order(v[k])).join(',') + '}';
const sha = (...parts) => parts.reduce((h, part) => h.update(part), crypto.createHash('sha256'))
  .digest();
const root = leaves => {  // RFC 9162, 2.1.1
  if (leaves.length < 2) return leaves.length ? leaves[0] : sha('');
  let k = 1;
  while (2 * k < leaves.length) k *= 2;
  return sha(Buffer.of(1), root(leaves.slice(0, k)), root(leaves.slice(k)));
};
const leaves = [];
for (const line of lines) {
  const {signature, ...entry} = JSON.parse(line);
  const der = Buffer.from('302a300506032b6570032100' + entry.public_key, 'hex');
  const key = crypto.createPublicKey({key: der, format: 'der', type: 'spki'});
  console.log(entry.before === root(leaves).toString('hex')
    && crypto.verify(null, Buffer.from(order(entry)), key, Buffer.from(signature, 'hex')));
  leaves.push(sha(Buffer.of(0), line));
}
"""


def test_another_implementation_verifies_the_ledger_as_the_readme_says(root):
    node = shutil.which("node")
    if node is None:
        pytest.skip("no ECMAScript engine on the PATH")

    def verdicts():
        return (
            subprocess.run(
                [node, "-e", NODE],
                input=(root / LEDGER).read_bytes(),
                capture_output=True,
                check=True,
            )
            .stdout.decode()
            .split()
        )

    assert verdicts() == ["true"] * 3
    lines = sealing.lines_of(root)
    sealing.write_lines(
        root, [lines[0], sealing.change_entry(lines[1], by="Somebody Else"), lines[2]]
    )
    assert verdicts() == ["true", "false", "false"]


@pytest.mark.parametrize(
    "name", ["", "/a", "a/../b", "..", "a\\b", "C:/a", "a//b", "./a", "a\nb", "a/"]
)
def test_paths_out_of_the_folder_are_refused(name):
    with pytest.raises(ValueError, match="plain path"):
        safe_path(name)


def test_an_empty_mill_has_an_empty_ledger(tmp_path):
    assert read_ledger(tmp_path).entries == ()
    assert verify_ledger(tmp_path) == ()


def test_what_is_signed_is_the_entry_without_its_signature(root):
    from kilnfolio.archive.entries import signed_bytes

    for line in parse_ledger((root / LEDGER).read_bytes()).lines:
        entry = json.loads(line.raw)
        del entry["signature"]
        assert signed_bytes(line.entry) == canonical(entry)
