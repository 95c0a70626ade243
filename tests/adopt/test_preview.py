"""The preview: this computer only, made again on save, errors with file and line."""

import http.client
import socket
import threading
import time

import pytest
from tests.minimal import minimal_mill

from kilnfolio.adopt.preview import Preview, make_server

CHARGE = "content/charges/2026/C1/charge.yaml"


@pytest.fixture
def preview(tmp_path):
    made = Preview(minimal_mill(tmp_path))
    made.refresh()
    return made


@pytest.fixture
def served(preview):
    server = make_server(preview, 0)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield preview, server.server_port
    server.shutdown()
    server.server_close()
    thread.join()


def get(port, path, host=None):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
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


@pytest.mark.parametrize("path", ["/", "/charges/C1.html", "/lots/L1.html", "/species/",
                                  "/schedules/red-oak-4-4.html", "/kilns/k1.html", "/checks/",
                                  "/handbook/", "/search.html", "/calculators.html"])
def test_every_page_is_there_and_reloads_itself(served, path):
    status, body = get(served[1], path)
    assert status == 200
    assert body.count('fetch("/_news?since=1")') == 1
    assert "</html>" in body


def test_style_sheets_come_from_the_package_and_nothing_above_it(served):
    port = served[1]
    assert get(port, "/assets/site.css")[0] == 200
    for path in ("/assets/../safety.py", "/assets/%2e%2e/safety.py", "/../../content/mill.yaml",
                 "/content/mill.yaml", "/assets/"):
        assert get(port, path)[0] == 404, path


def test_only_this_computer_may_ask(served):
    port = served[1]
    assert get(port, "/", host="mill.example")[0] == 403
    others = [info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
              if not info[4][0].startswith("127.")]
    for address in others:
        with pytest.raises(OSError):  # noqa: PT011  refused, or no way there
            socket.create_connection((address, port), timeout=2).close()


def test_a_saved_record_changes_its_page(served):
    preview, port = served
    assert "Kept an eye on board S2" not in get(port, "/charges/C1.html")[1]
    save(preview.root, "signatures:", "notes: Kept an eye on board S2\nsignatures:")
    assert preview.refresh()
    assert "Kept an eye on board S2" in get(port, "/charges/C1.html")[1]
    assert not preview.refresh()


def test_a_waiting_page_hears_of_it_at_once(served):
    preview, port = served
    heard = []
    waiting = threading.Thread(target=lambda: heard.append(get(port, "/_news?since=1")[0]))
    waiting.start()
    time.sleep(0.3)
    assert not heard
    save(preview.root, "2026-06-01T08:00", "2026-06-01T08:00:00")
    preview.refresh()
    waiting.join(5)
    assert heard == [200]


def test_a_problem_is_shown_with_its_file_line_and_text(served):
    preview, port = served
    save(preview.root, "target_mc: 12 %", "target: 12 % <b>")
    preview.refresh()
    line = next(number for number, text in enumerate(
        (preview.root / CHARGE).read_text("utf-8").split("\n"), 1) if "target:" in text)
    status, body = get(port, "/lots/L1.html")
    assert status == 200
    assert f"{CHARGE}:{line}:1" in body
    assert "Did you mean &#x27;target_mc&#x27;?" in body
    assert "<pre>target: 12 % &lt;b&gt;</pre>" in body
    assert "/_news?since=2" in body
    save(preview.root, "target: 12 % <b>", "target_mc: 12 %")
    preview.refresh()
    assert "To mend" not in get(port, "/lots/L1.html")[1]


def test_only_the_charge_that_was_saved_is_reviewed_again(tmp_path, monkeypatch):
    import kilnfolio.review.review as review

    other = (minimal_mill(tmp_path) / CHARGE).read_text("utf-8").replace("id: C1", "id: C2", 1)
    log = (tmp_path / "content/charges/2026/C1/bulbs.csv").read_text()
    minimal_mill(tmp_path, files={"content/charges/2026/C2/charge.yaml": other,
                                  "content/charges/2026/C2/bulbs.csv": log})
    reviewed, real = [], review.review_charge
    monkeypatch.setattr(review, "review_charge",
                        lambda folder, charge: reviewed.append(charge) or real(folder, charge))
    preview = Preview(tmp_path)
    preview.refresh()
    assert sorted(reviewed) == ["C1", "C2"]
    save(tmp_path, "target_mc: 12 %", "target_mc: 11 %")
    preview.refresh()
    assert reviewed[2:] == ["C1"]
    limits = tmp_path / "schedules/limits.yaml"
    limits.write_text(limits.read_text("utf-8") + "\n# edited\n", "utf-8")
    preview.refresh()
    assert sorted(reviewed[3:]) == ["C1", "C2"]  # a limit may change any charge
