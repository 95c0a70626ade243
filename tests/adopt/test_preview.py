"""The preview: for this computer only, rebuilt on save, errors with file and line."""

import filecmp
import http.client
import re
import shutil
import socket
import struct
import threading
import time
from contextlib import contextmanager
from pathlib import Path

import pytest
from tests.copied import copied_mill
from tests.minimal import minimal_mill
from tests.trust.sealing import amended_mill

from kilnfolio.adopt.preview import HOME, make_server, mark, preview_of
from kilnfolio.graph.run import Run
from kilnfolio.pipeline.build import Report
from kilnfolio.runtime.errors import SiteInUseError

CHARGE = "content/charges/2026/C1/charge.yaml"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A mill whose preview was started and stopped."""
    root = minimal_mill(tmp_path_factory.mktemp("preview") / "mill")
    with preview_of(root) as preview:
        preview.refresh()
        preview.finish()
    return root


@pytest.fixture
def preview(made, tmp_path):
    """The preview of that mill, resumed in a folder of its own."""
    with preview_of(copied_mill(made, tmp_path / "mill", HOME)) as preview:
        preview.refresh()
        preview.finish()
        yield preview


@contextmanager
def serving(preview):
    server = make_server(preview, 0)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield preview, server.server_port
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture
def served(preview):
    with serving(preview) as both:
        yield both


@pytest.fixture(scope="module")
def standing(made, tmp_path_factory):
    """Return the port of a preview that no test changes."""
    with preview_of(
        copied_mill(made, tmp_path_factory.mktemp("standing") / "mill", HOME)
    ) as preview:
        preview.refresh()
        preview.finish()
        with serving(preview) as (_, port):
            yield port


def get(port, path, host=None):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    connection.request("GET", path, headers={"Host": host or f"127.0.0.1:{port}"})
    answer = connection.getresponse()
    body = answer.read().decode("utf-8", "replace")
    connection.close()
    return answer.status, body


def save(root, old, new):
    path = root / CHARGE
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/charges/C1.html",
        "/lots/L1.html",
        "/species/",
        "/schedules/red-oak-4-4.html",
        "/kilns/k1.html",
        "/checks/",
        "/handbook/",
        "/search.html",
        "/calculators.html",
    ],
)
def test_every_page_is_served_and_reloads_itself(standing, path):
    status, body = get(standing, path)
    assert status == 200
    assert body.count("<script data-mark=") == body.count("`/_news?has=") == 1
    assert "</html>" in body


@pytest.mark.parametrize("path", ["/", "/charges/C1.html"])
def test_a_page_that_has_not_changed_is_not_reloaded(standing, path, monkeypatch):
    monkeypatch.setattr("kilnfolio.adopt.preview.WAIT", 0.1)
    assert get(standing, asking_of(standing, path))[0] == 204


def test_style_sheets_come_from_the_package_and_nothing_outside_it_is_served(standing):
    port = standing
    assert get(port, "/assets/site.css")[0] == 200
    for path in (
        "/assets/../safety.py",
        "/assets/%2e%2e/safety.py",
        "/../../content/mill.yaml",
        "/content/mill.yaml",
        "/assets/",
    ):
        assert get(port, path)[0] == 404, path


def test_only_this_computer_can_connect(standing):
    port = standing
    assert get(port, "/", host="mill.example")[0] == 403
    others = [
        info[4][0]
        for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        if not info[4][0].startswith("127.")
    ]
    for address in others:
        with pytest.raises(OSError):  # noqa: PT011  refused, or unreachable
            socket.create_connection((address, port), timeout=2).close()


ELSEWHERE = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 200),
        ({"Sec-Fetch-Site": "same-origin"}, 200),
        ({"Sec-Fetch-Site": "none"}, 200),
        (ELSEWHERE | {"Sec-Fetch-Dest": "script"}, 403),
        (ELSEWHERE | {"Sec-Fetch-Dest": "image"}, 403),
        ({"Sec-Fetch-Site": "same-site", "Sec-Fetch-Mode": "cors"}, 403),
        (
            {
                "Sec-Fetch-Site": "cross-site",
                "Sec-Fetch-Mode": "navigate",
                "Sec-Fetch-Dest": "document",
            },
            200,
        ),  # somebody opens a link
        (
            {
                "Sec-Fetch-Site": "cross-site",
                "Sec-Fetch-Mode": "navigate",
                "Sec-Fetch-Dest": "iframe",
            },
            403,
        ),
        ({"Origin": "https://elsewhere.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": "http://localhost:1"}, 403),
        ({"Host": "127.0.0.1.elsewhere.example"}, 403),
        ({"Host": "localhost:1"}, 403),
    ],
)
def test_requests_from_other_sites_pages_are_refused(standing, headers, status):
    """By the table in section 2 of the W3C's Fetch Metadata: what a browser says about who asks."""
    port = standing
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    connection.request("GET", "/register/charges.js", headers=headers)
    answer = connection.getresponse()
    assert (answer.read() != b"" and answer.status) in ((status, 404) if status == 200 else (403,))
    for header in ("Cross-Origin-Resource-Policy", "Cross-Origin-Opener-Policy"):
        assert answer.headers[header] == "same-origin"
    assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    connection.close()


@pytest.mark.parametrize(
    "path",
    [
        "/%00",
        "/a%00.html",
        "/" + "a" * 5_000,
        "/_news",
        "/_news?page=%00",
        "/%ff%fe",
        "/..%2f..%2fcontent/mill.yaml",
    ],
)
def test_every_address_gets_an_answer(standing, capfd, monkeypatch, path):
    monkeypatch.setattr("kilnfolio.adopt.preview.WAIT", 0.1)
    assert get(standing, path)[0] in (200, 204, 404)
    assert capfd.readouterr().err == ""


def test_a_browser_that_disconnects_causes_no_message(standing, capfd):
    for _ in range(5):
        with socket.create_connection(("127.0.0.1", standing), timeout=5) as gone:
            gone.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            gone.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n" % standing)
    assert get(standing, "/")[0] == 200
    time.sleep(0.3)
    assert capfd.readouterr().err == ""


def test_a_saved_record_changes_its_page(served):
    preview, port = served
    assert "Kept an eye on board S2" not in get(port, "/charges/C1.html")[1]
    save(preview.root, "signatures:", "notes: Kept an eye on board S2\nsignatures:")
    assert preview.refresh()
    assert "Kept an eye on board S2" in get(port, "/charges/C1.html")[1]
    assert not preview.refresh()


SAVED = {
    "charge": (CHARGE, "target_mc: 12 %", "target_mc: 11 %", "charges/C1.html"),
    "kiln": ("content/kilns/k1.yaml", "name: ", "name: Renamed ", "kilns/k1.html"),
    "species": (
        "schedules/species/quercus-rubra.yaml",
        "trade_name: ",
        "trade_name: Renamed ",
        "species/quercus-rubra.html",
    ),
    "schedule": (
        "schedules/hardwood/red-oak-4-4.yaml",
        "title: ",
        "title: Renamed ",
        "schedules/red-oak-4-4.html",
    ),
    "limit": (
        "schedules/limits.yaml",
        "Wet bulb above",
        "Renamed wet bulb above",
        "checks/limits/wet-bulb-above-dry-bulb.html",
    ),
}


def saved(preview, kind):
    """Save a record of a kind; return the page that shows it."""
    file, old, new, page = SAVED[kind]
    path = preview.root / file
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")
    return page


@pytest.mark.parametrize("kind", SAVED)
def test_the_page_of_a_saved_record_that_a_browser_shows_comes_before_all_others(preview, kind):
    page, made, told = saved(preview, kind), [], []
    has = mark(preview.file(page))
    browser = threading.Thread(target=lambda: told.append(preview.wait(page, has)))
    browser.start()
    while not preview._looked_at:
        time.sleep(0.01)
    preview._bring = lambda *how, bring=preview._bring: made.append(bring(*how).made) or Report()
    preview.show_saved()
    browser.join(60)
    assert told == [True]
    assert mark(preview.file(page)) != has
    assert preview.refresh()
    assert made[0] < made[1]
    assert not preview.refresh()


def test_what_was_made_first_ends_as_if_all_were_made_at_once(preview):
    for kind in SAVED:
        saved(preview, kind)
        preview.show_saved()
    assert preview.refresh()
    preview.finish()
    home = preview.root / HOME / "mill"
    anew = Path(shutil.copytree(preview.root, preview.root.with_name("anew")))
    shutil.rmtree(anew / HOME)
    with preview_of(anew) as other:
        other.refresh()
        other.finish()
    differ = filecmp.dircmp(home, anew / HOME / "mill")
    assert not list(differences(differ))


def differences(found):
    yield from [*found.left_only, *found.right_only]
    yield from filecmp.cmpfiles(found.left, found.right, found.common_files, shallow=False)[1]
    for below in found.subdirs.values():
        yield from differences(below)


def asking_of(port, path):
    """Return the request that a page keeps open until it is answered."""
    has = re.search(r'<script data-mark="(\w+)">', get(port, path)[1])[1]
    return f"/_news?has={has}&page={path}"


def test_a_waiting_page_is_told_of_its_own_change_only(served, monkeypatch):
    preview, port = served
    asked = {path: asking_of(port, path) for path in ("/charges/C1.html", "/kilns/k1.html")}
    monkeypatch.setattr("kilnfolio.adopt.preview.WAIT", 120.0)
    heard = []
    waiting = threading.Thread(
        target=lambda: heard.append(get(port, asked["/charges/C1.html"])[0]), daemon=True
    )
    waiting.start()
    save(preview.root, "signatures:", "notes: Kept an eye on board S2\nsignatures:")
    preview.refresh()
    waiting.join(60)
    assert heard == [200]
    monkeypatch.setattr("kilnfolio.adopt.preview.WAIT", 0.0)
    assert get(port, asked["/kilns/k1.html"])[0] == 204


def test_a_problem_is_shown_with_its_file_line_and_text(served):
    preview, port = served
    save(preview.root, "target_mc: 12 %", "target: 12 % <b>")
    preview.refresh()
    line = next(
        number
        for number, text in enumerate((preview.root / CHARGE).read_text("utf-8").split("\n"), 1)
        if "target:" in text
    )
    status, body = get(port, "/lots/L1.html")
    assert status == 200
    assert f"{CHARGE}:{line}:1" in body
    assert "Did you mean &#x27;target_mc&#x27;?" in body
    assert "<pre>target: 12 % &lt;b&gt;</pre>" in body
    asked = asking_of(port, "/lots/L1.html")
    save(preview.root, "target: 12 % <b>", "target_mc: 12 %")
    preview.refresh()
    assert "To mend" not in get(port, "/lots/L1.html")[1]
    assert get(port, asked)[0] == 200


def test_only_what_depends_on_the_saved_record_is_rebuilt(preview, monkeypatch):
    done, real = [], Run._absorb
    monkeypatch.setattr(
        Run,
        "_absorb",
        lambda run, result: (done.append((result.value, result.key)), real(run, result)),
    )
    save(preview.root, "target_mc: 12 %", "target_mc: 11 %")
    preview.refresh()
    assert ("dossier", "C1") in done
    kinds = {kind for kind, _ in done}
    assert {"mill home", "lot dossier"} <= kinds
    assert not {"search", "species", "mill guide", "bag", "customer page"} & kinds
    assert not {"drills", "handbook"} & {key for _, key in done}
    first = len(done)
    assert preview.finish()
    assert {key for _, key in done[first:]} == {"drills"}
    assert not preview.finish()


def test_the_preview_writes_only_beside_the_built_site(made):
    before = {path for path in made.rglob("*") if not path.is_relative_to(made / HOME)}
    assert {path.name for path in (made / "site").iterdir()} == {HOME.name}
    assert not list((made / HOME).rglob("*.pdf"))
    assert not [
        path for edition in ("customer", "auditor") for path in (made / HOME / edition).rglob("*")
    ]
    assert before == {path for path in made.rglob("*") if not path.is_relative_to(made / HOME)}


def test_a_second_preview_of_the_same_folder_is_refused(preview):
    with pytest.raises(SiteInUseError), preview_of(preview.root):
        pass


def test_a_page_says_so_until_the_first_pages_are_built(tmp_path):
    with preview_of(minimal_mill(tmp_path)) as preview:
        assert b"are being made" in preview.file("charges/index.html")
        assert b"are being made" in preview.file("charges/C9.html")
        assert preview.file("nothing.css") is None


EARLY = [
    "index.html",
    "charges/C1.html",
    "lots/L1.html",
    "species/quercus-rubra.html",
    "schedules/red-oak-4-4.html",
    "kilns/k1.html",
    "assets/site.css",
]


def test_pages_asked_for_before_the_first_build_are_those_it_makes(tmp_path):
    with preview_of(minimal_mill(tmp_path)) as preview:
        early = {path: preview.file(path) for path in EARLY}
        assert not (tmp_path / HOME / "mill").exists()
        preview.refresh()
        preview.finish()
        assert early == {path: preview.file(path) for path in EARLY}


def test_a_page_made_early_follows_its_record(tmp_path):
    with preview_of(minimal_mill(tmp_path)) as preview:
        before = preview.file("charges/C1.html")
        save(tmp_path, "target_mc: 12 %", "target_mc: 11 %")
        assert preview.file("charges/C1.html") != before
        save(tmp_path, "target_mc: 11 %", "target_mc: eleven")
        assert b"are being made" in preview.file("charges/C1.html")


def test_a_changed_sealed_record_is_shown_and_reported(tmp_path):
    root = amended_mill(tmp_path)
    charge = root / CHARGE
    charge.write_text(charge.read_text("utf-8").replace("target_mc: 12 %", "target_mc: 11 %"))
    with preview_of(root) as preview:
        preview.refresh()
        page = preview.file("charges/C1.html").decode()
    assert "Sealed records were changed" in page
    assert "kilnfolio amend C1" in page
