"""Addresses under a stolen key: withdrawn for the lots that matter, and for no others."""

import pytest
from tests.minimal import minimal_mill

from kilnfolio.archive.tokens import (
    KEY_FILE,
    WITHDRAWN_FILE,
    lot_token,
    make_token_key,
    read_address_keys,
    read_token_key,
    replace_token_key,
    withdraw,
)
from kilnfolio.cli import main
from kilnfolio.records.problems import RecordProblems


@pytest.fixture
def root(tmp_path):
    root = minimal_mill(tmp_path / "mill")
    make_token_key(root / KEY_FILE)
    return root


def test_only_the_named_lots_lose_their_earlier_addresses(root):
    first = read_token_key(root, invented=False)
    replace_token_key(root)
    second = read_token_key(root, invented=False)
    assert withdraw(root, ["L1"]) == 1
    replace_token_key(root)
    third = read_token_key(root, invented=False)
    keys = read_address_keys(root, invented=False)
    assert keys.live_tokens("L1") == (lot_token("L1", third), lot_token("L1", second))
    assert keys.withdrawn_tokens("L1") == (lot_token("L1", first),)
    assert keys.live_tokens("L2") == tuple(lot_token("L2", key) for key in (third, second, first))
    assert keys.withdrawn_tokens("L2") == ()
    withdraw(root, ["L1"])  # again, after another key was replaced
    assert read_address_keys(root, invented=False).withdrawn_tokens("L1") == (
        lot_token("L1", second),
        lot_token("L1", first),
    )


def test_the_number_of_a_deleted_key_is_not_used_again(root):
    replace_token_key(root)
    replace_token_key(root)
    withdraw(root, ["L1"])
    (root / "keys/lot-addresses.1.key").unlink()
    replace_token_key(root)
    assert sorted(path.name for path in (root / "keys").glob("lot-addresses*")) == [
        "lot-addresses.2.key",
        "lot-addresses.3.key",
        "lot-addresses.key",
    ]
    assert len(read_address_keys(root, invented=False).withdrawn_tokens("L1")) == 1


def test_the_command(root, capsys):
    assert main(["new", "keys", str(root), "--withdraw", "L1"]) == 2
    assert "no key of addresses was replaced yet" in capsys.readouterr().err
    assert main(["new", "keys", str(root), "--replace-addresses"]) == 0
    assert main(["new", "keys", str(root), "--withdraw", "L1", "--withdraw", "L9"]) == 2
    assert "there is no such lot, and nothing was written" in capsys.readouterr().err.lower()
    assert not (root / WITHDRAWN_FILE).exists()
    assert main(["new", "keys", str(root), "--withdraw", "L1"]) == 0
    assert "print new labels for the packs" in capsys.readouterr().out
    assert (root / WITHDRAWN_FILE).read_text("utf-8").endswith("\n1 L1\n")


@pytest.mark.parametrize("line", ["L1", "one L1", "-1 L1", "1"])
def test_an_incomplete_line_is_refused(root, line):
    replace_token_key(root)
    (root / WITHDRAWN_FILE).write_text(f"# by hand\n{line}\n", "utf-8")
    with pytest.raises(
        RecordProblems, match=rf"withdrawn-addresses\.txt:2:1: '{line}': it must hold"
    ):
        read_address_keys(root, invented=False)


@pytest.mark.parametrize("damaged", [b"", b"no key", b"\xff" * 99, b"00" * 31])
def test_a_file_that_holds_no_key_is_refused_by_name(root, capsys, damaged):
    """It was taken for a fault of ours, and `--replace-addresses` put it away as a key."""
    key = root / KEY_FILE
    key.write_bytes(damaged)
    said = "keys/lot-addresses.key:1:1: it is no key of addresses: a key has 64 hex"
    with pytest.raises(RecordProblems, match=said):
        read_address_keys(root, invented=False)
    assert main(["new", "keys", str(root), "--replace-addresses"]) == 2
    assert said in capsys.readouterr().err
    assert key.read_bytes() == damaged
    assert [path.name for path in key.parent.glob("lot-addresses*")] == [key.name]
