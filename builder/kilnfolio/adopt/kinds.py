"""Registry of everything that ``kilnfolio new`` can make: its help, options and function."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

from kilnfolio.adopt.copying import copy_schedule
from kilnfolio.adopt.earlier_list import list_options, new_list
from kilnfolio.adopt.keys import key_options, new_keys
from kilnfolio.adopt.mill import (
    KILN_WORDS,
    NO_ADDRESS,
    NO_MAIL,
    QUESTIONS,
    ask_mill,
    derived,
    make_mill,
)
from kilnfolio.adopt.records import TEMPLATES, begin
from kilnfolio.adopt.this_mill import this_mill
from kilnfolio.runtime.values import dataclass

Say = Callable[[str], None]


@dataclass(frozen=True)
class NewKind:
    """Something that `new` can make.

    Attributes
    ----------
    words : str
        Its line in the help.
    example : str
        An example command.
    add_options : callable
        Adds its arguments to a parser.
    run : callable
        Takes the arguments, a function that asks (None if there is nobody to ask) and one that
        prints a line; raises RecordProblems.
    """

    words: str
    example: str
    add_options: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace, Callable[[str], str] | None, Say], None]


class UnansweredError(Exception):
    """A question is open, and there is nobody to ask."""


def _mill_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, help="the new mill's folder")
    for question in QUESTIONS:
        parser.add_argument(
            _option(question.key), help=f"{question.words}, as in '{question.example}'"
        )
    parser.add_argument(
        "--kiln",
        action="append",
        default=[],
        metavar="WORDS",
        help=f"{KILN_WORDS}; once for each kiln",
    )


def _new_mill(arguments: argparse.Namespace, ask: Callable[[str], str] | None, say: Say) -> None:
    answers = {
        question.key: value
        for question in QUESTIONS
        if (value := getattr(arguments, question.key)) is not None
    }
    kilns = arguments.kiln
    if ask:
        answers, kilns = ask_mill(answers, kilns, ask, say)
    follows = derived(answers)
    answers |= follows
    lacking = [_option(question.key) for question in QUESTIONS if question.key not in answers]
    lacking += [] if kilns else ["--kiln"]
    if lacking:
        raise UnansweredError(
            "new mill needs " + ", ".join(lacking) + "; or run it in a terminal, where it asks"
        )
    count = make_mill(arguments.folder, answers, kilns)
    say(
        f"{count} files in {arguments.folder}: the mill, its kilns, and a library of species, "
        "schedules, limits and handbook chapters to edit"
    )
    for key in ("time_zone", "practice"):
        if key in follows:
            say(f"  {key}: {follows[key]} (from the country; change it in content/mill.yaml)")
    no_mail = f", and the e-mail address is {NO_MAIL}" if "email" in follows else ""
    say(
        f"records_address in content/mill.yaml is {NO_ADDRESS}{no_mail}: set "
        f"{'both' if no_mail else 'it'} before a label is printed"
    )
    say(f"next: kilnfolio build {arguments.folder}")


def _record_kind(kind: str) -> NewKind:
    template = TEMPLATES[kind]

    def add_options(parser: argparse.ArgumentParser) -> None:
        parser.add_argument("id", help="the record's id, which is also its file's name")
        parser.add_argument(
            "folder",
            type=Path,
            nargs="?",
            default=this_mill(),
            help="the mill folder (default: the one you are in)",
        )
        for key, words in template.options.items():
            parser.add_argument(_option(key), dest=f"key_{key}", metavar=key.upper(), help=words)
        if kind == "schedule":
            parser.add_argument(
                "--from",
                dest="copied",
                metavar="ID",
                help="copy this schedule, such as a published one, to change it",
            )
            parser.add_argument(
                "--step",
                action="append",
                default=[],
                metavar="'DRY BULB, DEPRESSION, UNTIL'",
                help="a step, as in '43.3 °C, 2.2 K, 50 %%' or '82 °C, 28 K, final'; once for each",
            )

    def run(arguments: argparse.Namespace, ask: Callable[[str], str] | None, say: Say) -> None:
        del ask  # unknown values are marked in the record itself, where their context can be seen
        given = {
            key: value
            for key in template.options
            if (value := getattr(arguments, f"key_{key}")) is not None
        }
        if getattr(arguments, "copied", None):
            name = copy_schedule(
                arguments.folder, arguments.id, arguments.copied, given.get("title")
            )
            say(
                f"{arguments.folder / name} written, a draft: change it, then write who approved it"
            )
            return
        draft = begin(arguments.folder, kind, arguments.id, given, getattr(arguments, "step", ()))
        say(f"{arguments.folder / draft.file} written")
        for key, value in draft.taken.items():
            say(f"  {key}: {value} (the only choice)")
        for problem in draft.to_fill:
            say(f"  {problem}")
        say(
            f"next: {'fill these in, then ' if draft.to_fill else ''}"
            f"kilnfolio check {arguments.folder}"
        )

    return NewKind(template.words, template.example, add_options, run)


def _option(key: str) -> str:
    return "--" + key.replace("_", "-")


#: What `new` makes, by the word after ``new``.
NEW: dict[str, NewKind] = {
    "mill": NewKind(
        "make a mill's folder with a library to start from",
        "kilnfolio new mill ~/our-mill",
        _mill_options,
        _new_mill,
    ),
    "keys": NewKind(
        "make the keys of the mill's seals and of its lots' addresses",
        "kilnfolio new keys ~/our-mill",
        key_options,
        new_keys,
    ),
    "earlier": NewKind(
        "begin the list of charges from before the mill used this program",
        "kilnfolio new earlier",
        list_options,
        new_list,
    ),
    **{kind: _record_kind(kind) for kind in TEMPLATES},
}
