"""A new user's way from an empty folder to a lot's page: a workbook, a survey, an export.

The commands and prompts are counted and timed; no file is edited by hand. Only `new mill` asks.
"""

import re
import time
from pathlib import Path

import pytest
from tests.adopt.own_files import CHARGE, LOT, write_log, write_survey, write_workbook

from kilnfolio.cli import main
from kilnfolio.records.checking import checked_mill

#: The answers, by the beginning of the question; the last one ends the list of kilns.
ANSWERS = {
    "Name of the mill": ["Alder Brook Timber"],
    "Town, region and country": ["Alder Brook (invented), Ontario, Canada"],
    "Time zone": ["America/Toronto"],
    "Height above sea level": ["1017 ft"],
    "Whose units": [""],
    "Kiln": ["Kiln 1, steam, 60 m³, 85 °C", ""],
}


class Somebody:
    """Answers questions, and counts them."""

    def __init__(self):
        self.asked = 0
        self._answers = {begins: iter(answers) for begins, answers in ANSWERS.items()}

    def __call__(self, words):
        self.asked += 1
        return next(
            answers for begins, answers in self._answers.items() if words.startswith(begins)
        ).__next__()


@pytest.fixture(scope="module")
def path_walked(tmp_path_factory):
    """Go the whole way once; return the folder, each command's words, code and seconds, and the
    prompts."""
    home = tmp_path_factory.mktemp("path")
    book, survey = write_workbook(home / "boards.xlsx"), write_survey(home / "survey.csv")
    log, mill = write_log(home / "chamber4.txt"), home / "mill"
    commands = [
        ["new", "mill", mill],
        ["new", "keys", mill],
        ["new", "charge", "26-001", mill, *CHARGE],
        ["import", "boards", book, mill, "--charge", "26-001", "--sheet", "Cutting"],
        ["import", "weighings", book, mill, "--charge", "26-001", "--sheet", "Weights"],
        [
            "import",
            "survey",
            survey,
            mill,
            "--charge",
            "26-001",
            "--decimal",
            ",",
            "--at",
            "2026-06-07T11:00",
            "--by",
            "A. N. Other",
            "--method",
            "resistance meter",
            "--corrected-for",
            "temperature",
            "species",
        ],
        ["import", "log", log, mill, "--kiln", "kiln-1"],  # shows a proposal and writes nothing
        [
            "import",
            "log",
            log,
            mill,
            "--kiln",
            "kiln-1",
            "--charge",
            "26-001",
            "--clock",
            "local",
            "--time-format",
            "%d.%m.%Y %H:%M",
            "--column",
            "Dry=dry-bulb:°F",
            "--column",
            "Wet=wet-bulb:°F",
            "--column",
            "RH=relative-humidity:%",
            "--column",
            "Damper=vent:%",
            "--missing=----",
            "--yes",
        ],
        ["new", "lot", "L26-001", mill, *LOT],
        ["check", mill],
        ["build", mill, "--without-pdf"],
    ]
    walked, somebody = [], Somebody()
    for words in commands:
        began = time.perf_counter()
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(
                "kilnfolio.cli.new.asker",
                lambda words=words: somebody if words[:2] == ["new", "mill"] else None,
            )
            code = main([str(word) for word in words])
        walked.append((" ".join(map(str, words[:2])), code, time.perf_counter() - began))
    return mill, walked, somebody.asked


def test_every_command_succeeds_and_the_counts_are_as_stated(path_walked):
    _, walked, prompts = path_walked
    codes = [code for _, code, _ in walked]
    # 1: the export is shown and not yet decided; the checks have questions about the charge
    assert codes == [0, 0, 0, 0, 0, 0, 1, 0, 0, 1, 0], walked
    seconds = sum(took for *_, took in walked)
    assert prompts == 7  # what `new mill` asks of a mill with one kiln, in a country of many zones
    print(  # noqa: T201
        f"{len(walked)} commands, {prompts} prompts, {seconds:.1f} s: "
        + ", ".join(f"{words} {took:.1f}" for words, _, took in walked)
    )


def test_the_lot_has_its_page(path_walked):
    mill = path_walked[0]
    pages = list((mill / "site/customer").glob("*/index.html"))
    assert len(pages) == 1
    words = re.sub(r"<[^>]+>", " ", pages[0].read_text("utf-8"))
    assert "Red oak boards, 4/4" in words
    assert "L26-001" in words
    assert "Alder Brook Timber" in words


def test_the_imported_figures_are_those_of_the_files(path_walked):
    mill = path_walked[0]
    charge = checked_mill(mill).charges["26-001"].record
    assert [board.id for board in charge.boards] == ["S1", "S2", "S3"]
    assert charge.boards[0].sections[0].oven_dry.value == 100.0
    # 2000 g oven-dry at 20.5 % MC is 2410 g: the arithmetic of the minimal mill, by hand
    assert charge.boards[0].green_mass.value == pytest.approx(2410.0)
    assert charge.boards[0].green_mass.entered == "2.41 kg"
    assert len(charge.weighings) == 7
    assert charge.weighings[0].masses["S2"].value == pytest.approx(2110.0 * 1.20)
    assert charge.weighings[6].at.isoformat() == "2026-06-07T08:00:00-04:00"
    assert [reading.mc.value for reading in charge.survey.readings][:3] == [12.1, 12.4, 11.8]
    assert charge.log[0].file == "chamber4.txt"


def test_the_mill_edition_shows_the_charge(path_walked):
    mill: Path = path_walked[0]
    page = (mill / "site/mill/charges/26-001.html").read_text("utf-8")
    assert "chamber4.txt" in page
