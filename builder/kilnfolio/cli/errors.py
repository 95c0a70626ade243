"""Exit codes, and how commands report errors."""

from __future__ import annotations

import errno
import os
import sys

TYPE_CHECKING = False  # saves importing typing, to keep 'kilnfolio --help' fast
if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from kilnfolio.records.problems import RecordProblems

#: Exit codes: success; findings or differences; bad input or usage; a fault in the program
#: (EX_SOFTWARE of BSD's sysexits.h); stopped by Ctrl-C; stopped by SIGTERM, as by `kill`.
OK, FINDINGS, ERROR, FAULT, INTERRUPTED, TERMINATED = 0, 1, 2, 70, 130, 143
#: Exit codes of an audit by verdict: recomputed and identical; identical, but no key was given;
#: something could not be confirmed; something differs.
AUDITED = {"identical": OK, "identical, key not confirmed": 3, "incomplete": 4, "differs": FINDINGS}


def exit_code(act: Callable[[], int], argv: Sequence[str]) -> int:
    """Run a command, report any error, and return its exit code.

    Parameters
    ----------
    act : callable
        The command. Returns its own exit code.
    argv : sequence of str
        Its words, for the report of a fault.
    """
    try:
        return act()
    except KeyboardInterrupt:
        print("kilnfolio: stopped; the site is as it was", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        # the reader, such as head, has closed the pipe; keep Python from reporting that at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK
    except EOFError:
        print("\nkilnfolio: stopped; nothing was written", file=sys.stderr)
        return ERROR
    except OSError as error:
        name = f"{error.filename}: " if error.filename else ""
        print(
            f"kilnfolio: {name}{(error.strerror or str(error)).lower()}{_advice(error)}",
            file=sys.stderr,
        )
        return ERROR
    except MemoryError:
        print(
            "kilnfolio: this computer has too little memory; nothing was left half-written. "
            "Close other programs, or use fewer processes, as in build --workers 1",
            file=sys.stderr,
        )
        return ERROR
    except Exception as error:
        from kilnfolio.graph.derived import BlockedError
        from kilnfolio.records.problems import RecordProblems

        if isinstance(error, RecordProblems):
            return print_problems(error)
        if isinstance(error, BlockedError) and error.causes:
            return print_problems(RecordProblems(error.causes))
        from kilnfolio.cli.fault import tell_fault

        tell_fault(error, list(argv))
        return FAULT


def _advice(error: OSError) -> str:
    """Return advice on a common error of the operating system; empty for any other."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return ": free some space and try again; the existing files are intact"
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return (
            ": you are not allowed to read or write it. If it is open in another program, "
            "close it there; otherwise ask whoever keeps this computer, or name another folder"
        )
    return ""


def print_problems(error: RecordProblems) -> int:
    """Print every problem of the records and return the exit code."""
    problems = error.problems
    for problem in problems:
        print(problem, file=sys.stderr)
    print(
        f"kilnfolio: {len(problems)} problem{'s' if len(problems) != 1 else ''} to mend; "
        "nothing was written",
        file=sys.stderr,
    )
    return ERROR


def print_reasons(*reasons: str, code: int = FINDINGS) -> int:
    """Print why a command was refused, one reason per line, and return the exit code."""
    for reason in reasons:
        print(f"kilnfolio: {reason}", file=sys.stderr)
    return code


def print_json(data: object) -> None:
    """Print data for another program."""
    import json

    print(json.dumps(data, indent=1, ensure_ascii=False))


def print_no_charge(root: Path, charge: str) -> int:
    """Report that there is no such charge, and suggest one with a similar number."""
    import difflib

    numbers = [path.parent.name for path in (root / "content/charges").glob("*/*/charge.yaml")]
    near = difflib.get_close_matches(charge, numbers, n=1, cutoff=0.4)
    print(
        f"kilnfolio: there is no charge '{charge}' in {root}"
        + (f"; did you mean '{near[0]}'?" if near else ""),
        file=sys.stderr,
    )
    return ERROR
