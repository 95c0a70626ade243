"""Entries of the day: merged once, in order of time, from any device; nothing lost, nothing doubled."""

import datetime as dt
import json
import os
import random
from typing import get_args
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.minimal import DROP, FILES, minimal_mill

from kilnfolio.adopt.entry.entries import Entry
from kilnfolio.adopt.entry.take import read_entries, take, watch
from kilnfolio.adopt.entry.times import moment, written
from kilnfolio.adopt.record_file import ChargeFile, history
from kilnfolio.cli import main
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.folder import open_mill
from kilnfolio.records.problems import RecordProblems
from kilnfolio.records.yaml_source import parse_yaml
from kilnfolio.review.reviews import open_reviews

ZONE = ZoneInfo("America/Toronto")
#: The minimal mill's last round was on 7 June at 08:00; S1 2246 g, S2 2366 g, S3 2121 g.
RUNNING = {"ended": DROP, "unloaded": DROP, "survey": DROP, "signatures": DROP}
#: How many random commands to give in all, 25 to a record.
COMMANDS = int(os.environ.get("KILNFOLIO_COMMANDS", "50"))
#: Pairs of phones.
PHONES = int(os.environ.get("KILNFOLIO_PHONES", "6"))
NOW = dt.datetime(2026, 6, 20, 12, tzinfo=ZONE)
START = dt.datetime(2026, 6, 8, 8, tzinfo=ZONE)
KEYS = ("weighings", "step_changes", "stops", "events")


@pytest.fixture
def mill(tmp_path):
    root = minimal_mill(tmp_path / "mill", charge=RUNNING)
    path = root / FILES["charge"]
    text = path.read_text("utf-8").replace("weighings:\n", "# by the door scale\nweighings:  # g\n")
    path.write_text(text + "# the end\n", "utf-8")
    return root


def value_of(mill):
    return parse_yaml((mill / FILES["charge"]).read_bytes(), "").value


def at(hours):
    return (START + dt.timedelta(hours=hours)).isoformat()


def by_clock(entry, ahead):
    """Return an entry as written by a device whose clock is fast by ``ahead``."""
    return {
        key: (dt.datetime.fromisoformat(value) + ahead).isoformat()
        if key in ("at", "start", "end")
        else value
        for key, value in entry.items()
    }


def entry_file(path, entries, by="A. N. Other", charge="C1", saved=NOW):
    path.write_text(
        json.dumps(
            {
                "kilnfolio_entries": 1,
                "charge": charge,
                "by": by,
                "device": "phone",
                "saved": saved.isoformat(),
                "zone": "America/Toronto",
                "entries": entries,
            }
        ),
        "utf-8",
    )
    return path


ROUND = {"kind": "weighing", "at": at(0), "masses": {"S1": "2.230 kg", "S2": "2350 g"}}
DAY = [
    ROUND,
    {"kind": "weighing", "at": at(0), "masses": {"S3": "2109 g"}},
    {"kind": "weighing", "at": at(24), "masses": {"S1": "2215 g", "S2": "2335 g", "S3": "2098 g"}},
    {"kind": "weighing", "at": at(48), "mc": {"S1": "10.2 %"}, "by": "Night shift"},
    {"kind": "stop", "start": at(3), "cause": "power cut"},
    {"kind": "stop", "start": at(3), "end": at(5), "cause": "power cut"},
    {"kind": "event", "at": at(5), "event": "wick changed"},
    {"kind": "event", "at": at(5), "event": "note", "note": "Door seal leaks: bottom, left"},
    {"kind": "step", "at": at(4), "step": 2, "reason": "after the stop"},
    {"kind": "stage", "stage": "equalizing", "start": at(30), "dry_bulb": "55 °C", "emc": "10 %"},
    {
        "kind": "stage",
        "stage": "equalizing",
        "start": at(30),
        "end": at(40),
        "dry_bulb": "55 °C",
        "emc": "10 %",
    },
]


@settings(
    max_examples=PHONES, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(seed=st.integers(0, 10**6))
def test_entries_of_two_phones_merge_in_any_order_repeated_or_cut(tmp_path_factory, seed):
    chance = random.Random(seed)
    root = minimal_mill(tmp_path_factory.mktemp("mill"), charge=RUNNING)
    inbox = tmp_path_factory.mktemp("inbox")
    shares = [[], []]
    for one in DAY:
        for share in chance.choice((shares[:1], shares[1:], shares)):
            share.append(one)
    files, ahead = [], {}
    for phone, share in enumerate(shares):
        off = dt.timedelta(minutes=chance.choice((0, 0, 90, -200)))
        chance.shuffle(share)
        middle = chance.randint(0, len(share))
        for part, entries in enumerate((share[:middle], share[middle:])):
            path = inbox / f"{phone}-{part}.json"
            told = [by_clock(one, off) for one in entries]
            files.append(entry_file(path, told, by=f"Phone {phone}"))
            ahead[path] = off
    cut = inbox / "cut.json"
    raw = files[0].read_bytes()
    cut.write_bytes(raw[: chance.randrange(1, len(raw))])
    order = [*files, *chance.sample(files, 2), cut]
    chance.shuffle(order)
    for path in order:
        taken = take(root, [path], NOW, ahead.get(path, dt.timedelta()))
        assert (taken.left == []) == (path != cut)
    value = value_of(root)
    assert [str(one["at"]) for one in value["weighings"][7:]] == [
        "2026-06-08T08:00",
        "2026-06-09T08:00",
    ]
    assert {tag: str(mass) for tag, mass in value["weighings"][7]["masses"].items()}.keys() == {
        "S1",
        "S2",
        "S3",
    }
    assert value["mc_rounds"] == [
        {
            "at": "2026-06-10T08:00",
            "by": "Night shift",
            "method": "hand meter",
            "mc": {"S1": "10.2 %"},
        }
    ]
    assert [(one["start"], one["end"]) for one in value["stops"]] == [
        ("2026-06-08T11:00", "2026-06-08T13:00")
    ]
    assert sorted(one["kind"] for one in value["events"]) == ["note", "wick changed"]
    assert [one["step"] for one in value["step_changes"]] == [1, 2, 2]
    assert value["equalizing"]["end"] == "2026-06-10T00:00"
    before = (root / FILES["charge"]).read_bytes()
    for path in files:
        again = take(root, [path], NOW, ahead[path])
        assert (again.new, again.left) == (0, [])
    assert (root / FILES["charge"]).read_bytes() == before


def test_conflicting_entries_are_named_and_neither_is_lost(mill, tmp_path):
    first = entry_file(tmp_path / "a.json", [ROUND])
    other = entry_file(
        tmp_path / "b.json",
        [
            {**ROUND, "masses": {"S1": "2239 g", "S3": "2109 g"}},
            {"kind": "event", "at": at(1), "event": "door opened"},
        ],
    )
    assert take(mill, [first], NOW).left == []
    taken = take(mill, [other], NOW)
    assert taken.new == 1
    assert taken.left == [
        "b.json, entry 1: round of 2026-06-08T08:00, board S1: the record says "
        "2.230 kg, the entry 2239 g"
    ]
    assert value_of(mill)["events"][0]["kind"] == "door opened"
    assert "S3" not in value_of(mill)["weighings"][7]["masses"]  # nothing that is in doubt


def test_a_fast_device_clock_is_named_and_can_be_corrected(mill, tmp_path):
    path = entry_file(tmp_path / "a.json", [ROUND])
    now = START - dt.timedelta(hours=3)
    taken = take(mill, [path], now)
    assert (taken.new, len(taken.left)) == (0, 1)
    assert "lies 3 h ahead of this computer's clock" in taken.left[0]
    taken = take(mill, [path], now, dt.timedelta(hours=3))
    assert (taken.new, taken.left) == (1, [])
    assert value_of(mill)["weighings"][-1]["at"] == "2026-06-08T05:00"


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b'{"kilnfolio_entries": 1, "charge"', "it was cut off on the way"),
        (b"\x00\x01", "this is not an entry file"),
        (b"[" * 100000, "this is not an entry file"),
        (b'{"kilnfolio_entries": ' + b"1" * 5_000 + b"}", "this is not an entry file"),
        (b'{"by": "\\ud800"}', "this is not an entry file"),
        (b'{"by": NaN}', "this is not an entry file"),
        (b'{"kilnfolio_entries": 2}', "kilnfolio_entries"),
        (b"[]", "a.json"),
        (b" " * 2_000_000, "at most 1,048,576 are read"),
        (b"{}", "charge"),
    ],
)
def test_a_file_that_is_no_entry_file_gives_nothing(raw, says):
    with pytest.raises(RecordProblems) as caught:
        read_entries(raw, "a.json", ZONE)
    assert says in str(caught.value)


def test_an_entry_the_record_cannot_hold_does_not_stop_the_others(mill, tmp_path):
    path = entry_file(
        tmp_path / "a.json",
        [
            {"kind": "weighing", "at": at(0), "masses": {"S9": "2230 g"}},
            DAY[2],
            {"kind": "step", "at": at(1), "step": 9},
        ],
    )
    taken = take(mill, [path], NOW)
    assert taken.new == 1
    assert len(taken.left) == 2
    assert "board 'S9'" in taken.left[0]
    assert [len(value_of(mill)[key]) for key in ("weighings", "step_changes")] == [8, 2]


def test_a_watched_folder_files_each_export_under_its_charge(mill, tmp_path, monkeypatch):
    monkeypatch.setattr("kilnfolio.adopt.entry.take._POLL", 0.01)
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    entry_file(inbox / "a.json", [ROUND])
    (inbox / "bulbs.csv").write_text(
        (mill / FILES["log"]).read_text("utf-8") + "2026-06-07 08:30,55.0,42.0\n", "utf-8"
    )
    lines = []
    watch(mill, inbox, dt.timedelta(), lines.append, rounds=4)
    assert any("a.json: 1 new for charge C1" in line for line in lines)
    assert any("bulbs.csv has grown by 1 row" in line for line in lines)
    assert len(lines) == 2


# --- every command that writes ---------------------------------------------------------------


def a_command(chance, hour, findings, folder):
    """Return a command of the day at some time, as a person would type it."""
    when = (START + dt.timedelta(hours=hour)).strftime("%Y-%m-%dT%H:%M")
    later = (START + dt.timedelta(hours=hour, minutes=20)).strftime("%Y-%m-%dT%H:%M")
    tags = chance.sample(["S1", "S2", "S3"], chance.randint(1, 3))
    text = chance.choice(["Wick, changed: yes", "# no comment", "é à 30 %", "{a: b}", "- x", "'\""])
    return chance.choice(
        [
            ["weigh", "C1", "--at", when, *(f"{tag}={chance.randint(2050, 2100)}" for tag in tags)],
            [
                "weigh",
                "C1",
                *(f"{tag}=2,07{chance.randint(0, 9)}" for tag in tags),
                "--unit",
                "kg",
                "--at",
                when,
            ],
            ["weigh", "C1", "S1=11.5%", "--at", when],
            ["step", "C1", str(chance.randint(1, 2)), "--at", when, "--reason", text],
            ["stop", "C1", "--from", when, text, "--to", later],
            ["wick", "C1", "--at", when, "--note", text],
            ["note", "C1", text, "--at", when],
            ["note", "C1", "--kind", "door opened", "--at", when],
            [
                "correct",
                "C1",
                f"S{chance.randint(1, 3)}@2026-06-0{chance.randint(1, 7)}T08:00",
                f"{chance.randint(2100, 2500)} g",
                "--reason",
                text,
            ],
            [
                "correct",
                "C1",
                "boards.S1.green_mass",
                f"{chance.randint(2400, 2500)} g",
                "--reason",
                text,
            ],
            ["equalize", "C1", "begin", "--at", when],
            ["equalize", "C1", "end", "--at", later],
            ["condition", "C1", "begin", "--at", when],
            ["condition", "C1", "end", "--at", later],
            # last, or most of the commands after it would be refused
            ["finish", "C1", "--ended", at(201), "--unloaded", at(202)],
            ["sign", "C1", "--role", text],
            ["answer", "C1", chance.choice(findings), text],
            ["take", str(entry_file(folder / "phone.json", [an_entry(chance, hour, text)]))],
            ["undo"],
        ]
    )


def an_entry(chance, hour, text):
    """Return an entry of any kind, as a phone writes it."""
    stage = {
        "kind": "stage",
        "stage": chance.choice(["equalizing", "conditioning"]),
        # few beginnings, so that the ends have one to match
        "start": at(100 + 20 * chance.randint(0, 2)),
        "dry_bulb": "55 °C",
        "emc": chance.choice(["10 %", "11.5 %"]),
    }
    return {"id": f"{chance.getrandbits(96):024x}"} | chance.choice(
        [
            {
                "kind": "weighing",
                "at": at(hour),
                "masses": {"S2": f"{chance.randint(2150, 2350)} g"},
            },
            {"kind": "weighing", "at": at(hour), "mc": {"S3": "11.5 %"}},
            {"kind": "stop", "start": at(hour), "end": at(hour + 1), "cause": text},
            {"kind": "weighing", "at": at(hour), "mc": {"S1": "12.5 %"}, "by": "Night shift"},
            {"kind": "stop", "start": at(hour), "cause": text},
            {"kind": "event", "at": at(hour), "event": "note", "note": text},
            {"kind": "event", "at": at(hour), "event": "fans reversed"},
            {"kind": "step", "at": at(hour), "step": chance.randint(1, 3), "reason": text},
            stage,
            stage | {"end": at(175)},
            # last, like the command
            {"kind": "finish", "ended": at(201), "unloaded": at(202)},
        ]
    )


def test_random_entries_cover_every_kind():
    kinds = {an_entry(random.Random(seed), 5, "x")["kind"] for seed in range(200)}
    assert kinds == {one.model_fields["kind"].annotation.__args__[0] for one in entry_kinds()}


def entry_kinds():
    return get_args(get_args(Entry)[0])


#: What each command is given besides its own arguments.
TOLD = {"undo": (), "take": (), "sign": ("--by",), "answer": ("--by",)}


@pytest.mark.parametrize("seed", range(COMMANDS // 25))
def test_random_commands_keep_comments_and_order(mill, seed, capsys):
    """25 commands each (KILNFOLIO_COMMANDS sets how many in all) change nothing they are not meant to change."""
    chance = random.Random(seed)
    path = mill / FILES["charge"]
    texts = [path.read_text("utf-8")]
    gained = ["correct", "C1", "S1@2026-06-04T08:00", "2533 g", "--reason", "to be answered"]
    assert main([*gained, "--folder", str(mill)]) == 0
    findings = [one.id for one in open_reviews(open_mill(mill))["C1"].findings if one.id]
    texts.append(path.read_text("utf-8"))
    for number in range(25):
        words = a_command(chance, chance.randint(1, 200), findings, mill.parent)
        told = TOLD.get(words[0], ("--by", "--yes"))
        place = [str(mill)] if words[0] == "undo" else ["--folder", str(mill)]
        place += ["--by", f"Person: {number}"] if "--by" in told else []
        code = main([*words, *place, *(["--yes"] if "--yes" in told else [])])
        text = path.read_text("utf-8")
        assert code in (0, 2) or (code, words[0]) == (1, "take"), words
        checked_mill(mill)
        if words[0] == "undo" and code == 0:
            assert text == texts.pop(-2)
            texts.pop()
            texts.append(text)
        elif code == 0 and text != texts[-1]:
            new = text.splitlines()
            lost = [line for line in texts[-1].splitlines() if line not in new]
            assert len(lost) <= (2 if words[0] == "correct" else 1), (words, lost)
            texts.append(text)
        else:
            assert text == texts[-1]
        assert "# by the door scale\nweighings:  # g\n" in text
        assert text.rstrip("\n").endswith("# the end") or "# the end\n" in text
    for key in KEYS:
        moments = [str(one.get("at", one.get("start"))) for one in value_of(mill).get(key) or []]
        assert moments == sorted(moments)
    capsys.readouterr()


def test_correcting_a_mass_shows_the_new_mc_before_writing(mill, capsys):
    """Oven-dry 2110 g: 2427 g are 15.0 %, 2417 g 14.5 %; 2456 g the day before were 16.4 %."""
    before = (mill / FILES["charge"]).read_bytes()
    words = ["correct", "C1", "S2@2026-06-04T08:00", "2417 g", "--reason", "misread"]
    assert main([*words, "--dry-run", "--folder", str(mill)]) == 0
    said = capsys.readouterr().out
    assert "S2 at 2026-06-04 08:00: 14.5 % (was 15.0 %), 1.8 points a day\n" in said
    assert (mill / FILES["charge"]).read_bytes() == before
    words[3] = "2470 g"
    assert main([*words, "--dry-run", "--folder", str(mill)]) == 0
    assert "  ? S2 gained\n" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("- id: S2\n", "- id: S1\n", "board 'S1': it already stands at line "),
        ("at: 2026-06-03T08:00", "at: 2026-06-04T08:00", "not after the weighing before it"),
    ],
    ids=["a tag twice", "a time twice"],
)
@pytest.mark.parametrize(
    "words",
    [
        ["weigh", "C1", "S1=2230 g", "--at", "2026-06-08T10:00", "--yes"],
        ["step", "C1", "2", "--at", "2026-06-08T10:00", "--yes"],
        ["equalize", "C1", "begin", "--at", "2026-06-08T10:00", "--yes"],
        ["correct", "C1", "S1@2026-06-05T08:00", "2280 g", "--reason", "misread"],
        ["answer", "C1", "weighing-gain@S2", "misread"],
        ["sheet", "C1"],
    ],
    ids=lambda words: words[0],
)
def test_masses_that_could_be_of_two_boards_or_rounds_are_refused(
    mill, capsys, words, old, new, says
):
    path = mill / FILES["charge"]
    text = path.read_text("utf-8")
    ambiguous = text.replace(old, new, 1)
    assert ambiguous != text
    path.write_text(ambiguous, "utf-8")
    folder = [str(mill)] if words[0] == "sheet" else ["--folder", str(mill)]
    assert main([*words, *folder]) == 2
    assert says in capsys.readouterr().err
    assert path.read_text("utf-8") == ambiguous


def test_a_note_without_its_charge_asks_for_the_number(mill, capsys):
    assert main(["note", "Door seal leaks", "--folder", str(mill)]) == 2
    said = capsys.readouterr().err
    assert "charge 'Door seal leaks': there is no charge of this number. Name the charge" in said
    assert "new charge" not in said


def test_undo_goes_back_step_by_step_but_not_past_another_persons_change(mill, capsys):
    path = mill / FILES["charge"]
    before = path.read_bytes()
    for hour, mass in enumerate((2230, 2220, 2210)):
        assert (
            main(
                [
                    "weigh",
                    "C1",
                    f"S1={mass}",
                    "--at",
                    f"2026-06-08T1{hour}:00",
                    "--folder",
                    str(mill),
                ]
            )
            == 0
        )
    assert len(history(mill)) == 3
    assert main(["undo", str(mill)]) == 0
    assert main(["undo", str(mill)]) == 0
    path.write_bytes(path.read_bytes() + b"notes: typed meanwhile\n")
    assert main(["undo", str(mill)]) == 2
    assert "the file was changed since" in capsys.readouterr().err
    path.write_bytes(path.read_bytes().replace(b"notes: typed meanwhile\n", b""))
    assert main(["undo", str(mill)]) == 0
    assert path.read_bytes() == before
    assert main(["undo", str(mill)]) == 2
    assert "nothing to undo" in capsys.readouterr().err


def test_undo_skips_a_change_that_was_never_made(mill):
    """After a power cut between the two, earlier changes can still be undone."""
    before = (mill / FILES["charge"]).read_bytes()
    weigh = ["weigh", "C1", "S1=2230", "--at", "2026-06-08T10:00", "--folder", str(mill)]
    assert main(weigh) == 0
    made = (mill / FILES["charge"]).read_bytes()
    entry = {
        "what": "a round",
        "at": "2026-06-08T11:00:00-0400",
        "files": {FILES["charge"]: [made.decode(), made.decode() + "# more"]},
    }
    (mill / ".kilnfolio/undo/000002.json").write_text(json.dumps(entry), "utf-8")
    assert main(["undo", str(mill)]) == 0
    assert (mill / FILES["charge"]).read_bytes() == before


HOSTILE = {
    "a list": "[]",
    "a number of 5,000 digits": "1" * 5_000,
    "no files": '{"what": "x", "at": "x", "files": []}',
    "no texts": '{"what": "x", "at": "x", "files": {"a": [1, 2]}}',
    "a file above": '{"what": "x", "at": "x", "files": {"../new.txt": ["x", null]}}',
    "a file elsewhere": '{"what": "x", "at": "x", "files": {"/nowhere/new.txt": ["x", null]}}',
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_undo_writes_nothing_outside_the_mill_and_survives_damaged_changes(mill, capsys, text):
    """In somebody else's folder the kept changes may hold anything."""
    (mill / ".kilnfolio/undo").mkdir(parents=True)
    (mill / ".kilnfolio/undo/000001.json").write_text(text)
    (mill / ".kilnfolio/undo/1st.json").write_text(text)
    assert main(["undo", str(mill)]) == 2
    assert "nothing to undo" in capsys.readouterr().err
    assert not (mill.parent / "new.txt").exists()
    weigh = ["weigh", "C1", "S1=2230", "--at", "2026-06-08T10:00", "--folder", str(mill)]
    assert main(weigh) == 0
    assert main(["undo", str(mill)]) == 0


def test_a_link_in_place_of_the_lock_empties_nothing(mill, tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    (mill / ".kilnfolio").mkdir()
    (mill / ".kilnfolio/lock").symlink_to(tmp_path / "mine.txt")
    weigh = ["weigh", "C1", "S1=2230", "--at", "2026-06-08T10:00", "--folder", str(mill)]
    before = (mill / FILES["charge"]).read_bytes()
    assert main(weigh) == 2
    assert (tmp_path / "mine.txt").read_text() == "mine"
    assert (mill / FILES["charge"]).read_bytes() == before


def test_windows_line_endings_and_the_byte_order_mark_are_kept(mill):
    path = mill / FILES["charge"]
    raw = b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n")
    path.write_bytes(raw)
    assert main(["weigh", "C1", "S1=2230", "--at", "2026-06-08T08:00", "--folder", str(mill)]) == 0
    after = path.read_bytes()
    assert after.startswith(b"\xef\xbb\xbf")
    assert (
        after.count(b"\n")
        == after.count(b"\r\n")
        == raw.count(b"\n") + (after.count(b"\n") - raw.count(b"\n"))
    )
    assert charge_masses(mill)["S1"] == "2230 g"


def charge_masses(mill):
    return value_of(mill)["weighings"][-1]["masses"]


def test_a_record_changed_in_the_meantime_is_not_overwritten(mill):
    file = ChargeFile.open(mill, "C1")
    file.record.put(("notes",), "ours")
    path = mill / FILES["charge"]
    path.write_bytes(path.read_bytes() + b"notes: theirs\n")
    with pytest.raises(RecordProblems, match="changed while this command ran"):
        file.save("ours")
    assert b"ours" not in path.read_bytes()


@pytest.mark.parametrize(
    ("pairs", "says"),
    [
        (["S1=2333", "S2=2222"], "S1 and S2 would fit if their masses were exchanged"),
        (["S3=210"], "S3 210 g: a digit lost or misread?"),
        (["S1=2.23"], "was it read in another unit, kg for g?"),
        (["S1=2230", "S3=2135"], "S3 gained 14 g while drying"),
        (["S2=2250"], "S2 lost 5.5 points a day; 3.8 is safe for its timber"),
        (["S1=1990"], "S1 1990 g"),
        (["S9=2230"], "there is no board S9"),
    ],
)
def test_an_implausible_mass_is_named_before_it_is_written(mill, capsys, pairs, says):
    before = (mill / FILES["charge"]).read_bytes()
    assert main(["weigh", "C1", *pairs, "--at", "2026-06-08T08:00", "--folder", str(mill)]) in (
        1,
        2,
    )
    assert says in capsys.readouterr().out
    assert (mill / FILES["charge"]).read_bytes() == before


def test_a_round_shows_mc_loss_and_the_next_step(mill, capsys):
    """Oven-dry masses 2000, 2110, 1895.4 g: (2230 / 2000 - 1) is 11.5 %, by hand."""
    assert (
        main(
            [
                "weigh",
                "S1=2230",
                "S2=2350",
                "S3=2109",
                "--at",
                "2026-06-08T08:00",
                "--by",
                "R. Quill",
                "--folder",
                str(mill),
            ]
        )
        == 0
    )
    said = capsys.readouterr().out
    assert "S1      2230 g   11.5 %    0.8 a day  30 g to equalize" in said
    assert "controlling MC 11.4 % (wettest half)" in said  # (11.5 + 11.37) / 2, by hand
    assert "next: equalize at 10 % (driest board)" in said
    assert value_of(mill)["weighings"][-1] == {
        "at": "2026-06-08T08:00",
        "by": "R. Quill",
        "masses": {"S1": "2230 g", "S2": "2350 g", "S3": "2109 g"},
    }


@pytest.mark.parametrize(
    ("text", "now", "gives"),
    [
        ("07:10", "2026-06-08T12:00", "2026-06-08T07:10"),
        ("19:30", "2026-06-08T12:00", "2026-06-07T19:30"),
        ("7.05", "2026-06-08T12:00", "2026-06-08T07:05"),
        ("2026-06-01 07:10", "2026-06-08T12:00", "2026-06-01T07:10"),
        ("2026-11-01T01:30-05:00", "2026-11-02T12:00", "2026-11-01T01:30-05:00"),
        (None, "2026-06-08T12:00", "2026-06-08T12:00"),
    ],
)
def test_times_are_read_as_people_type_them(text, now, gives):
    present = dt.datetime.fromisoformat(now).replace(tzinfo=ZONE)
    assert written(moment(text, ZONE, present), ZONE) == gives


@pytest.mark.parametrize(
    "text", ["25:00", "yesterday", "2026-13-01T07:00", "7", "2026-03-08T02:30", "2026-11-01T01:30"]
)
def test_times_skipped_or_repeated_by_the_clock_change_are_refused(text):
    with pytest.raises(RecordProblems):
        moment(text, ZONE, NOW)


def test_an_empty_note_is_refused_in_plain_words(mill, capsys):
    assert main(["note", "C1", "", "--folder", str(mill)]) == 2
    assert "note: it is empty. Say it in words." in capsys.readouterr().err


@pytest.mark.parametrize("words", [["weigh", "C1", "S1=12 %"], ["note", "C1", "seal leaks"]])
def test_a_time_still_to_come_is_asked_about(mill, capsys, words):
    next_year = f"{dt.datetime.now(ZONE) + dt.timedelta(days=300.5):%Y-%m-%dT%H:%M}"
    entry = [*words, "--at", next_year, "--folder", str(mill)]
    before = value_of(mill)
    assert main(entry) == 1
    assert "? that is 300 days from now: is the date right?" in capsys.readouterr().out
    assert value_of(mill) == before
    assert main([*entry, "--yes"]) == 0


def test_stops_and_stages_begin_and_end(mill, capsys):
    more = ["--folder", str(mill)]
    assert main(["stop", "C1", "power cut", "--from", "2026-06-08T03:10", *more]) == 0
    checked_mill(mill)
    assert value_of(mill)["stops"][0]["end"] == "…"
    assert main(["stop", "C1", "--to", "2026-06-08T05:40", *more]) == 0
    assert value_of(mill)["stops"][0]["end"] == "2026-06-08T05:40"
    assert main(["stop", "C1", *more]) == 2
    weeks = ["stop", "C1", "fan", "--from", "2026-05-08T03:10", "--to", "2026-06-07T05:40"]
    assert main([*weeks, *more]) == 1
    assert "the stop lasts 30.1 days: is the date right?" in capsys.readouterr().out
    assert len(value_of(mill)["stops"]) == 1
    assert main(["equalize", "C1", "end", *more]) == 2
    assert main(["equalize", "C1", "begin", "--at", "2026-06-08T12:00", *more, "--yes"]) == 0
    stage = value_of(mill)["equalizing"]
    assert (stage["dry_bulb"], stage["emc"]) == ("131 °F", "10 %")  # 55 °C in a mill
    # that sets °F; 2 points below 12 %
    assert main(["check", str(mill), "--charge", "C1"]) == 1
    assert main(["finish", "C1", "--ended", "2026-06-10T12:00", *more]) == 1  # it has not ended
    assert main(["equalize", "C1", "end", "--at", "2026-06-09T12:00", *more, "--yes"]) == 0
    assert main(["finish", "C1", "--ended", "2026-06-10T12:00", *more]) == 0
    assert main(["finish", "C1", "--unloaded", "2026-06-10T15:00", *more]) == 0
    assert list(checked_mill(mill).charges) == ["C1"]
    capsys.readouterr()


@pytest.mark.parametrize(
    ("command", "masses", "says"),
    [
        # the driest board, S2 at 2400 g on 2110 g, is at 13.7 %: above 10 % by more than half a point
        (
            ["equalize", "C1", "begin"],
            ("2400", "2400", "2200"),
            "equalizing begins when the driest board is at 10 %; the driest is S2 at 13.7 %",
        ),
        # the boards are at 20.0, 13.7 and 16.1 %, 16.6 % in the mean
        (
            ["condition", "C1", "begin"],
            ("2400", "2400", "2200"),
            "the boards average 16.6 %; the target is 12 %",
        ),
        (
            ["finish", "C1", "--ended", "2026-06-10T12:00"],
            ("2400", "2400", "2200"),
            "the boards average 16.6 %; the target is 12 %",
        ),
        # 2310 g on 2110 g are 9.5 %, dry enough; 2240 g on 2000 g are 12.0 %
        (["equalize", "C1", "begin"], ("2240", "2310", "2120"), None),
        (["finish", "C1", "--ended", "2026-06-10T12:00"], ("2240", "2310", "2120"), None),
    ],
)
def test_a_stage_that_begins_too_wet_is_asked_about(mill, capsys, command, masses, says):
    """MC = 100 × (m − m₀) ÷ m₀ by hand; oven-dry masses 2000, 2110 and 1895.4 g, target 12 %."""
    more = ["--folder", str(mill)]
    boards = [f"S{number}={mass}" for number, mass in enumerate(masses, start=1)]
    assert main(["weigh", "C1", *boards, "--at", "2026-06-08T08:00", "--yes", *more]) == 0
    before = value_of(mill)
    capsys.readouterr()
    assert main([*command, *more]) == (1 if says else 0)
    said = capsys.readouterr().out
    if says:
        assert f"  ? {says}\n" in said
        assert value_of(mill) == before
        assert main([*command, *more, "--yes"]) == 0
    else:
        assert "  ? " not in said
    assert value_of(mill) != before


def test_equalizing_that_ends_too_early_is_asked_about(mill, capsys):
    """2280 g on 2000 g are 14.0 %, by hand; the target is 12 %."""
    more = ["--folder", str(mill)]
    round_of = ["weigh", "C1", "S1=2280", "S2=2310", "S3=2120", "--at", "2026-06-08T08:00", "--yes"]
    assert main([*round_of, *more]) == 0
    assert main(["equalize", "C1", "begin", "--at", "2026-06-08T12:00", *more]) == 0
    capsys.readouterr()
    end = ["equalize", "C1", "end", "--at", "2026-06-09T12:00", *more]
    assert main(end) == 1
    says = "equalizing ends when the wettest board is at the target of 12 %; S1 is at 14.0 %"
    assert f"  ? {says}\n" in capsys.readouterr().out
    assert main([*end, "--yes"]) == 0


def test_hand_meter_rounds_alone_give_a_controlling_mc(tmp_path, capsys):
    root = minimal_mill(tmp_path / "mill", charge=RUNNING | {"boards": DROP, "weighings": DROP})
    more = ["--folder", str(root), "--by", "R. Quill"]
    assert main(["weigh", "C1", "N1=24%", "N2=20 %", "--at", "2026-06-02T08:00", *more]) == 0
    assert main(["weigh", "C1", "N1=18%", "N2=16%", "--at", "2026-06-04T08:00", *more]) == 0
    assert main(["weigh", "C1", "N1=18.5%", "--at", "2026-06-04T08:00", *more]) == 2
    assert (
        main(["correct", "C1", "N1@2026-06-04T08:00", "18.5 %", "--reason", "misread", *more]) == 0
    )
    capsys.readouterr()
    assert main(["note", "C1", "meter", "--at", "2026-06-04T09:00", *more]) == 0
    # the wettest half of two boards is one: 18.5 %
    assert "controlling MC 18.5 % at 2026-06-04 08:00" in capsys.readouterr().out


def test_an_answer_must_name_exactly_one_finding(tmp_path, capsys):
    def gain(charge):
        charge["weighings"][3]["masses"]["S1"] = "2533 g"

    root = minimal_mill(tmp_path / "mill", charge=gain)
    assert main(["check", str(root), "--charge", "C1"]) == 1
    said = capsys.readouterr().out
    finding = next(
        line.split("to answer it: ")[1].strip()
        for line in said.splitlines()
        if "gained-weight" in line and "to answer it" in line
    )
    more = ["--folder", str(root), "--by", "M. Okafor"]
    assert main(["answer", "C1", finding + "x", "scale", *more]) == 2
    assert f"Did you mean '{finding}'?" in capsys.readouterr().err
    assert main(["answer", "C1", finding, "Two digits swapped on the sheet", *more]) == 0
    assert main(["answer", "C1", finding, "Again", *more]) == 2
    capsys.readouterr()
    assert main(["check", str(root), "--charge", "C1"]) in (0, 1)
    assert "1 answered" in capsys.readouterr().out
