"""`kilnfolio --help` against an interpreter that imports the library of the command line alone."""

from tests.bench.harness import child

TURNS = 15


def test_help(book):
    turns = [
        (child("-c", "import argparse")[0], child("-m", "kilnfolio", "--help"))
        for _ in range(TURNS)
    ]
    book.programs("kilnfolio --help", turns, "python -c 'import argparse'", 2.0)
