"""Entry files as QR codes: put together completely or not at all. zxing-cpp writes the codes read
here."""

import http.client
import json
import random
import sys
import threading
import zlib
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image
from tests.adopt.test_entries import DAY, NOW, RUNNING, entry_file, value_of
from tests.minimal import minimal_mill
from zxingcpp import BarcodeFormat, create_barcode

from kilnfolio.adopt.entry.codes import files_in
from kilnfolio.adopt.entry.pictures import NoCodesError, codes_in
from kilnfolio.adopt.entry.take import take_codes
from kilnfolio.adopt.preview import make_server
from kilnfolio.cli import main


def texts_of(raw, size=380):
    """Return the texts of the codes as the guide describes them: part, parts, CRC-32 of the whole."""
    text, check = raw.decode("ascii"), zlib.crc32(raw)
    pieces = [text[at : at + size] for at in range(0, len(text), size)]
    return [
        f"KILNFOLIO1 {number}/{len(pieces)} {check:08x} {piece}"
        for number, piece in enumerate(pieces, 1)
    ]


def picture(path, text, angle=0):
    """Write a picture of a code, slightly turned and blurred, as a hand-held camera takes it."""
    code = np.asarray(create_barcode(text, BarcodeFormat.QRCode, ec_level="M").to_image(scale=6))
    Image.fromarray(code).rotate(angle, expand=True, fillcolor=200).convert("RGB").save(path)
    return path


def test_pictures_in_any_order_and_twice_give_every_entry_once(tmp_path):
    root = minimal_mill(tmp_path / "mill", charge=RUNNING)
    raw = entry_file(tmp_path / "a.json", DAY[:3]).read_bytes()
    texts = texts_of(raw)
    pictures = [
        picture(tmp_path / f"{number}.jpg", text, angle=3 * number)
        for number, text in enumerate(texts)
    ]
    random.Random(15).shuffle(pictures)
    (tmp_path / "wall.png").write_bytes(b"")
    Image.new("L", (60, 60), 255).save(tmp_path / "wall.png")
    taken = take_codes(root, [*pictures, pictures[0], tmp_path / "wall.png"], NOW)
    assert taken.new == 3
    assert taken.left == [
        "wall.png:1:1: no entries were read from this picture: no code of a kiln-side page can be recognized in it. Fill the picture with the code, straight and sharp, and take it again."
    ]
    assert value_of(root)["weighings"][-1]["masses"]["S1"] == "2215 g"
    assert take_codes(root, pictures, NOW).same == 3


def test_a_missing_or_false_code_takes_nothing_in():
    raw = b"{" + b"x" * 900
    texts = texts_of(raw)
    ((_, lacking),) = files_in(texts[:2])
    assert "of 3 codes, 3 is missing" in str(lacking)
    ((_, false),) = files_in([*texts[:2], texts[2].replace("x", "y", 1)])
    assert "do not fit together" in str(false)
    assert list(files_in(["https://example.invalid/", "KILNFOLIO1 4/3 00000000 x"])) == []
    # two series at once, mixed
    both = [*texts, *texts_of(raw + b"}")]
    random.Random(1).shuffle(both)
    assert sorted(made for _, made in files_in(both)) == [raw, raw + b"}"]


def test_a_decompression_bomb_is_not_unpacked(tmp_path, capsys):
    root = minimal_mill(tmp_path / "mill", charge=RUNNING)
    for side, says in ((7_000, "more than 40 million pixels"), (30_000, "more pixels than any")):
        Image.new("1", (side, side)).save(tmp_path / "a.png", compress_level=1)
        assert main(["take", "--scan", str(tmp_path / "a.png"), "--folder", str(root)]) == 1
        assert says in capsys.readouterr().out
    with (tmp_path / "b.png").open("wb") as file:
        file.truncate(10**9)
    assert main(["take", "--scan", str(tmp_path / "b.png"), "--folder", str(root)]) == 1
    assert "at most 41,943,040 are read" in capsys.readouterr().out


@pytest.mark.parametrize("does", ["while True: pass", "bytes(2 << 30)", "os.abort()"])
def test_a_crash_of_the_picture_reader_ends_only_its_own_process(tmp_path, monkeypatch, does):
    """A picture on which a C library loops, uses up memory or crashes, as damaged ones have made it
    do."""
    (tmp_path / "child.py").write_text(
        "import os\nfrom kilnfolio.adopt.entry import pictures\n"
        f"def look(raw):\n    {does}\n    return ['x']\n"
        "pictures.look, pictures._SECONDS = look, 1\npictures._main()\n"
    )
    (tmp_path / "python").write_text(f'#!/bin/sh\nexec {sys.executable} "{tmp_path}/child.py"\n')
    (tmp_path / "python").chmod(0o755)
    monkeypatch.setattr("kilnfolio.adopt.entry.pictures.sys.executable", str(tmp_path / "python"))
    with pytest.raises(NoCodesError, match="too much time or memory"):
        codes_in(b"")


def test_nothing_in_the_current_folder_is_run(tmp_path, monkeypatch):
    (tmp_path / "numpy.py").write_text("raise SystemExit('it ran')")
    (tmp_path / "json.py").write_text("raise SystemExit('it ran')")
    monkeypatch.chdir(tmp_path)
    path = picture(tmp_path / "a.png", "KILNFOLIO1 1/1 00000000 x")
    assert codes_in(path.read_bytes()) == ["KILNFOLIO1 1/1 00000000 x"]


@pytest.mark.parametrize(
    "raw", [b"", b"no picture", b"\x89PNG\r\n\x1a\n" + b"\0" * 40, b"\xff\xd8\xff"]
)
def test_a_file_that_is_not_a_picture_is_reported(tmp_path, capsys, raw):
    root = minimal_mill(tmp_path / "mill", charge=RUNNING)
    (tmp_path / "a.jpg").write_bytes(raw)
    assert main(["take", "--scan", str(tmp_path / "a.jpg"), "--folder", str(root)]) == 1
    assert "a.jpg:1:1: no entries were read from this picture" in capsys.readouterr().out
    assert main(["take", "--scan", str(tmp_path / "b.jpg"), "--folder", str(root)]) == 1
    assert "b.jpg:1:1: the file cannot be read" in capsys.readouterr().out


# --- the page of the preview that takes pictures ---------------------------------------------------


@pytest.fixture
def served(tmp_path):
    """Give a mill with an open charge, and what its preview answers to requests of its own page."""
    root = minimal_mill(tmp_path / "mill", charge=RUNNING)
    server = make_server(SimpleNamespace(root=root, file=lambda _: None), 0)
    threading.Thread(target=server.serve_forever, daemon=True).start()

    def ask(method, path, body=None, kind="", **more):
        own = f"127.0.0.1:{server.server_port}"
        connection = http.client.HTTPConnection("127.0.0.1", server.server_port, timeout=120)
        headers = {"Host": own, "Origin": f"http://{own}", "Content-Type": kind, **more}
        connection.request(method, path, body, headers)
        answer = connection.getresponse()
        text = answer.read().decode()
        connection.close()
        return answer.status, text.strip()

    yield root, ask
    server.shutdown()
    server.server_close()


def test_pictures_chosen_on_the_page_are_taken_like_entries(served, tmp_path):
    root, ask = served
    texts = texts_of(entry_file(tmp_path / "a.json", DAY[:3]).read_bytes())
    assert len(texts) > 1
    said = []
    for number, text in enumerate(texts):
        raw = picture(tmp_path / f"{number}.png", text, angle=4 * number).read_bytes()
        status, words = ask("POST", "/_picture", raw, "image/*")
        assert status == 200, words
        said += json.loads(words)
    assert said == texts
    before = value_of(root)
    status, words = ask("POST", "/_codes", json.dumps(said[:-1]), "application/json")
    assert (status, value_of(root)) == (422, before)
    assert f"of {len(texts)} codes, {len(texts)} is missing" in words
    status, words = ask("POST", "/_codes", json.dumps(said), "application/json")
    assert (status, words) == (200, "Taken: 3 new, 0 there already.")
    assert value_of(root)["weighings"][-1]["masses"]["S1"] == "2215 g"
    status, words = ask("POST", "/_codes", json.dumps(said), "application/json")
    assert (status, words) == (200, "Taken: 0 new, 3 there already.")


def test_the_page_says_what_is_no_code_and_is_for_this_computer_alone(served):
    _, ask = served
    status, words = ask("GET", "/_codes")
    assert (status, "Pictures of codes" in words) == (200, True)
    assert ask("GET", "/_codes", Host="kiln.example")[0] == 403
    assert ask("POST", "/_picture", b"no picture", "image/*") == (
        422,
        "no codes: it is not a picture, or is incomplete",
    )
    assert ask("POST", "/_codes", "[]", "application/json", Origin="http://x.example")[0] == 403
    for body in ("[", "{}", "[1]"):
        status, words = ask("POST", "/_codes", body, "application/json")
        assert (status, words) == (422, "Not taken: this is no list of codes.")
    assert ask("POST", "/_picture", b"x", "text/plain")[0] == 413
    assert ask("POST", "/_picture", b"", "image/*", **{"Content-Length": "99999999"})[0] == 413
