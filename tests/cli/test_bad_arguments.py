"""An unknown number or a mistyped argument exits 2 with a message that says what to write."""

import shlex

import pytest
from tests.minimal import DROP, minimal_mill

from kilnfolio.cli import main

RUNNING = {"ended": DROP, "unloaded": DROP, "survey": DROP, "signatures": DROP}


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    return minimal_mill(tmp_path_factory.mktemp("mill"), charge=RUNNING)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("sheet C9 MILL", "there is no charge 'C9'"),
        ("forecast C9 MILL", "there is no charge 'C9'"),
        ("seal C9 MILL --by PQ", "C9"),
        ("check MILL --charge C9", "C9"),
        ("labels L9 --folder MILL --out l.pdf", "L9"),
        ("labels --folder MILL --out l.pdf --skip 99", "has 8 labels"),
        ("labels --folder MILL --out l.pdf --skip -1", "not a whole number from 0"),
        ("weigh C9 S1=2230 --folder MILL", "charge 'C9'"),
        ("weigh C1 --folder MILL", "no mass is given"),
        ("weigh C1 S1=abc --folder MILL", "masses.S1 'abc': is not a mass"),
        ("weigh C1 S1=nan --folder MILL", "masses.S1 'nan': is not a mass"),
        ("weigh C1 S1=-3 --folder MILL", "masses.S1 '-3 g': is below 0 g"),
        ("weigh C1 'S1=-3 g' --folder MILL", "masses.S1 '-3 g'"),
        ("weigh C1 S1=1e400 --folder MILL", "masses.S1 '1e400 g': is not a finite number"),
        ("weigh C1 S1=2230 --unit stone --folder MILL", "masses.S1 '2230 stone'"),
        ("weigh C1 S1=140% --at never --folder MILL", "never"),
        ("weigh C1 S1=2230 --at 0001-01-01T00:00 --folder MILL", "0001"),
        ("weigh C1 S1=2230 --at 9999-12-31T23:59 --folder MILL", "9999"),
        ("step C1 0 --folder MILL", "not a whole number from 1 to 60"),
        ("step C1 x --folder MILL", "not a whole number from 1 to 60"),
        ("step C1 50 --folder MILL --yes", "50"),
        ("note C1 --kind fire --folder MILL", "fire"),
        ("stop C1 x --from 2026-06-03T07:00 --to 2026-06-03T06:00 --folder MILL", "stop"),
        ("condition C1 begin --dry-bulb hot --folder MILL", "hot"),
        ("condition C1 begin --dry-bulb '-500 °C' --emc '400 %' --folder MILL", "-500 °C"),
        ("answer C1 nothing why --folder MILL", "nothing"),
        ("correct C1 a.b.c 5 --reason x --folder MILL", "a.b.c"),
        (
            "correct C1 weighings.-1.masses.S1 5 --reason x --folder MILL",
            "the record has nothing there",
        ),
        (
            "correct C1 weighings.99.masses.S1 5 --reason x --folder MILL",
            "the record has nothing there",
        ),
        ("correct C1 weighings.1.masses.S1 '{a' --reason x --folder MILL", "is not a mass"),
        ("take MILL --folder MILL --clock-ahead nan", "'nan' is not a number from"),
        ("take MILL --folder MILL --clock-ahead 1e300", "'1e300' is not a number from"),
        ("preview MILL --port 99999", "'99999' is not a whole number from 0 to 65535"),
        ("build MILL --workers 0", "'0' is not a whole number from 1"),
        ("exam nowhere MILL", "nowhere"),
        ("exam beginner-hour MILL --seed -1", "'-1' is not a whole number from 0"),
        ("schema nothing", "nothing"),
        ("new charge ../../x MILL", "../../x"),
        (
            "new charge C2 MILL --kiln k9",
            "kiln 'k9': there is no kiln of this id. Did you mean 'k1'?",
        ),
        ("new charge C2 MILL --schedule red-oak", "Did you mean 'red-oak-4-4'?"),
        (
            "new lot L2 MILL --charge C9",
            "charge 'C9': there is no charge of this id. Did you mean 'C1'?",
        ),
        ("new schedule s MILL --from nothing", "nothing"),
        ("import log no.csv MILL --kiln k9", "kiln 'k9'"),
        ("import survey no.csv MILL --charge C9", "charge 'C9'"),
        ("export MILL --out e.json --format json --lot L9", "L9"),
    ],
)
def test_a_bad_argument_is_named(mill, tmp_path, monkeypatch, capsys, words, says):
    monkeypatch.chdir(tmp_path)
    before = {path: path.read_bytes() for path in mill.rglob("*.yaml")}
    argv = [str(mill) if word == "MILL" else word for word in shlex.split(words)]
    try:
        code = main(argv)
    except SystemExit as usage:  # argparse ends in this way
        code = usage.code
    said = capsys.readouterr()
    assert code in (1, 2), said
    assert says in said.err + said.out
    assert "this is our fault" not in said.err
    assert {path: path.read_bytes() for path in mill.rglob("*.yaml")} == before
    assert list(tmp_path.iterdir()) == []
