"""A new mill folder, made from a few answers and the starter library."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import get_args

from kilnfolio.adopt.countries import zones_of
from kilnfolio.adopt.starter import schema_comment, schema_files, starter_files
from kilnfolio.adopt.writing import filled, write_new
from kilnfolio.records.formats import FORMAT
from kilnfolio.records.kiln import Kiln, KilnKind
from kilnfolio.records.mill import Mill
from kilnfolio.records.model import Record
from kilnfolio.records.problems import Place, Problem, RecordProblems
from kilnfolio.records.sheet_words import plain
from kilnfolio.records.validation import validate
from kilnfolio.records.yaml_source import parse_yaml
from kilnfolio.runtime.values import dataclass

#: Placeholders until the mill has an address and a mailbox, in domains reserved by RFC 2606.
NO_ADDRESS, NO_MAIL = "https://records.invalid", "office@records.invalid"

#: The region to propose for a mill, by prefix of its time zone.
_REGION = {
    "America/": "North American",
    "Australia/": "Australasian",
    "Pacific/Auckland": "Australasian",
    "Europe/London": "British",
    "Europe/Dublin": "British",
    "Europe/": "continental",
}


_NOT_KEPT = """\
# Keys stay at the mill; what a build writes can be built again; .kilnfolio holds what undo needs.
/keys/
/site/
/.kilnfolio/
"""


@dataclass(frozen=True)
class Question:
    """A question of `new mill`, which is also an option."""

    key: str
    words: str
    example: str


#: In order. What follows from other answers is not asked; see `derived`.
QUESTIONS = (
    Question("name", "Name of the mill", "Heron Bend Hardwoods"),
    Question("place", "Town and region", "Heron Bend, Ontario"),
    Question("country", "Country", "Canada"),
    Question("time_zone", "Time zone of its clocks", "America/Toronto"),
    Question("altitude", "Height above sea level, in m or ft", "310 m"),
    Question(
        "practice",
        "Whose units, words and rules come first: North American, British, "
        "continental or Australasian",
        "North American",
    ),
    Question("email", "E-mail address customers may write to", "records@mill.example"),
)
#: Place and country are asked in one question.
_WHERE = Question(
    "place", "Town, region and country, with commas between", "Heron Bend, Ontario, Canada"
)
KILN_WORDS = f"Kiln: name, kind ({', '.join(get_args(KilnKind))}), capacity, hottest dry bulb"
KILN_EXAMPLE = "Kiln 1, steam, 42 m³, 85 °C"


def likely_region(zone: str) -> str:
    """Return the region to propose for a time zone; the person decides."""
    return next(
        (region for start, region in _REGION.items() if zone.startswith(start)),
        "North American",
    )


def derived(answers: Mapping[str, str]) -> dict[str, str]:
    """Return the answers that follow from others; `new mill` prints what it assumed.

    The zone, if the whole country has one; the region, from the zone; and a placeholder for the
    mailbox.
    """
    found = {"email": NO_MAIL}
    zones = zones_of(answers.get("country", ""))
    if len(zones) == 1:
        found["time_zone"] = zones[0]
    if zone := answers.get("time_zone") or found.get("time_zone"):
        found["practice"] = likely_region(zone)
    return {key: value for key, value in found.items() if key not in answers}


def answer_problem(key: str, answer: str) -> str:
    """Return why an answer is not valid; empty if it is."""
    model_key = {"email": "contact"}.get(key, key)
    values = {question.key: question.example for question in QUESTIONS} | {key: answer}
    try:
        _checked(_mill_text(values), Mill, "")
    except RecordProblems as error:
        return " ".join(
            _sentence(problem)
            for problem in error.problems
            if problem.what.startswith((key, model_key))
        ) or _sentence(error.problems[0])
    return ""


def kiln_text(words: str, number: int) -> tuple[str, str]:
    """Return the id and record of a kiln given in one line, as in ``Kiln 1, steam, 42 m³, 85 °C``.

    Raises
    ------
    RecordProblems
        It does not have four parts, or a part is not valid.
    """
    parts = [part.strip() for part in words.split(",")]
    identity = re.sub(r"[^a-z0-9]+", "-", plain(parts[0])).strip("-") or f"kiln-{number}"
    if len(parts) != 4:
        raise RecordProblems(
            [
                Problem(
                    parse_yaml(b"", f"kiln {number}").place(),
                    f"'{words}'",
                    "a kiln has four parts separated by commas: name, kind, capacity, hottest",
                    f"Write it as in '{KILN_EXAMPLE}'",
                )
            ]
        )
    values = dict(zip(("name", "kind", "capacity", "hottest"), parts, strict=True), id=identity)
    text = filled("kiln.yaml", values)
    _checked(text, Kiln, f"kiln {number}")
    return identity, text


def mill_files(answers: Mapping[str, str], kilns: Sequence[str]) -> dict[str, str]:
    """Return every file of a new mill folder by path.

    Raises
    ------
    RecordProblems
        An answer is not valid.
    """
    text = _mill_text(answers)
    _checked(text, Mill, "content/mill.yaml")
    files = {}
    for number, words in enumerate(kilns, 1):
        identity, kiln = kiln_text(words, number)
        if f"content/kilns/{identity}.yaml" in files:
            raise RecordProblems(
                [
                    Problem(
                        parse_yaml(b"", f"kiln {number}").place(),
                        f"'{words}'",
                        f"another kiln is called '{identity}' too",
                        "Give every kiln a different name",
                    )
                ]
            )
        files[f"content/kilns/{identity}.yaml"] = schema_comment("kiln", 2) + kiln
    # the mill's own record comes last: until then the folder is not a mill, and the command can be
    # repeated
    return (
        files
        | starter_files()
        | schema_files()
        | {".gitignore": _NOT_KEPT, "content/mill.yaml": schema_comment("mill", 1) + text}
    )


def make_mill(root: Path, answers: Mapping[str, str], kilns: Sequence[str]) -> int:
    """Write a new mill folder; return the number of files.

    Raises
    ------
    RecordProblems
        An answer is not valid, or a file already exists; nothing is written.
    """
    if (root / "content/mill.yaml").exists():
        raise RecordProblems(
            [
                Problem(
                    Place(str(root)),
                    "this folder holds a mill already",
                    "a folder holds one mill",
                    "Name another folder, or add to this mill with 'kilnfolio new kiln' and the others",
                )
            ]
        )
    files = mill_files(answers, kilns)
    write_new(root, files)
    return len(files)


def ask_mill(
    given: Mapping[str, str],
    kilns: Sequence[str],
    ask: Callable[[str], str],
    say: Callable[[str], None],
) -> tuple[dict[str, str], list[str]]:
    """Ask for what the options did not give, repeating until each answer is valid."""
    answers, named = dict(given), list(kilns)
    for question in QUESTIONS:
        if question.key == "place" and not {"place", "country"} & answers.keys():
            answers |= _ask_where(ask, say)
        follows = derived(answers).get(question.key, "")
        if question.key in ("time_zone", "email") and follows:
            continue
        while question.key not in answers:
            answer = (
                ask(f"{question.words} {_hint(question, follows, answers)}: ").strip() or follows
            )
            if not answer:
                continue
            if wrong := answer_problem(question.key, answer):
                say(f"  {wrong}")
            else:
                answers[question.key] = answer
    while not kilns:
        answer = ask(f"{KILN_WORDS} (as in {KILN_EXAMPLE}; empty to end): ").strip()
        if not answer and named:
            break
        if not answer:
            continue
        try:
            kiln_text(answer, len(named) + 1)
        except RecordProblems as error:
            say("  " + " ".join(_sentence(problem) for problem in error.problems))
        else:
            named.append(answer)
    return answers, named


def _ask_where(ask: Callable[[str], str], say: Callable[[str], None]) -> dict[str, str]:
    while True:
        place, comma, country = ask(f"{_WHERE.words} (as in {_WHERE.example}): ").rpartition(",")
        if comma and place.strip() and country.strip():
            return {"place": place.strip(), "country": country.strip()}
        say("  put the country last, after a comma")


def _hint(question: Question, follows: str, answers: Mapping[str, str]) -> str:
    if follows:
        return f"[{follows}]"
    zones = zones_of(answers.get("country", "")) if question.key == "time_zone" else ()
    if zones:
        return f"(it has several: {', '.join(zones)}; or another name of the IANA database)"
    return f"(as in {question.example})"


def _mill_text(answers: Mapping[str, str]) -> str:
    return filled("mill.yaml", {"address": NO_ADDRESS, **answers})


def _checked(text: str, model: type[Record], shown_as: str) -> None:
    assert f"format: {FORMAT}\n" in text
    validate(parse_yaml(text.encode(), shown_as), model)


def _sentence(problem: Problem) -> str:
    """Return a problem without its place, for a person who has just typed the value."""
    return str(problem).split(": ", 1)[1]
