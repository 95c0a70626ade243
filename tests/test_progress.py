"""What a person at a terminal, and what a log file, is told of a long run."""

import io
import itertools

import pytest

from kilnfolio.runtime.progress import Progress, duration


class Terminal(io.StringIO):
    def isatty(self):
        return True


def told(stream, seconds_each, total=1000):
    now = [0.0]
    progress = Progress(stream, lambda: now[0])
    for done in range(total + 1):
        progress("print", done, total)
        now[0] += seconds_each
    return stream.getvalue()


def test_a_pipe_gets_plain_lines_ten_seconds_apart():
    lines = told(io.StringIO(), 0.125).splitlines()  # 125 s in all
    assert len(lines) == 14
    assert lines[0] == "kilnfolio: print: 0 of 1,000"
    assert lines[5] == "kilnfolio: print: 400 of 1,000, 8/s, 75 s left"
    assert lines[-1] == "kilnfolio: print: 1,000 of 1,000, 8/s"
    assert not any("\r" in line for line in lines)


def test_a_terminal_gets_one_line_written_over():
    text = told(Terminal(), 0.03125)
    assert text.count("\n") == 1
    assert text.endswith("\n")
    shown = text.rstrip("\n").split("\r")[1:]
    assert 200 < len(shown) < 320  # ten a second for 31 s
    assert "500 of 1,000, 32/s, 16 s left" in text
    assert all(len(line) >= len(before.rstrip()) for before, line in itertools.pairwise(shown))


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.4, "0 s"), (89, "89 s"), (90, "2 min"), (3600, "60 min"), (11100, "3 h 05 min")],
)
def test_times_are_said_as_a_person_would(seconds, words):
    assert duration(seconds) == words


def test_no_time_left_is_promised_from_the_first_slow_item():
    """A hundred items: the first takes 20 s while processes start, the rest 0.1 s each."""
    now, stream = [0.0], io.StringIO()
    progress = Progress(stream, lambda: now[0])
    progress("pages", 0, 100)
    now[0] = 20.0
    progress("pages", 1, 100)
    assert "left" not in stream.getvalue()


def test_who_asks_is_told_how_long_each_part_took():
    now = iter([0.0, 12.5])
    stream = io.StringIO()
    progress = Progress(stream, lambda: next(now), verbose=True)
    progress("print", 0, 2)
    progress("print", 2, 2)
    assert stream.getvalue().splitlines()[-1] == "kilnfolio: print: 2 of 2, 0.16/s, 12.5 s"
