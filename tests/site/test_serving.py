"""What is published, fetched back and compared: every fault is named, with its path."""

import json
import shutil
import socket

import pytest
from tests.site.server import serving

from kilnfolio.cli import main
from kilnfolio.site.serving import HEADERS, NotReachedError, compare

LOT = "q7yhm2kmgxw4t3zkq7yhm2kmgxw4t3zk"


@pytest.fixture
def edition(tmp_path):
    """Return a customer edition in little: a page, its record, a style sheet."""
    home = tmp_path / "site/customer"
    for name, data in {f"{LOT}/index.html": b"<!doctype html><title>Lot</title>",
                       f"{LOT}/record.json": b'{"lot":"L1"}', "assets/site.css": b"body{}"}.items():
        (home / name).parent.mkdir(parents=True, exist_ok=True)
        (home / name).write_bytes(data)
    return home


def differences(edition, otherwise):
    with serving(edition, otherwise) as address:
        return {(one.path, one.what) for one in compare(address, edition).differences}


def only(path, change):
    return lambda asked, answer: change(*answer) if asked == path else answer


def without(name):
    return lambda status, headers, body: (
        status, {key: value for key, value in headers.items() if key != name}, body)


def with_header(name, value):
    return lambda status, headers, body: (status, {**headers, name: value}, body)


def test_a_server_that_gives_what_was_built_is_as_built(edition):
    with serving(edition) as address:
        found = compare(address + "/", edition)
    assert (found.files, found.differences) == (3, ())


def test_one_changed_byte_is_named_with_its_digest(edition):
    found = differences(edition, only("/assets/site.css",
                                      lambda s, h, b: (s, h, b.replace(b"{", b"["))))
    # the digests of "body[}" and "body{}" by sha256sum of GNU coreutils
    assert found == {("assets/site.css", "other bytes: SHA-256 07419ccc6df57894… instead of "
                                         "7c98040a54165758…")}


def test_a_file_that_was_not_copied_is_named(edition):
    found = differences(edition, only(f"/{LOT}/record.json", lambda *_: (404, {}, b"")))
    assert found == {(f"{LOT}/record.json", "the server answers 404 instead of 200")}


def test_a_server_that_does_not_find_the_page_in_its_folder_is_named(edition):
    """An object store without a rule for folders: the label leads to the folder."""
    found = differences(edition, only(f"/{LOT}/", lambda *_: (403, {}, b"")))
    assert found == {(f"{LOT}/", "the server answers 403 instead of 200")}


def test_a_server_that_sends_the_reader_elsewhere_is_named(edition):
    found = differences(edition, only(f"/{LOT}/", lambda *_: (
        302, {"Location": "https://elsewhere.example/"}, b"")))
    assert found == {(f"{LOT}/", "the server sends the reader on to https://elsewhere.example/")}


def test_a_list_of_the_lots_is_named(edition):
    found = differences(edition, only("/", lambda *_: (200, {}, f"<a href='{LOT}/'>".encode())))
    ((path, what),) = found
    assert path == ""
    assert "lists the lots" in what


@pytest.mark.parametrize("header", HEADERS)
def test_each_header_that_is_lacking_is_named(edition, header):
    found = differences(edition, only("/assets/site.css", without(header)))
    assert found == {("assets/site.css", f"no header {header}: {HEADERS[header]}")}


@pytest.mark.parametrize(("header", "value", "same"), [
    ("Content-Security-Policy", HEADERS["Content-Security-Policy"] + "; script-src 'unsafe-inline'",
     False),
    ("Content-Security-Policy", "; ".join(reversed(
        HEADERS["Content-Security-Policy"].split("; "))), True),
    ("Referrer-Policy", "origin", False),
    ("Referrer-Policy", "No-Referrer", True),
    ("Cache-Control", "max-age=86400", False),
    ("X-Robots-Tag", "noindex,nofollow,noarchive", True),
])
def test_a_header_is_compared_by_what_it_says(edition, header, value, same):
    found = differences(edition, only("/assets/site.css", with_header(header, value)))
    assert bool(found) is not same, found


def test_a_file_called_by_another_type_is_named(edition):
    found = differences(edition, only(f"/{LOT}/record.json",
                                      with_header("Content-Type", "text/plain")))
    assert found == {(f"{LOT}/record.json",
                      "header Content-Type is 'text/plain' instead of application/json")}


def test_an_address_without_encryption_is_named_unless_it_is_this_computer(edition, monkeypatch):
    from kilnfolio.site import serving as served

    with serving(edition) as address:
        port = address.rsplit(":", 1)[1]
        real = served._fetch
        monkeypatch.setattr(served, "_fetch", lambda url: real(url.replace("mill.example",
                                                                           "127.0.0.1")))
        found = compare(f"http://mill.example:{port}", edition).differences
    assert [(one.path, one.what[:12]) for one in found] == [("", "it is not ht")]


def test_nobody_there_is_not_a_difference(edition):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with pytest.raises(NotReachedError, match="no answer"):
        compare(f"http://127.0.0.1:{port}", edition)
    with pytest.raises(NotReachedError, match="not an address"):
        compare("records.mill.example", edition)


# --- the command ----------------------------------------------------------------------------------

def test_the_command_says_what_differs_and_ends_with_0_1_or_2(edition, tmp_path, capsys):
    published = shutil.copytree(edition, tmp_path / "published")
    with serving(published) as address:
        command = ["compare", str(tmp_path), "--at", address]
        assert main(command) == 0
        assert "3 files" in capsys.readouterr().out
        (edition / "more.txt").write_bytes(b"not copied yet")
        assert main(command) == 1
        assert f"{address}/more.txt: the server answers 404" in capsys.readouterr().out
        assert main([*command, "--format", "json"]) == 1
        told = json.loads(capsys.readouterr().out)
        assert [one["path"] for one in told["differences"]] == ["more.txt"]
    assert main(command) == 2  # the server has gone
    assert main(["compare", str(tmp_path / "nowhere"), "--at", address]) == 2
    assert main(["compare", str(tmp_path)]) == 2  # no address is known: there is no mill.yaml
    assert "content/mill.yaml" in capsys.readouterr().err


def test_the_address_is_the_mills_own_where_none_is_given(tmp_path, capsys):
    from tests.minimal import minimal_mill

    with serving(tmp_path / "site/customer") as address:
        minimal_mill(tmp_path, mill={"records_address": address})
        (tmp_path / "site/customer").mkdir(parents=True)
        (tmp_path / "site/customer/note.txt").write_text("x")
        assert main(["compare", str(tmp_path)]) == 0
    assert address in capsys.readouterr().out
