"""The kiln-side sheet: one page, masses by hand, figures large enough, and the command."""

import copy
import re
from pathlib import Path

import pypdf
import pytest
from tests.conftest import WHOLE
from tests.given import given
from tests.minimal import DROP, minimal_mill
from tests.reviewed import demo_mill

from kilnfolio.paper.sheet import (
    PAPERS,
    SheetTooLongError,
    kiln_sheet,
    sheet_html,
    write_sheet,
)
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.folder import MillFolder
from kilnfolio.rendering.templating import environment

PROJECT = Path(__file__).resolve().parents[2]
#: Points: ISO 216 and ANSI/ASME Y14.1.
SIZES = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
CHARGES = [
    path.parent.name
    for path in sorted(PROJECT.glob("content/charges/*/*/charge.yaml"))
    if "ended: …" not in path.read_text("utf-8")
]


@pytest.fixture(scope="module")
def folder() -> MillFolder:
    return demo_mill()


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("charge", CHARGES if WHOLE else CHARGES[::12])
def test_a_sheet_is_one_page_of_its_paper(folder, charge, paper, tmp_path):
    sheet = kiln_sheet(folder, charge)
    assert write_sheet(sheet, environment(folder.mill.record), tmp_path / "s.pdf", paper) == []
    pdf = pypdf.PdfReader(tmp_path / "s.pdf")
    assert len(pdf.pages) == 1
    box = pdf.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(SIZES[paper], abs=0.5)
    words = re.sub(r"\s+", " ", pdf.pages[0].extract_text())
    assert f"Charge {charge}" in words
    assert "Do not enter a kiln on the strength of this record." in words
    assert "Entrapment and confined space." in words
    for step in sheet.steps:  # no step is lost: its trigger, then its air in both unit systems
        line = (step.label, step.due, *step.dry_bulb, *step.wet_bulb, *step.depression)
        assert " ".join(" ".join(line).split()) in words, step
    for board in sheet.boards:
        assert board.oven_dry in words
        assert all(mass in words for mass in board.masses)


@pytest.mark.parametrize("charge", CHARGES)
def test_masses_agree_with_arithmetic_by_hand_from_the_sections(folder, charge):
    """Sections to mean MC, board to oven-dry mass, oven-dry mass to the mass at each trigger."""
    record = folder.charges[charge].record
    sheet = kiln_sheet(folder, charge)
    assert [board.tag for board in sheet.boards] == [board.id for board in record.boards]
    for board, line in zip(record.boards, sheet.boards, strict=True):
        mcs = [100 * (s.green.value - s.oven_dry.value) / s.oven_dry.value for s in board.sections]
        dry = board.green_mass.value / (1 + sum(mcs) / len(mcs) / 100)
        assert float(line.oven_dry) == pytest.approx(dry, abs=0.51)
        for due, mass in zip(sheet.due, line.masses, strict=True):
            assert float(mass) == pytest.approx(dry * (1 + due.mc_pct / 100), abs=0.51)


def test_the_working_of_the_first_mass_is_on_the_sheet(folder):
    """The printed arithmetic, evaluated from the printed characters, gives the mass in the table."""
    sheet = kiln_sheet(folder, "HB-25-041")
    worked = sheet.worked.replace("\u00a0", " ")
    dry, mc, result = re.search(
        r"([\d.]+) g × \(1 \+ ([\d.]+) % ÷ 100 %\) = ([\d.]+) g", worked
    ).groups()
    assert float(dry) * (1 + float(mc) / 100) == pytest.approx(float(result), abs=0.06)
    assert round(float(result)) == float(sheet.boards[0].masses[0])


def test_steps_and_set_points_are_those_of_the_schedule(folder):
    """T4-D2, upland red oak (from memory): 110 °F and 4 °F to 50 %, 180 °F and 50 °F from 15 %."""
    sheet = kiln_sheet(folder, "HB-25-041")
    first, last = sheet.steps[0], sheet.steps[7]
    assert first.due == "start"
    assert first.dry_bulb == ("110\N{NO-BREAK SPACE}°F", "43.3\N{NO-BREAK SPACE}°C")
    assert first.depression[0] == "4\N{NO-BREAK SPACE}°F"
    assert sheet.steps[1].due == "50\N{NO-BREAK SPACE}%"
    assert (last.due, last.dry_bulb[0]) == ("15\N{NO-BREAK SPACE}%", "180\N{NO-BREAK SPACE}°F")
    assert last.wet_bulb[0] == "130\N{NO-BREAK SPACE}°F"
    assert [step.label for step in sheet.steps[-2:]] == ["equalizing", "conditioning"]
    # target 8 %: driest at 6 % and EMC 6 % (wengert-extension); conditioning 4 points above
    assert sheet.steps[-2].due == "driest 6 %"
    assert sheet.steps[-2].emc == "6.0\N{NO-BREAK SPACE}%"
    # the wet bulb is set to a whole °F, and the EMC printed is that of the pair as set
    assert sheet.steps[-1].emc == "12.1\N{NO-BREAK SPACE}%"
    assert [due.mc_pct for due in sheet.due] == [50, 40, 35, 30, 25, 20, 15, 6, 8]


def test_a_timed_schedule_gives_hours_and_no_triggers(folder):
    sheet = kiln_sheet(folder, "HB-26-015")
    assert sheet.time_based
    assert sheet.steps[1].due == "after 4 h of step 1"
    assert sheet.steps[2].due == "after 20 h of step 2"
    assert [due.label for due in sheet.due] == ["equalize", "target"]


def test_boards_with_sections_are_enough_for_a_sheet(tmp_path):
    """Before the first weighing there is no log, no survey and no step change yet."""
    root = minimal_mill(
        tmp_path,
        charge={"log": DROP, "weighings": DROP, "step_changes": DROP, "survey": DROP},
    )
    folder = checked_mill(root)
    sheet = kiln_sheet(folder, "C1")
    assert write_sheet(sheet, environment(folder.mill.record), tmp_path / "s.pdf") == []
    assert len(pypdf.PdfReader(tmp_path / "s.pdf").pages) == 1
    # board S1: sections 120.7 g and 120.3 g over 100 g, 2410 g when cut: 2000 g oven-dry
    assert (sheet.boards[0].tag, sheet.boards[0].oven_dry) == ("S1", "2000")
    target = sheet.due[-1]
    assert float(sheet.boards[0].masses[-1]) == pytest.approx(
        2000 * (1 + target.mc_pct / 100), abs=1
    )


def test_a_mass_is_given_in_the_unit_it_was_weighed_in(tmp_path):
    def pounds(charge):
        charge["boards"][0]["green_mass"] = "5 lb 5 oz"  # 2410 g

    root = minimal_mill(tmp_path, charge=pounds)
    sheet = kiln_sheet(checked_mill(root), "C1")
    assert sheet.boards[0].unit == "lb"
    assert float(sheet.boards[0].oven_dry) == pytest.approx(2000 / 453.59237, abs=0.011)


def test_figures_are_at_least_eleven_points(folder, tmp_path):
    """Masses and set-points can be read at arm's length; only headings and cautions are smaller."""
    sheet = kiln_sheet(folder, "HB-26-011")
    for paper in PAPERS if WHOLE else ("letter",):
        write_sheet(sheet, environment(folder.mill.record), tmp_path / "s.pdf", paper)
        sizes: dict[str, float] = {}

        def see(text, cm, tm, _font, size, sizes=sizes):
            for word in text.split():
                scale = abs(cm[3] * tm[3])
                sizes[word] = min(sizes.get(word, 99.0), size * scale)

        pypdf.PdfReader(tmp_path / "s.pdf").pages[0].extract_text(visitor_text=see)
        for board in sheet.boards:
            for mass in board.masses:
                assert sizes[mass] >= 11.0, (paper, mass, sizes[mass])


def test_the_sheet_needs_no_colour(folder):
    css = (PROJECT / "builder/kilnfolio/site/assets/sheet.css").read_text()
    assert set(re.findall(r"#[0-9a-f]{3,6}\b|var\(--(?!font)[\w-]+\)", css)) == {"#000"}
    html = sheet_html(
        kiln_sheet(folder, "HB-25-041"), environment(folder.mill.record), "a4", "wide"
    )
    assert "style=" not in html


def test_too_many_boards_for_one_page_are_refused_with_their_number(tmp_path):
    def many(charge):
        first = charge["boards"][0]
        charge["boards"] = [copy.deepcopy(first) | {"id": f"S{n}"} for n in range(1, 60)]
        charge["weighings"] = []

    root = minimal_mill(tmp_path, charge=many)
    folder = checked_mill(root)
    with pytest.raises(SheetTooLongError, match="59 boards"):
        write_sheet(kiln_sheet(folder, "C1"), environment(folder.mill.record), tmp_path / "s.pdf")
    assert not (tmp_path / "s.pdf").exists()


def test_the_command_writes_the_sheet_and_says_where(tmp_path):
    run = given(
        "sheet", "HB-26-040", PROJECT, "--paper", "letter", "--out", "kiln.pdf", cwd=tmp_path
    )
    assert (run.returncode, run.stderr) == (0, "")
    assert "kiln.pdf" in run.stdout
    assert len(pypdf.PdfReader(tmp_path / "kiln.pdf").pages) == 1
    assert given("sheet", "HB-26-040", PROJECT, cwd=tmp_path).returncode == 0
    assert (tmp_path / "HB-26-040-sheet.pdf").is_file()


def test_the_command_reports_an_unknown_charge(tmp_path):
    run = given("sheet", "HB-99-999", PROJECT, cwd=tmp_path)
    assert run.returncode == 2
    assert "there is no charge 'HB-99-999'" in run.stderr
    assert "example: kilnfolio sheet" in given("sheet", "--help", cwd=tmp_path).stdout


def test_the_sheet_of_an_open_charge_has_past_rounds_and_columns_to_its_end(folder, tmp_path):
    sheet = kiln_sheet(folder, "HB-26-042")
    assert write_sheet(sheet, environment(folder.mill.record), tmp_path / "s.pdf", "letter") == []
    pages = [
        re.sub(r"\s+", " ", page.extract_text())
        for page in pypdf.PdfReader(tmp_path / "s.pdf").pages
    ]
    assert len(pages) == 1 + len(sheet.rounds.pages)
    assert "At the round of 15 Oct 07:03: step 4 of 8, controlling MC 32.3" in pages[0]
    assert "sample boards decide" in pages[0]
    last = folder.open_charges["HB-26-042"].so_far.record.weighings[-1]
    columns = [column for page in sheet.rounds.pages for band in page for column in band]
    row = [column for column in columns if column.head[0]][-1]
    assert row.head == ("15 Oct", "07:03", "PQ")
    assert row.masses[0] == f"{last.masses['S1'].value:.0f}"
    free = sum(1 for column in columns if not column.head[0])
    # the demonstration's truth file: 30.5 days in all, so twelve more from its nineteenth
    assert free >= 11
    assert "Do not enter a kiln on the strength of this record." in pages[-1]
