"""Lesson paths and exams: links have targets, papers differ by seed, no paper shows an answer."""

from __future__ import annotations

import re

import pytest
from tests.conftest import PROJECT
from tests.reviewed import demo_mill

from kilnfolio.handbook.chapter import read_manuscript
from kilnfolio.handbook.pages import plain_words
from kilnfolio.paper.exam import exam_html
from kilnfolio.records.problems import RecordProblems
from kilnfolio.rendering.templating import environment
from kilnfolio.review.limits import limit_table
from kilnfolio.training.lessons import LESSONS, exam, read_lessons
from kilnfolio.training.lessons_page import path_views
from kilnfolio.training.problem import make_problem


@pytest.fixture(scope="module")
def folder():
    return demo_mill()


@pytest.fixture(scope="module")
def lessons(folder):
    return read_lessons(folder.root, read_manuscript(folder.root)[0])


def test_each_reader_has_paths_of_an_hour_a_day_and_a_week(lessons):
    assert {(one.who, one.length) for one in lessons} == {
        (who, length)
        for who in ("beginner", "operator", "customer-facing")
        for length in ("one hour", "one day", "one week")
    }


def test_every_link_of_a_path_has_a_target(folder):
    for view in path_views(folder):
        assert len(view.reading) == len(view.lesson.reading)
        assert all(one.target.startswith("handbook/") for one in view.reading)
        assert view.lesson.outcomes


def test_the_same_seed_gives_the_same_paper_and_another_seed_a_different_one(folder, lessons):
    for lesson in lessons:
        papers = [exam(folder, lesson, seed) for seed in (1, 1, 2)]
        asked = [[question.exercise.ask for question in paper.questions] for paper in papers]
        assert asked[0] == asked[1]
        assert all(a != b for a, b in zip(asked[0], asked[2], strict=True))
        assert len(asked[0]) == lesson.test.problems
        assert len(set(asked[0])) == lesson.test.problems
        assert papers[0].pass_marks <= papers[0].marks


def test_no_exam_question_is_on_the_page_of_problems(folder, lessons):
    limits = limit_table(folder)
    for question in exam(folder, lessons[0], 1).questions:
        assert question.exercise.seed >= 2**30  # the last set that practice.js shows is 2**30
        shown = make_problem(question.exercise.kind, 0, limits)
        assert question.exercise.ask != shown.ask


def test_the_paper_has_no_answers_and_the_key_has_all(folder, lessons):
    env = environment(folder.mill.record)
    paper = exam(folder, lessons[4], 3)
    asked, key = (exam_html(paper, env, answers=answers) for answers in (False, True))
    for question in paper.questions:
        assert str(question.exercise.ask) in asked
        assert str(question.exercise.answer) in key
        assert str(question.exercise.answer) not in asked
        last = list(question.exercise.board.results.values())[-1].text
        told = plain_words(question.exercise.ask)
        if last not in told:
            assert last not in re.sub(re.escape(told), "", plain_words(asked)) or len(last) < 6


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("reading: [why-season,", "reading: [why-seasn,"), "there is no chapter of this address"),
        (("safety#entrapment", "safety#entrapmnt"), "the chapter has no such section"),
        (("exercises: [section-mc, water", "exercises: [section-mx, water"), "no problem of this"),
        (("pass_marks: 60}", "pass_marks: 160}"), "pass_marks"),
    ],
)
def test_a_mistake_in_the_paths_is_reported_at_its_place(tmp_path, folder, change, said):
    text = (PROJECT / LESSONS).read_text("utf-8")
    assert change[0] in text
    target = tmp_path / LESSONS
    target.parent.mkdir(parents=True)
    target.write_text(text.replace(*change, 1), "utf-8")
    with pytest.raises(RecordProblems) as refused:
        read_lessons(tmp_path, read_manuscript(folder.root)[0])
    assert any(
        said in str(problem) and f"{LESSONS}:" in str(problem) for problem in refused.value.problems
    )
