"""Practice problems in a browser: numbers, hints and answers as the build worked them out."""

import re

import pytest
from playwright.sync_api import expect
from tests.browser.kinds import addresses
from tests.reviewed import demo_mill

from kilnfolio.review.limits import LimitTable
from kilnfolio.training.kinds import by_topic
from kilnfolio.training.pages import SETS, sets_of
from kilnfolio.training.problem import KINDS

FIRST = next(iter(by_topic().values()))[0]


@pytest.fixture(scope="module")
def worked():
    """Return every set of numbers of the first problem, its question and its answer in words."""
    limits = LimitTable(demo_mill().limits.record)
    return [(words(problem.ask), words(problem.answer)) for problem in sets_of(FIRST, limits, SETS)]


def words(html: str) -> str:
    return "".join(re.sub(r"<[^>]+>", "", str(html)).split())


def shown(page) -> tuple[str, str]:
    problem = page.locator(f"#{FIRST.slug}")
    return (
        "".join(problem.locator(".asked").text_content().split()),
        "".join(problem.locator(".worked").text_content().split()),
    )


def test_new_numbers_cycle_through_every_set(page, demo_site, worked):
    page.goto(addresses(demo_site)["practice"])
    problem = page.locator(f"#{FIRST.slug}")
    assert len(set(worked)) == SETS
    for asked, answer in [*worked[1:], worked[0]]:
        problem.get_by_role("button", name="New numbers").click()
        assert shown(page) == (asked, answer)
    expect(problem).to_contain_text("set 1 of", use_inner_text=True)


def test_answers_stay_folded_until_opened_and_after_new_numbers(page, demo_site):
    page.goto(addresses(demo_site)["practice"] + "?answers=open")
    problem = page.locator(f"#{FIRST.slug}")
    answer = problem.locator(".worked")
    expect(answer).to_be_hidden()
    problem.get_by_text("Hint", exact=True).click()
    assert problem.locator("details").first.inner_text().count("\n") >= 1
    problem.get_by_text("Answer", exact=True).click()
    expect(answer).to_be_visible()
    problem.get_by_role("button", name="New numbers").click()
    expect(answer).to_be_hidden()


def test_new_numbers_apply_to_every_problem_and_an_address_opens_a_set(page, demo_site, worked):
    page.goto(addresses(demo_site)["practice"])
    before = page.locator(".asked").all_text_contents()
    page.get_by_role("button", name="New numbers everywhere").click()
    after = page.locator(".asked").all_text_contents()
    assert len(before) == len(KINDS)
    assert all(old != new for old, new in zip(before, after, strict=True))
    page.goto(addresses(demo_site)["practice"] + "?set=3")
    assert shown(page) == worked[2]


def test_without_script_the_first_set_is_shown_and_no_dead_button(browser, demo_site, worked):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(addresses(demo_site)["practice"])
    assert shown(page) == worked[0]
    expect(page.get_by_role("button", name="New numbers everywhere")).to_have_count(0)
    context.close()
