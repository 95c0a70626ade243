"""`kilnfolio --help` against an interpreter that imports the library of the command line alone."""

from tests.bench.harness import child


def test_help(book):
    book.against(
        "kilnfolio --help",
        lambda: child("-m", "kilnfolio", "--help"),
        "python -c 'import argparse'",
        lambda: child("-c", "import argparse"),
        2.0,
        times=15,
    )
