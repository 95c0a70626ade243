"""The page that checks a bag by itself, in a browser, from a file: it agrees with the audit.

It shares no code with the package, so each checks the other. KILNFOLIO_MUTANTS=200 compares the two
on that many changed bags.
"""

import base64
import json
import os
import random
import secrets
import zipfile
from pathlib import Path

import pytest
from playwright.sync_api import expect
from tests.archive.sealing import key, sign_again
from tests.archive.test_keys import VECTORS
from tests.trust.sealing import amended_mill

from kilnfolio.archive.audit import audit
from kilnfolio.archive.bag import pack, read_bag, write_bag
from kilnfolio.archive.canonical import canonical, sha256
from kilnfolio.rendering.safety import SAFETY

PAGE = Path(__file__).parents[2] / "builder/kilnfolio/site/assets/verify.html"
#: Files that no seal covers: the audit regenerates them, the page says that it cannot.
BESIDE = (
    "README.txt",
    "bag-info.txt",
    "data/datapackage.json",
    "data/ro-crate-metadata.json",
    "data/record.pdf",
)
LEDGER = "data/content/ledger"
GIVE = """async ([changed, gone, trusted]) => {
  const bytes = (text) => Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
  const files = new Map(window.bag);
  for (const path of gone) files.delete(path);
  for (const [path, text] of Object.entries(changed)) files.set(path, bytes(text));
  const { verdict, differences, open, checked } = await verify(files, trusted);
  return { verdict, differences, open, checked };
}"""


def encoded(files: dict[str, bytes]) -> dict[str, str]:
    return {path: base64.b64encode(data).decode() for path, data in files.items()}


@pytest.fixture(scope="module")
def bag(tmp_path_factory) -> dict[str, bytes]:
    """The files of a bag: a charge sealed and amended, and a lot drawn from it."""
    root = amended_mill(tmp_path_factory.mktemp("mill"))
    path = write_bag(root, "C1", tmp_path_factory.mktemp("bags"), notice=SAFETY)
    return read_bag(path)[0]


@pytest.fixture(scope="module")
def page(browser, bag):
    opened = browser.new_page()
    asked = []
    opened.on("request", lambda request: asked.append(request.url))
    opened.goto(PAGE.as_uri())
    opened.evaluate(
        """(files) => { window.bag = new Map(Object.entries(files).map(([path, text]) =>
        [path, Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0))])); }""",
        encoded(bag),
    )
    yield opened
    assert asked == [PAGE.as_uri()]  # it made no request
    opened.close()


def verdict(page, bag, files=None, trusted=""):
    files = bag if files is None else files
    changed = {path: data for path, data in files.items() if bag.get(path) != data}
    return page.evaluate(GIVE, [encoded(changed), sorted(bag.keys() - files.keys()), trusted])


def with_manifests(files: dict[str, bytes]) -> dict[str, bytes]:
    """Return a bag with its manifests rewritten, as somebody who changed a file would."""
    payload = {path[5:]: data for path, data in files.items() if path.startswith("data/")}
    return pack(payload, {path: files[path] for path in ("README.txt", "bag-info.txt")})


def lay(files: dict[str, bytes], folder: Path) -> Path:
    for path, data in files.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(data)
    return folder


# --- an intact bag --------------------------------------------------------------------------------


def test_the_page_has_the_safety_wording():
    assert SAFETY in PAGE.read_text("utf-8")


def test_an_intact_bag_passes(page, bag):
    found = verdict(page, bag)
    assert (found["differences"], found["open"]) == ([], [])
    assert found["verdict"] == "nothing differs, key not confirmed"
    assert len(found["checked"]) == 5
    assert verdict(page, bag, trusted=key().public)["verdict"] == "nothing differs"
    assert verdict(page, bag, trusted=key(2).public)["verdict"] == "differs"


@pytest.mark.parametrize("path", sorted((Path(__file__).parents[1] / "data/rules").glob("*/*")))
def test_bags_of_the_demonstration_pass(page, bag, path):
    found = verdict(page, bag, read_bag(path)[0])
    assert (found["differences"], found["open"]) == ([], [])
    assert "sample boards" in found["checked"][-1]


@pytest.mark.parametrize("method", [zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED])
def test_the_page_accepts_a_zip_file(page, bag, tmp_path, method):
    path = tmp_path / "C1.zip"
    with zipfile.ZipFile(path, "w", method) as archive:
        for name, data in bag.items():
            archive.writestr(f"C1/{name}", data)
    page.set_input_files("#zip", path)
    page.wait_for_selector("#verdict")
    expect(page.locator("#verdict")).to_have_attribute(
        "data-verdict", "nothing differs, key not confirmed"
    )
    assert page.locator("#result table tr").count() > 1


def test_the_page_accepts_a_folder(page, bag, tmp_path):
    page.set_input_files("#folder", lay(bag, tmp_path / "C1"))
    page.wait_for_selector("#verdict")
    expect(page.locator("#verdict")).to_have_attribute(
        "data-verdict", "nothing differs, key not confirmed"
    )


def test_what_is_not_a_bag_is_reported_as_such(page, tmp_path):
    path = tmp_path / "x.zip"
    path.write_bytes(b"no zip")
    page.set_input_files("#zip", path)
    page.locator("#verdict", has_text="Nothing was").wait_for()


# --- its own arithmetic ---------------------------------------------------------------------------


def test_its_own_ed25519_agrees_with_rfc_8032(page):
    """RFC 8032, section 7.1: in a browser without Ed25519 the page uses its own arithmetic."""
    for _, public, message, signature in VECTORS:
        for flip in (0, 1):
            text = bytes.fromhex(message) + bytes(flip)
            held = page.evaluate(
                "([k, m, s]) => fitsByHand(unhex(k), unhex(m), unhex(s))",
                [public, text.hex(), signature],
            )
            assert held is (flip == 0)


def test_without_the_browsers_ed25519_the_result_is_the_same(page, bag):
    page.evaluate("byHand = true")
    assert verdict(page, bag)["verdict"] == "nothing differs, key not confirmed"
    page.evaluate("byHand = false")


def test_a_false_sum_sealed_with_the_mills_key_is_found(page, bag, tmp_path):
    """A dossier that contradicts its masses, sealed again with the mill's key."""
    for change in (_drier_board, _drier_survey):
        files = _sealed_again(bag, tmp_path / change.__name__, change)
        found = verdict(page, bag, files)
        assert found["verdict"] == "differs"
        wheres = " ".join(one["where"] for one in found["differences"])
        assert ("survey" if change is _drier_survey else "board") in wheres


def _drier_board(dossier):
    dossier["boards"][0]["points"][-1]["mc_pct"] -= 0.5


def _drier_survey(dossier):
    dossier["survey"]["mean_pct"] -= 0.5


def _sealed_again(bag, folder, change) -> dict[str, bytes]:
    data = lay(bag, folder) / "data"
    dossier = json.loads((data / "dossier.json").read_bytes())
    change(dossier)
    raw = canonical(dossier)
    lines = (folder / LEDGER / "entries.jsonl").read_bytes().splitlines()
    own = [n for n, line in enumerate(lines) if json.loads(line).get("charge") == "C1"]
    lines[own[-1]] = sign_again(lines[own[-1]], key(), dossier=sha256(raw))
    (data / "dossier.json").write_bytes(raw)
    (folder / LEDGER / f"dossiers/C1-{len(own)}.json").write_bytes(raw)
    return with_manifests(read_bag(folder)[0])


# --- the same as the audit ------------------------------------------------------------------------


def mutants(bag: dict[str, bytes], chance: random.Random):
    """Yield an endless series of changed bags: the change, and the files."""
    lines = bag[f"{LEDGER}/entries.jsonl"].splitlines(keepends=True)
    texts = [path for path in bag if path.endswith((".yaml", ".csv", ".json", ".jsonl", ".txt"))]
    while True:
        path = chance.choice(sorted(bag))
        kind = chance.randrange(8)
        files = dict(bag)
        if kind == 0:
            files[path] = _flipped(bag[path], chance)
        elif kind == 1:
            del files[path]
        elif kind == 2:
            files[path] = bag[path][: chance.randrange(len(bag[path]))]
        elif kind == 3:
            files[f"data/{chance.randrange(99)}.txt"] = b"added"
        elif kind == 4 and path.startswith("data/") and path not in BESIDE:
            if path.endswith("keys.yaml"):  # anybody may change a harmless word of it
                continue
            files[path] = _flipped(bag[path], chance)
            files = with_manifests(files)
        elif kind == 5:
            other = chance.choice(texts)
            files[path], files[other] = bag[other], bag[path]
        elif kind == 6:
            place = chance.randrange(len(lines))
            kept = [line for n, line in enumerate(lines) if n != place]
            files[f"{LEDGER}/entries.jsonl"] = b"".join(kept)
            files = with_manifests(files)
        elif kind == 7:
            place = chance.randrange(len(lines))
            line = sign_again(lines[place].rstrip(), key(chance.choice((1, 2))), by="Somebody")
            whole = [line + b"\n" if n == place else one for n, one in enumerate(lines)]
            files[f"{LEDGER}/entries.jsonl"] = b"".join(whole)
            files = with_manifests(files)
        yield f"{kind} {path}", files


def _flipped(data: bytes, chance: random.Random) -> bytes:
    changed = bytearray(data)
    changed[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    return bytes(changed)


def test_the_page_agrees_with_the_audit(page, bag, tmp_path):
    seed = secrets.randbits(32)
    made = mutants(bag, random.Random(seed))
    for number in range(int(os.environ.get("KILNFOLIO_MUTANTS", "12"))):
        what, files = next(made)
        report = audit(lay(files, tmp_path / str(number)))
        found = verdict(page, bag, files)
        assert (found["verdict"] == "differs") is (not report.holds), (seed, number, what, found)
