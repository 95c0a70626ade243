"""Run the command line with ``python -m kilnfolio``."""

import sys

from kilnfolio.cli import main

if __name__ == "__main__":
    sys.exit(main())
