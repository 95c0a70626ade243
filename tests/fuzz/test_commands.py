"""Whole commands fed with damaged files: what they refuse they say so of, and leave alone.

The readers by themselves are in ``test_readers.py``. Here ``main`` runs as from a terminal. For every
file: a documented exit code, never that of a fault in the program, and no traceback; a command that
refuses its input does not end with 0; what does not end with 0 has changed no byte of the mill; and
what was written can be read again.
"""

import contextlib
import io
import shutil
from zoneinfo import ZoneInfo

import pytest
from hypothesis import strategies as st
from tests.adopt.own_files import write_survey
from tests.adopt.test_entries import DAY, RUNNING, at, entry_file
from tests.archive.sealing import seal_charge
from tests.fuzz.damage import JSON, TABLE, YAML, damaged
from tests.fuzz.test_readers import (
    BRAND,
    INSTRUMENT,
    NOTATION,
    ORDER,
    PATHS,
    PRICES,
    outcome_of,
)
from tests.fuzz.watch import watch
from tests.minimal import minimal_log, minimal_mill

from kilnfolio.archive.bag import write_bag
from kilnfolio.cli import main
from kilnfolio.records.kinds import RECORD_KINDS
from kilnfolio.records.reading import record_of
from kilnfolio.rendering.safety import SAFETY

ZONE = ZoneInfo("America/Toronto")
CHARGE = PATHS["charge"]


class Desk:
    """A mill at which commands are given, and put back as it was after each."""

    def __init__(self, root):
        self.root, self.sound = root, {}
        self.sound = self.files()

    def files(self):
        return {
            path.relative_to(self.root).as_posix(): path.read_bytes()
            for path in sorted(self.root.rglob("*"))
            if path.is_file() and ".kilnfolio" not in path.parts
        }

    def put_back(self):
        shutil.rmtree(self.root / ".kilnfolio", ignore_errors=True)
        for name, data in self.files().items():
            if name not in self.sound:
                (self.root / name).unlink()
            elif self.sound[name] != data:
                (self.root / name).write_bytes(self.sound[name])

    def give(self, *words):
        """Run a command; return its exit code, what it said, and whether the mill has changed."""
        before, said = self.files(), io.StringIO()
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
            try:
                code = main(list(map(str, words)))
            except SystemExit as ended:  # how argparse refuses words
                code = ended.code
        said = said.getvalue()
        assert "Traceback" not in said
        assert "our fault" not in said, said
        return code, said, self.files() != before

    def can_be_read(self):
        """Return whether the charge can still be read."""
        data = (self.root / CHARGE).read_bytes()
        return outcome_of(lambda: record_of(data, CHARGE, ZONE)) == "read"


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    return Desk(
        minimal_mill(
            tmp_path_factory.mktemp("desk") / "mill",
            charge=RUNNING,
            files={
                PATHS["notation"]: NOTATION,
                PATHS["order"]: ORDER,
                PATHS["instrument"]: INSTRUMENT,
                PATHS["brand"]: BRAND,
                PATHS["prices"]: PRICES,
            },
        )
    )


@pytest.fixture
def clean(desk):
    desk.put_back()
    yield desk
    desk.put_back()


def test_check(clean):
    """A damaged record of any kind: 2 if its reader refuses it, whatever else the mill holds."""
    kinds = st.sampled_from(sorted(RECORD_KINDS))
    files = kinds.flatmap(
        lambda kind: damaged([clean.sound[PATHS[kind]]], YAML).map(lambda data: (kind, data))
    )

    def give(one):
        kind, data = one
        path = clean.root / PATHS[kind]
        path.write_bytes(data)
        try:
            code, said, changed = clean.give("check", clean.root)
        finally:
            path.write_bytes(clean.sound[PATHS[kind]])
        assert not changed
        alone = outcome_of(lambda: record_of(data, PATHS[kind], ZONE))
        assert code in (0, 1, 2)
        assert code == 2 or alone == "read", (kind, said)
        assert code != 2 or PATHS[kind] in said or alone == "read", (kind, said)
        return str(code)

    found = watch("check", files, give, usual=60)
    assert found["2"]


WIDE = b"Date,Time,S1 (g),S2 (g)\n2026-06-07,07:10,2230,2350\n2026-06-07,15:15,2220,2345\n"
LOG = "".join(minimal_log().splitlines(keepends=True)[:40]).encode()


BY = ("--charge", "C1", "--by", "A. N. Other")


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("log", ("--kiln", "k1", "--id", "two-bulbs", "--charge", "C1", "--yes")),
        ("weighings", BY),
        (
            "survey",
            (*BY, "--method=resistance meter", "--at", "2026-06-07T20:00", "--decimal", ","),
        ),
    ],
)
def test_import(clean, tmp_path, kind, words):
    """A damaged file: imported, or said to hold nothing new, or refused and nothing written."""
    sound = {
        "log": LOG,
        "weighings": WIDE,
        "survey": write_survey(tmp_path / "s.csv").read_bytes(),
    }[kind]
    path = tmp_path / "from-elsewhere.csv"

    def give(data):
        path.write_bytes(data)
        try:
            code, said, changed = clean.give("import", kind, path, clean.root, *words)
            assert code in (0, 1, 2)
            assert changed == (code == 0) or (code == 0 and "nothing new" in said), said
            assert code == 0 or said.strip()
            assert clean.can_be_read()
        finally:
            clean.put_back()
        return str(code)

    assert give(sound) == "0"
    found = watch(f"import {kind}", damaged([sound], TABLE), give, usual=30)
    assert found["2"] or found["1"]


def test_take(clean, tmp_path):
    """Damaged entry files: 0 only if all of it was taken."""
    path = tmp_path / "a.json"
    sound = entry_file(path, [*DAY, {"kind": "finish", "ended": at(50)}]).read_bytes()

    def give(data):
        path.write_bytes(data)
        try:
            code, said, changed = clean.give("take", path, "--folder", clean.root)
            assert code in (0, 1, 2)
            assert (code == 0) == ("not taken" not in said and bool(said.strip())), said
            assert code != 2 or not changed
            assert code != 0 or changed
            assert clean.can_be_read()
        finally:
            clean.put_back()
        return f"{code}{' in part' if code and changed else ''}"

    assert give(sound) == "0"
    found = watch("take", damaged([sound, sound.replace(b", ", b",\n")], JSON), give, usual=30)
    assert found["1"] or found["2"]


def test_weigh(clean):
    """A daily command on a damaged record: the record is as it was, or read with the new value."""
    sound = clean.sound[CHARGE]
    words = ("weigh", "C1", "S1=2230", "--at", "2026-06-08T10:00", "--folder", clean.root, "--yes")

    def give(data):
        (clean.root / CHARGE).write_bytes(data)
        try:
            code, said, changed = clean.give(*words)
            assert code in (0, 1, 2)
            assert changed == (code == 0), said
            assert code != 0 or clean.can_be_read()
        finally:
            clean.put_back()
        return str(code)

    assert give(sound) == "0"
    found = watch("weigh", damaged([sound], YAML), give, usual=30)
    assert found["2"]


def test_audit(tmp_path):
    """A bag with a damaged file always differs; its PDFs are left out, which an undamaged one says."""
    root = minimal_mill(tmp_path / "mill")
    seal_charge(root)
    bag = write_bag(root, "C1", tmp_path, notice=SAFETY, extra={"record.pdf": b"%PDF"})
    desk = Desk(bag)
    names = sorted(desk.sound)
    files = st.sampled_from(names).flatmap(
        lambda name: damaged([desk.sound[name]], (*JSON, *YAML)).map(lambda data: (name, data))
    )

    def give(one):
        name, data = one
        (bag / name).write_bytes(data)
        try:
            code, said, changed = desk.give("audit", bag, "--without-pdf")
        finally:
            (bag / name).write_bytes(desk.sound[name])
        assert not changed
        assert code in ((4,) if data == desk.sound[name] else (1, 2)), (name, said)
        return str(code)

    assert give((names[0], desk.sound[names[0]])) == "4"
    found = watch("audit", files, give, usual=20)
    assert found["1"]
