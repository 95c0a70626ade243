"""What is rebuilt after a change: only what depends on it, always with the result of a clean build."""

from __future__ import annotations

import atexit
import functools
import hashlib
import os
import re
import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from hypothesis.strategies import integers, sampled_from
from tests.archive.sealing import seal_charge
from tests.copied import copied_mill
from tests.minimal import FILES, minimal_mill

from kilnfolio.archive.sealed_mill import open_sealed_mill
from kilnfolio.archive.tokens import make_token_key
from kilnfolio.graph.states import STAGING
from kilnfolio.pipeline.build import build_site
from kilnfolio.pipeline.built import EDITIONS
from kilnfolio.records.problems import RecordProblems
from kilnfolio.review.reviews import review_all

SECOND = "content/charges/2026/C2"


def two_charges(root: Path) -> Path:
    """Write a mill of two charges and two lots, a chapter, and a key for addresses."""
    minimal_mill(root)
    first = root / "content/charges/2026/C1"
    shutil.copytree(first, root / SECOND)
    edit(root, f"{SECOND}/charge.yaml", "id: C1", "id: C2")
    edit(root, f"{SECOND}/charge.yaml", "P1", "P9")
    lot = root / FILES["lot"]
    text = lot.read_text().replace("L1", "L2").replace("charge: C1", "charge: C2")
    lot.with_name("L2.yaml").write_text(text.replace("P1", "P9"))
    (root / "content/handbook").mkdir(exist_ok=True)
    (root / "keys").mkdir(exist_ok=True)
    if not (root / "keys/lot-addresses.key").exists():
        make_token_key(root / "keys/lot-addresses.key")
    return root


def edit(root: Path, name: str, old: str, new: str) -> None:
    path = root / name
    text = path.read_text()
    assert old in text, f"{old!r} is not in {name}"
    path.write_text(text.replace(old, new))


def build(root: Path, out: Path | None = None, **options):
    return build_site(root, out or root / "site", pdfs=False, workers=1, **options)


def bytes_of(out: Path) -> dict[str, bytes]:
    return {
        path.relative_to(out).as_posix(): path.read_bytes()
        for edition in EDITIONS
        for path in sorted((out / edition).rglob("*"))
        if path.is_file()
    }


def places(out: Path) -> dict[str, int]:
    """Return each file's inode: a file written again has another."""
    return {
        path.relative_to(out).as_posix(): path.stat().st_ino
        for edition in EDITIONS
        for path in (out / edition).rglob("*")
        if path.is_file()
    }


@functools.cache
def built_once() -> Path:
    """Build a mill of two charges, once for every test and every run of edits."""
    home = Path(tempfile.mkdtemp(prefix="kilnfolio-"))
    atexit.register(shutil.rmtree, home, ignore_errors=True)
    root = two_charges(home / "mill")
    build(root)
    return root


def copied(built: Path, root: Path) -> Path:
    """Copy a mill with its site, and look at the copy once."""
    copied_mill(built, root)
    assert build(root).made == 0
    return root


@pytest.fixture
def mill(built, tmp_path) -> Path:
    """A copy of a mill that was built once."""
    return copied(built, tmp_path / "mill")


def written_by(root: Path, change) -> set[str]:
    before = places(root / "site")
    change()
    build(root)
    after = places(root / "site")
    return {path for path in {*before, *after} if before.get(path) != after.get(path)}


def test_a_build_without_changes_makes_nothing(mill):
    before = places(mill / "site")
    report = build(mill)
    assert report.made == 0
    assert report.pages > 50
    assert places(mill / "site") == before


def test_a_touched_file_with_the_same_bytes_is_not_a_change(mill):
    os.utime(mill / FILES["charge"])
    assert written_by(mill, lambda: os.utime(mill / FILES["species"])) == set()


@pytest.mark.parametrize("days", [-20_000, 0, 20_000], ids=["back", "still", "ahead"])
def test_an_edit_is_built_whatever_the_clock_says(mill, days):
    """Also one of the same size in the same file, whose times are set to those of the old."""
    charge = mill / FILES["charge"]
    state, text = charge.stat(), charge.read_text("utf-8")
    assert text.count("2230 g") or text.count("12.1 %")
    old, new = ("12.1 %", "12.3 %") if "12.1 %" in text else ("2230 g", "2231 g")
    with charge.open("r+", encoding="utf-8") as file:
        file.write(text.replace(old, new, 1))
    when = state.st_mtime_ns + days * 86_400 * 10**9
    os.utime(charge, ns=(when, when))
    assert charge.stat().st_ino == state.st_ino
    assert build(mill).made
    assert bytes_of(mill / "site") == clean(mill)


def test_a_corrected_weighing_rebuilds_only_its_own_charge(mill):
    charge = mill / FILES["charge"]
    text = charge.read_text()
    at = text.index("g", text.index("masses:", text.index("weighings:")))
    digit = at - 2
    while not text[digit].isdigit():
        digit -= 1
    other = str((int(text[digit]) + 1) % 10)
    written = written_by(mill, lambda: charge.write_text(text[:digit] + other + text[digit + 1 :]))
    assert {
        "mill/charges/C1.html",
        "mill/series/C1-boards.csv",
        "auditor/charges/C1.html",
        "auditor/series/C1-boards.csv",
    } <= written
    assert not [path for path in written if "C2" in path or path.startswith("customer/")]
    assert not [path for path in written if "/species/" in path or "/schedules/" in path]


@pytest.mark.parametrize(
    ("name", "old", "new", "moves", "stays"),
    [
        (
            FILES["kiln"],
            "name:",
            "name: Renamed #",
            {"mill/kilns/k1.html", "mill/charges/C1.html"},
            {"mill/records.html", "mill/sources.html"},
        ),
        (
            FILES["lot"],
            "product:",
            "product: Flooring #",
            {"mill/lots/L1.html"},
            {"mill/lots/L2.html", "mill/charges/C1.html", "mill/kilns/k1.html"},
        ),
        (
            FILES["mill"],
            "name:",
            "name: Another Mill #",
            {"mill/index.html", "mill/charges/C1.html", "mill/species/quercus-rubra.html"},
            set(),
        ),
        (
            FILES["species"],
            "trade_name:",
            "trade_name: Red oak of ours #",
            {"mill/species/quercus-rubra.html", "mill/charges/C1.html", "mill/lots/L1.html"},
            {"mill/records.html", "mill/kilns/index.html"},
        ),
    ],
    ids=["kiln", "lot", "mill", "species"],
)
def test_a_changed_record_rebuilds_what_prints_it(mill, name, old, new, moves, stays):
    written = written_by(mill, lambda: edit(mill, name, f"\n{old}", f"\n{new}"))
    assert moves <= written
    assert not stays & written


def test_a_seal_rebuilds_only_its_own_bag(mill, monkeypatch):
    from kilnfolio.pipeline import bags

    bagged, bag = [], bags.bag_files
    monkeypatch.setattr(
        bags,
        "bag_files",
        lambda root, charge, **more: (bagged.append(charge), bag(root, charge, **more))[1],
    )
    seal_charge(mill, "C1")
    build(mill)
    seal_charge(mill, "C2")
    build(mill)
    assert bagged == ["C1", "C2"]
    assert bytes_of(mill / "site") == clean(mill)


def test_another_region_rebuilds_pages_and_leaves_sealed_files(mill, tmp_path):
    """Pages with amounts or terms of the region are rebuilt; series, bags and seals are not."""

    def move():
        edit(mill, FILES["mill"], "practice: North American", "practice: British")

    for charge in (FILES["charge"], f"{SECOND}/charge.yaml"):
        edit(mill, charge, "\nkiln:", "\ncontrol_rule: wettest half\nkiln:")
    build(mill)
    written = written_by(mill, move)
    assert {
        "mill/index.html",
        "mill/kilns/k1.html",
        "mill/lots/L1.html",
        "mill/charges/C1.html",
        "mill/charges/index.html",
        "mill/schedules/red-oak-4-4.html",
        "mill/calculators.html",
        "mill/assets/search-index.js",
    } <= written
    assert any(path.startswith("customer/") and path.endswith("index.html") for path in written)
    assert not [path for path in written if path.endswith((".csv", "site.css"))]
    assert not [path for path in written if path.startswith("auditor/bags/")]
    build(mill, tmp_path / "clean")
    assert bytes_of(mill / "site") == bytes_of(tmp_path / "clean")


def test_pages_of_removed_records_go_and_of_renamed_records_move(mill):
    (mill / "content/lots/L2.yaml").unlink()
    written = written_by(mill, lambda: shutil.rmtree(mill / SECOND))
    assert "mill/charges/C2.html" in written
    assert not list((mill / "site").glob("*/**/*C2*"))
    assert not list((mill / "site").glob("*/**/L2*"))


def test_a_problem_stops_a_change_and_its_correction_completes_it(mill):
    before = bytes_of(mill / "site")
    charge = mill / FILES["charge"]
    sound = charge.read_text()
    edit(mill, FILES["charge"], "kiln: k1", "kiln: k9")
    edit(mill, "content/lots/L2.yaml", "product:", "produkt:")
    with pytest.raises(RecordProblems) as found:
        build(mill)
    words = [str(problem) for problem in found.value.problems]
    assert [word.split(":")[0] for word in words] == [FILES["charge"], "content/lots/L2.yaml"]
    assert bytes_of(mill / "site") == before
    charge.write_text(sound)
    edit(mill, "content/lots/L2.yaml", "produkt:", "product:")
    build(mill)
    assert bytes_of(mill / "site") == before


def test_a_build_interrupted_while_exchanging_editions_is_finished_by_the_next(mill, monkeypatch):
    from kilnfolio.graph import tree

    edit(mill, FILES["mill"], "\nname:", "\nname: Another Mill #")
    swap, done = tree.swap, []

    def one_only(new, old):
        if done:
            raise KeyboardInterrupt
        done.append(old)
        swap(new, old)

    monkeypatch.setattr(tree, "swap", one_only)
    with pytest.raises(KeyboardInterrupt):
        build(mill)
    for edition in EDITIONS:  # each is complete: the new one or the old one
        assert (mill / "site" / edition / "index.html").exists() or edition == "customer"
    monkeypatch.setattr(tree, "swap", swap)
    build(mill)
    assert b"Another Mill" in (mill / "site/auditor/index.html").read_bytes()
    assert bytes_of(mill / "site") == clean(mill)


def test_the_work_of_a_failed_first_build_is_used_by_the_next(built, tmp_path, monkeypatch):
    """It made pages but published nothing, as when a seal turns out to be broken."""
    from kilnfolio.graph.tree import Tree

    def stopped(_):
        raise KeyboardInterrupt

    out = tmp_path / "site"
    with monkeypatch.context() as patched:
        patched.setattr(Tree, "publish", stopped)
        with pytest.raises(KeyboardInterrupt):
            build(built, out)
    assert build(built, out).pages > 50
    assert bytes_of(out) == bytes_of(built / "site")


def test_a_deleted_site_is_built_again(mill):
    shutil.rmtree(mill / "site/mill")
    build(mill)
    assert bytes_of(mill / "site") == clean(mill)


def test_staging_shares_every_file_with_what_is_served(mill):
    edit(mill, FILES["lot"], "\nproduct:", "\nproduct: Flooring #")
    build(mill)
    served, staged = mill / "site", mill / "site" / STAGING
    assert bytes_of(staged) == bytes_of(served)
    assert places(staged) == places(served)


#: The result of a clean build of some records, or its problems, by the digest of all their files.
_clean: dict[bytes, dict[str, bytes] | RecordProblems] = {}


def clean(root: Path) -> dict[str, bytes]:
    """Return what a build makes from nothing; each state is built once."""
    digest = hashlib.sha256()
    for path in sorted(root.rglob("*")):
        if path.is_file() and root / "site" not in path.parents:
            raw = path.read_bytes()
            digest.update(f"{path.relative_to(root)}\0{len(raw)}\0".encode() + raw)
    state = digest.digest()
    if state not in _clean:
        out = root.parent / "clean"
        shutil.rmtree(out, ignore_errors=True)
        try:
            build(root, out)
            _clean[state] = bytes_of(out)
        except RecordProblems as problems:
            _clean[state] = problems
    found = _clean[state]
    if isinstance(found, RecordProblems):
        raise found
    return found


def problems_of(act) -> list[str]:
    """Return the problems that stop a call; none if it succeeds."""
    try:
        act()
    except RecordProblems as error:
        return [str(problem) for problem in error.problems]
    return []


class Edits(RuleBasedStateMachine):
    """After any sequence of edits, each followed by a build, the result is that of `check` and a
    clean build."""

    @initialize()
    def begin(self):
        self.home = Path(tempfile.mkdtemp(prefix="kilnfolio-"))
        self.root = copied(built_once(), self.home / "mill")

    @rule(name=sampled_from([FILES["kiln"], FILES["mill"]]), number=integers(0, 3))
    def rename(self, name, number):
        path = self.root / name
        lines = [
            f"name: Name {number}" if line.startswith("name:") else line
            for line in path.read_text().splitlines()
        ]
        path.write_text("\n".join(lines) + "\n")

    @rule(number=integers(1, 9))
    def weigh(self, number):
        path = self.root / FILES["charge"]
        text = path.read_text()
        at = text.index("survey:")
        at = text.index("value:", at) if "value:" in text[at:] else text.index(" %", at) - 1
        digit = (
            next(i for i in range(at, len(text)) if text[i].isdigit() and text[i - 1] == ".")
            if "." in text[at:]
            else at
        )
        path.write_text(text[:digit] + str(number) + text[digit + 1 :])

    @rule()
    def take_lot_away(self):
        (self.root / "content/lots/L2.yaml").unlink(missing_ok=True)

    @rule()
    def bring_lot_back(self):
        lot = (self.root / FILES["lot"]).read_text()
        text = lot.replace("L1", "L2").replace("charge: C1", "charge: C2").replace("P1", "P9")
        if (self.root / SECOND).exists():
            (self.root / "content/lots/L2.yaml").write_text(text)

    @rule()
    def move_charge_to_another_year(self):
        here, there = self.root / SECOND, self.root / "content/charges/2025/C2"
        if here.exists():
            there.parent.mkdir(exist_ok=True)
            here.rename(there)
        elif there.exists():
            there.rename(here)

    @rule(kiln=sampled_from(["k1", "k9"]))
    def dry_in(self, kiln):
        path = self.root / FILES["charge"]
        path.write_text(re.sub(r"^kiln: .*$", f"kiln: {kiln}", path.read_text(), flags=re.M))

    @rule(key=sampled_from(["hottest", "hotest"]))
    def spell(self, key):
        path = self.root / FILES["kiln"]
        path.write_text(re.sub(r"^hott?est:", f"{key}:", path.read_text(), flags=re.M))

    @invariant()
    def the_same_as_a_clean_build_and_as_check(self):
        if not hasattr(self, "root"):
            return
        told = problems_of(lambda: review_all(open_sealed_mill(self.root)))
        assert problems_of(lambda: build(self.root)) == told
        assert problems_of(lambda: clean(self.root)) == told
        if not told:
            assert bytes_of(self.root / "site") == clean(self.root)

    def teardown(self):
        shutil.rmtree(self.home, ignore_errors=True)


TestEdits = Edits.TestCase
TestEdits.settings = settings(
    max_examples=int(os.environ.get("KILNFOLIO_EDITS", "5")),
    deadline=None,
    stateful_step_count=4 if "KILNFOLIO_EDITS" in os.environ else 2,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)
