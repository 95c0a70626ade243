"""What changed between revisions: marked word by word and step by step, also for screen readers."""

import shutil

import pytest
import yaml
from tests.minimal import minimal_records
from tests.site.site import LIBRARY, small_mill

from kilnfolio.handbook.revisions import Block, blocks_of, compare, reworded
from kilnfolio.records.checking import checked_mill
from kilnfolio.records.problems import RecordProblems


def plain(html):
    return str(html).replace('<span class="visually-hidden">', "").replace("</span>", "")


def test_added_and_removed_words_are_marked_and_announced():
    assert plain(reworded("Weigh at noon & daily", "Weigh daily <b>")) == (
        "Weigh <del>[removed: at noon &amp;] </del> daily <ins>[added: &lt;b&gt;] </ins>"
    )


def test_blocks_keep_the_heading_they_belong_to():
    html = '<h2>Why<a class="headerlink">¶</a></h2><p>One.</p><ul><li>Two</li></ul><svg>no</svg>'
    assert blocks_of(html) == [Block("Why", "Why"), Block("One.", "Why"), Block("Two", "Why")]


def test_an_added_or_removed_paragraph_is_not_called_reworded():
    old = [Block("Stack the boards on dry stickers.", "a"), Block("Gone for good.", "a")]
    new = [Block("Stack the boards on dry, even stickers.", "a"), Block("Quite new words", "b")]
    found = list(compare(old, new))
    assert [(one.what, one.heading) for one in found] == [
        ("reworded", "a"),
        ("added", "b"),
        ("removed", "a"),
    ]


def with_revisions(tmp_path, first, second):
    small_mill(tmp_path)
    home = tmp_path / "schedules/superseded/red-oak-4-4"
    home.mkdir(parents=True)
    (home / "1.yaml").write_text(yaml.safe_dump(first, allow_unicode=True), "utf-8")
    shutil.copy(LIBRARY / "sources.yaml", tmp_path / "schedules/sources.yaml")
    current = tmp_path / "schedules/hardwood/red-oak-4-4.yaml"
    current.write_text(yaml.safe_dump(second, allow_unicode=True), "utf-8")
    return tmp_path


def test_an_inserted_step_does_not_mark_all_later_steps_as_changed(tmp_path):
    after = {**minimal_records()["schedule"], "revision": 2}
    before = {**after, "revision": 1, "steps": after["steps"][1:]}
    assert len(before["steps"]) >= 1
    root = with_revisions(tmp_path, before, after)
    from kilnfolio.records.setpoints import planned_steps
    from kilnfolio.site.pages.schedule_changes import _pairs

    folder = checked_mill(root)
    new = folder.schedules["red-oak-4-4"].record
    old = folder.superseded["red-oak-4-4"][0].record
    before, after = (planned_steps(one, one.steps, 1e5) for one in (old, new))
    pairs = list(_pairs(str, before, after))
    assert len(pairs) == len(new.steps)
    assert [pair.words == "" for pair in pairs[2:]] == [True] * (len(pairs) - 2)


@pytest.mark.parametrize("change", [{"revision": 2}, {"id": "other"}, {"revision": 3}])
def test_an_earlier_revision_in_the_wrong_place_is_refused(tmp_path, change):
    after = {**minimal_records()["schedule"], "revision": 2}
    root = with_revisions(tmp_path, {**after, "revision": 1, **change}, after)
    with pytest.raises(RecordProblems, match=r"superseded/red-oak-4-4/1\.yaml"):
        checked_mill(root)
