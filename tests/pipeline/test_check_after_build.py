"""``check`` takes from the last build what has not changed, and says what it says without it."""

import pytest
from tests.minimal import minimal_mill

from kilnfolio.cli import main
from kilnfolio.pipeline.build import build_site
from kilnfolio.review import reviews


@pytest.fixture
def mill(tmp_path):
    root = minimal_mill(tmp_path / "mill")
    build_site(root, root / "site", workers=1, pdfs=False)
    return root


@pytest.fixture
def reviewed(monkeypatch):
    """The charges that were reviewed."""
    done, review = [], reviews.review_charge

    def counted(folder, number, *rest):
        done.append(number)
        return review(folder, number, *rest)

    monkeypatch.setattr(reviews, "review_charge", counted)
    return done


def said(root, capsys, *words):
    capsys.readouterr()
    code = main(["check", str(root), "--all", *words])
    return code, *capsys.readouterr()


def test_nothing_is_reviewed_again_unless_asked(mill, reviewed, capsys):
    kept = said(mill, capsys)
    assert reviewed == []
    assert said(mill, capsys, "--fresh") == kept
    assert reviewed != []


def test_a_changed_record_is_reviewed_again(mill, reviewed, capsys):
    before = said(mill, capsys)
    (charge,) = mill.glob("content/charges/**/charge.yaml")
    text = charge.read_text("utf-8")
    charge.write_text(text.replace("weighings:\n", "notes_unknown: 1\nweighings:\n"), "utf-8")
    broken = said(mill, capsys)
    assert broken[0] == 2
    assert "notes_unknown" in broken[2]
    reviewed.clear()
    charge.write_text(text.replace(" g\n", " g \n", 1), "utf-8")
    assert said(mill, capsys) == before
    assert reviewed != []
