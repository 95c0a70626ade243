"""New mills and records: valid at once, or with every gap named."""

import json
import re
import shutil

import jsonschema
import pytest
import yaml
from tests.adopt.own_files import CHARGE, LOT, MILL
from tests.conftest import PROJECT
from tests.minimal import minimal_mill

from kilnfolio.adopt.countries import zones_of
from kilnfolio.adopt.kinds import NEW
from kilnfolio.adopt.mill import QUESTIONS, answer_problem, likely_region
from kilnfolio.adopt.records import TEMPLATES
from kilnfolio.cli import main
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.folder import open_mill
from kilnfolio.records.kinds import RECORD_KINDS


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    root = tmp_path_factory.mktemp("made") / "mill"
    assert main(["new", "mill", str(root), *MILL]) == 0
    return root


@pytest.fixture
def mill(made, tmp_path):
    """A new mill for one test to change: a copy takes a tenth of making it."""
    return shutil.copytree(made, tmp_path / "mill", symlinks=True)


def test_a_new_mill_is_read_without_a_problem(made, capsys):
    folder = checked_mill(made)
    assert folder.mill.record.altitude.entered == "1017 ft"
    assert list(folder.kilns) == ["kiln-1"]
    assert main(["check", str(made)]) == 0
    assert capsys.readouterr().err == ""


def test_it_contains_the_library_but_no_schedule_of_the_demonstration_mill(made):
    library = {
        path.name
        for path in (PROJECT / "schedules").rglob("*.yaml")
        if "\ninvented: true" not in path.read_text("utf-8")
    }
    assert {path.name for path in (made / "schedules").rglob("*.yaml")} == library
    assert len(library) > 150
    assert not [
        path
        for path in made.rglob("*.yaml")
        # an exercise's scenario is invented in every mill
        if "\ninvented: true" in path.read_text("utf-8") and path.parent.name != "scenarios"
    ]


def test_a_new_mill_has_no_approvals_by_people_of_the_demonstration_mill(made):
    """Everything is a draft until somebody of the new mill approves it."""
    people = re.compile(r"Okafor|Heron Bend|heron-bend|\w \(invented\)")
    texts = {
        path: path.read_text("utf-8")
        for path in made.rglob("*")
        if path.suffix in (".yaml", ".md") and path != made / "content/mill.yaml"
    }
    assert [path for path, text in texts.items() if people.search(text)] == []
    assert [path for path, text in texts.items() if re.search("(?m)^approved:", text)] == []
    schedules = open_mill(made).schedules
    assert len(schedules) > 60
    assert [s for s in schedules.values() if s.record.approved is not None] == []


def test_every_record_names_its_schema_and_is_valid_by_it(made):
    records = [
        *made.glob("content/*.yaml"),
        *made.glob("content/kilns/*.yaml"),
        *made.rglob("schedules/**/*.yaml"),
    ]
    assert len(records) > 150
    validators = {
        path: jsonschema.Draft202012Validator(json.loads(path.read_text("utf-8")))
        for path in (made / "schemas").iterdir()
    }
    for path in records:
        first = path.read_text("utf-8").split("\n")[0]
        named = re.fullmatch(r"# yaml-language-server: \$schema=(\S+)", first)
        assert named, path
        value = yaml.load(path.read_text("utf-8"), Loader=yaml.CBaseLoader)
        missing = [
            error.message
            for error in validators[(path.parent / named[1]).resolve()].iter_errors(value)
            if "required" in error.message or "Additional" in error.message
        ]
        assert missing == [], path
    assert {path.stem for path in validators} == {*RECORD_KINDS, "entries"}


def test_it_ends_with_the_next_command_to_give(tmp_path, capsys):
    assert main(["new", "mill", str(tmp_path / "m"), *MILL]) == 0
    said = capsys.readouterr().out.strip().split("\n")
    assert said[-1] == f"next: kilnfolio build {tmp_path / 'm'}"


def test_it_never_overwrites_a_mill(mill, capsys):
    (mill / "content/mill.yaml").write_text("mine")
    assert main(["new", "mill", str(mill), *MILL]) == 2
    assert "this folder holds a mill already" in capsys.readouterr().err
    assert (mill / "content/mill.yaml").read_text() == "mine"


def test_without_a_terminal_it_names_the_options_it_needs(tmp_path, capsys):
    assert main(["new", "mill", str(tmp_path / "m"), "--name", "Mill"]) == 2
    said = capsys.readouterr().err
    assert "new mill needs --place, --country, --time-zone, --altitude, --practice, --kiln" in said
    assert "--kiln" in said
    assert not (tmp_path / "m").exists()


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [
        ("--time-zone", "EST5", "time_zone 'EST5'"),
        ("--altitude", "310", "has no unit"),
        ("--practice", "french", "it must be one of"),
        ("--kiln", "Kiln 2, steam", "a kiln has four parts"),
        ("--kiln", "Kiln 2, steamy, 40 m³, 85 °C", "Did you mean 'steam'?"),
        ("--kiln", "Kiln 1, steam, 40 m³, 85 °C", "another kiln is called 'kiln-1' too"),
    ],
)
def test_an_invalid_answer_is_refused_and_nothing_is_written(tmp_path, capsys, option, value, said):
    answers = dict(zip(MILL[::2], MILL[1::2], strict=True)) if option != "--kiln" else {}
    words = (
        [part for pair in {**answers, option: value}.items() for part in pair]
        if answers
        else [*MILL, option, value]
    )
    assert main(["new", "mill", str(tmp_path / "m"), *words]) == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "m").exists()


def test_in_a_terminal_it_asks_again_after_an_invalid_answer(tmp_path, monkeypatch, capsys):
    answers = iter(
        [
            "",
            "Alder Brook Timber",
            "Alder Brook",
            "",
            "Alder Brook, Ontario, Canada",
            "Toronto",
            "America/Toronto",
            "310",
            "310 m",
            "",
            "Kiln 1, steam",
            "Kiln 1, steam, 42 m³, 85 °C",
            "",
        ]
    )
    asked = []
    monkeypatch.setattr(
        "kilnfolio.cli.new.asker", lambda: lambda words: asked.append(words) or next(answers)
    )
    assert main(["new", "mill", str(tmp_path / "m")]) == 0
    said = capsys.readouterr().out
    assert "put the country last, after a comma" in said
    assert any("it has several: America/St_Johns, America/Halifax, " in words for words in asked)
    assert "it is not a time zone of the IANA database" in said
    assert "has no unit" in said
    assert next(answers, "all asked") == "all asked"
    mill = checked_mill(tmp_path / "m").mill.record
    assert (mill.place, mill.country) == ("Alder Brook, Ontario", "Canada")
    assert mill.practice == "North American"


def test_it_asks_little_and_says_what_it_assumed(tmp_path, monkeypatch, capsys):
    answers = iter(
        [
            "Sawmill in Austria, invented",
            "Wald, Tyrol, Austria",
            "610 m",
            "",
            "Kiln 1, steam, 42 m³, 85 °C",
            "",
        ]
    )
    monkeypatch.setattr("kilnfolio.cli.new.asker", lambda: lambda _: next(answers))
    assert main(["new", "mill", str(tmp_path / "m")]) == 0
    assert next(answers, "all asked") == "all asked"
    said = capsys.readouterr().out
    assert "  time_zone: Europe/Vienna (from the country; change it in content/mill.yaml)\n" in said
    assert "e-mail address is office@records.invalid: set both before a label is printed" in said
    mill = checked_mill(tmp_path / "m").mill.record
    assert (mill.time_zone, mill.practice) == ("Europe/Vienna", "continental")


def test_what_follows_from_the_country_need_not_be_given(tmp_path, capsys):
    words = [
        "--name",
        "Mill",
        "--place",
        "Ross-on-Wye",
        "--country",
        "England",
        "--altitude",
        "40 m",
        "--kiln",
        "Kiln 1, steam, 42 m³, 85 °C",
    ]
    assert main(["new", "mill", str(tmp_path / "m"), *words]) == 0
    said = capsys.readouterr().out
    assert "time_zone: Europe/London (" in said
    assert "practice: British (" in said


@pytest.mark.parametrize(
    ("country", "zones"),
    [
        # the IANA table of zones: one for each, or several with one time
        ("Austria", ("Europe/Vienna",)),
        ("Germany", ("Europe/Berlin",)),
        ("UK", ("Europe/London",)),
        ("Sweden", ("Europe/Stockholm",)),
        ("New Zealand", ("Pacific/Auckland", "Pacific/Chatham")),
        ("Atlantis", ()),
    ],
)
def test_the_time_zones_of_a_country_are_known(country, zones):
    assert zones_of(country) == zones


def test_no_label_is_printed_with_an_address_that_leads_nowhere(mill, capsys):
    path = mill / "content/mill.yaml"
    assert main(["labels", "--out", str(mill / "l.pdf"), "--folder", str(mill)]) in (1, 2)
    assert (
        "records_address in content/mill.yaml is https://records.invalid, where nothing is"
        in capsys.readouterr().err
    )
    path.write_text(path.read_text("utf-8").replace("https://records.invalid", "https://a.example"))
    main(["labels", "--out", str(mill / "l.pdf"), "--folder", str(mill)])
    assert "where nothing is" not in capsys.readouterr().err


def test_each_question_accepts_its_own_example():
    for question in QUESTIONS:
        assert answer_problem(question.key, question.example) == ""


@pytest.mark.parametrize(
    ("zone", "practice"),
    [
        ("America/Toronto", "North American"),
        ("Europe/Dublin", "British"),
        ("Europe/Vienna", "continental"),
        ("Pacific/Auckland", "Australasian"),
    ],
)
def test_practice_is_proposed_by_the_time_zone(zone, practice):
    assert likely_region(zone) == practice


@pytest.mark.parametrize("kind", TEMPLATES)
def test_a_record_begun_without_options_names_every_gap(mill, kind, capsys):
    assert main(["new", kind, "one-1", str(mill)]) == 0
    said = capsys.readouterr().out.split("\n")
    problems = [line.strip() for line in said if "is still to be filled in" in line]
    assert problems
    assert all("…" in open_line(mill, problem) for problem in problems)
    assert main(["check", str(mill)]) == 0
    assert "Still to fill in: " in capsys.readouterr().out


def open_line(root, problem):
    """Return the line a problem names."""
    file, line, _ = problem.split(": ")[0].rsplit(":", 2)
    return (root / file).read_text("utf-8").split("\n")[int(line) - 1]


def test_records_begun_with_every_option_are_complete(mill):
    root = str(mill)
    assert (
        main(
            [
                "new",
                "kiln",
                "kiln-2",
                root,
                "--name",
                "Kiln 2",
                "--kind",
                "steam",
                "--capacity",
                "40 m³",
                "--hottest",
                "185 °F",
            ]
        )
        == 0
    )
    assert main(["new", "charge", "26-001", root, *CHARGE, "--kiln", "kiln-2"]) == 0
    assert main(["new", "lot", "L1", root, *LOT]) == 0
    assert (
        main(
            [
                "new",
                "species",
                "quercus-petraea",
                root,
                "--trade-name",
                "Sessile oak",
                "--scientific-name",
                "Quercus petraea",
                "--kind",
                "hardwood",
                "--region",
                "Europe",
            ]
        )
        == 0
    )
    folder = checked_mill(mill)
    assert folder.charges["26-001"].file == "content/charges/2026/26-001/charge.yaml"
    assert folder.charges["26-001"].record.schedule_revision == 1
    assert folder.lots["L1"].record.species == "quercus-rubra"  # from the charge
    assert folder.species["quercus-petraea"].record.trade_name == "Sessile oak"


@pytest.mark.parametrize(
    ("rule", "left"),
    [("band", "lowest, highest, share"), ("maximum", "highest, share"), ("en-14298", "")],
)
def test_an_order_asks_only_for_what_its_rule_needs(mill, capsys, rule, left):
    known = dict(zip(LOT[::2], LOT[1::2], strict=True)) | {"--rule": rule}
    for key in ("--lowest", "--highest", "--share", "--charge"):
        del known[key]
    assert (
        main(
            [
                "new",
                "lot",
                "L2",
                str(mill),
                *(part for pair in known.items() for part in pair),
                "--species",
                "quercus-rubra",
                "--thickness",
                "4/4",
            ]
        )
        == 0
    )
    assert main(["check", str(mill)]) == 0
    assert f"Still to fill in: {left + ', ' if left else ''}charge, in" in capsys.readouterr().out


def test_the_schema_named_for_editors_exists(tmp_path):
    """Also in a folder that was not made by ``new mill``."""
    root = minimal_mill(tmp_path)
    assert main(["new", "kiln", "k2", str(root)]) == 0
    path = root / "content/kilns/k2.yaml"
    first = path.read_text("utf-8").split("\n")[0]
    schema = path.parent / first.removeprefix("# yaml-language-server: $schema=")
    assert json.loads(schema.read_text("utf-8"))["title"] == "A kiln record"


def test_a_softwood_schedule_is_written_into_the_softwood_folder(mill, capsys):
    assert main(["new", "schedule", "our-pine", str(mill), "--species", "pinus-strobus"]) == 0
    assert "schedules/softwood/our-pine.yaml written" in capsys.readouterr().out


def test_an_invalid_value_is_refused(mill, capsys):
    assert main(["new", "charge", "26-002", str(mill), "--volume", "40"]) == 2
    assert "volume '40': has no unit" in capsys.readouterr().err
    assert not list(mill.glob("content/charges/**/*.yaml"))


def test_words_that_yaml_would_read_differently_are_quoted(mill):
    assert (
        main(
            [
                "new",
                "species",
                "quercus-alba-2",
                str(mill),
                "--trade-name",
                "Oak: white # 2",
                "--scientific-name",
                "yes",
                "--kind",
                "hardwood",
                "--region",
                "[north]",
            ]
        )
        == 0
    )
    record = checked_mill(mill).species["quercus-alba-2"].record
    assert (record.trade_name, record.scientific_name, record.region) == (
        "Oak: white # 2",
        "yes",
        "[north]",
    )


@pytest.mark.parametrize("name", [*NEW, "keys"])
def test_every_kind_has_help_with_an_example(name, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["new", name, "--help"])
    assert ended.value.code == 0
    assert f"kilnfolio new {name}" in capsys.readouterr().out


def test_a_library_schedule_is_copied_into_a_draft(tmp_path, capsys):
    assert main(["new", "mill", str(tmp_path / "m"), *MILL]) == 0
    book = tmp_path / "m/schedules/hardwood/quercus-rubra-4-4.yaml"
    words = ["new", "schedule", "our-red-oak", str(tmp_path / "m"), "--from"]
    assert main([*words, "quercus-rubra-44"]) == 2
    assert "Did you mean 'quercus-rubra-4-4'?" in capsys.readouterr().err
    assert main([*words, "quercus-rubra-4-4", "--title", "Our red oak"]) == 0
    mill = open_mill(tmp_path / "m")
    own, theirs = (mill.schedules[name].record for name in ("our-red-oak", "quercus-rubra-4-4"))
    assert (own.title, own.revision, own.approved, own.changes) == ("Our red oak", 1, None, [])
    assert mill.steps_of(own) == mill.steps_of(theirs)
    assert own.source == theirs.source
    text = book.with_name("our-red-oak.yaml").read_text("utf-8")
    assert "Copied from quercus-rubra-4-4" in text
    assert main([*words, "quercus-rubra-4-4"]) == 2  # never over an existing file


@pytest.mark.parametrize("kind", ["progressive", "pre-dryer", "dryer shed", "air-drying yard"])
def test_new_kiln_knows_kinds_of_plant_other_than_chamber_kilns(tmp_path, kind):
    assert main(["new", "mill", str(tmp_path / "m"), *MILL]) == 0
    assert (
        main(
            [
                "new",
                "kiln",
                "plant-2",
                str(tmp_path / "m"),
                "--name",
                "Plant 2",
                "--kind",
                kind,
                "--capacity",
                "90 m³",
                "--hottest",
                "60 °C",
            ]
        )
        == 0
    )
    assert open_mill(tmp_path / "m").kilns["plant-2"].record.kind == kind


def test_new_can_begin_every_kind_of_record_that_may_be_a_draft():
    """The registry of kinds decides: a template without a kind, or a kind without one, is a
    mistake."""
    assert set(TEMPLATES) == {kind.name for kind in RECORD_KINDS.values() if kind.draft}
