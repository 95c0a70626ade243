"""Run the command line with ``python -m kilnfolio``."""

from kilnfolio.cli import run

if __name__ == "__main__":
    run()
