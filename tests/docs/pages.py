"""The commands shown in README, DEVELOPERS.md and the guide, and a person who runs them.

A fenced block ``sh`` holds commands, a block ``text`` after it what they print, and a block
``diff`` a change somebody makes in an editor. In ``text`` and ``diff``, ``…`` matches anything.
A block ``sh exits=1`` ends with that code.
"""

from __future__ import annotations

import contextlib
import functools
import io
import os
import re
import shlex
import socket
import subprocess
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from tests.conftest import PROJECT

from kilnfolio.cli import main

_FENCE = re.compile(r"^```(\w*)(?: +exits=(\d))?[^\n]*\n(.*?)^```$", re.DOTALL | re.MULTILINE)
#: The port that pages name.
_PORT = "8479"
#: Lines that need a shell; any other is run in this process, which is faster.
_SHELL = re.compile(r"[|><;&*$`]|^(?!kilnfolio )")


@dataclass(frozen=True)
class Block:
    """A fenced block of a page."""

    kind: str
    exits: int
    text: str
    line: int


def blocks_of(text: str) -> list[Block]:
    """Return the fenced blocks of a page that mean something to the tests."""
    return [
        Block(match[1], int(match[2] or 0), match[3], text.count("\n", 0, match.start()) + 1)
        for match in _FENCE.finditer(text)
        if match[1] in ("sh", "text", "diff")
    ]


def commands_of(block: Block) -> list[str]:
    """Return the commands of a block, without comments, with continued lines and here-documents
    joined."""
    commands, ends = [], ""
    for line in block.text.splitlines():
        if ends:
            commands[-1] += "\n" + line
            ends = "" if line == ends else ends
        elif commands and commands[-1].endswith("\\"):
            commands[-1] = commands[-1][:-1].rstrip() + " " + line.strip()
        elif line.strip() and not line.startswith("#"):
            commands.append(line)
            if here := re.search(r"<<'?(\w+)'?$", line):
                ends = here[1]
    return commands


@dataclass
class Person:
    """Somebody who follows a page in a folder of their own."""

    home: Path
    cwd: Path
    env: dict[str, str]
    instead: Mapping[str, str] = field(default_factory=dict)
    """Commands that take too long, and what is given in their place; builds then print no PDF."""
    said: str = ""
    done: list[str] = field(default_factory=list)

    def follow(self, blocks: list[Block]) -> None:
        """Do what each block says, and compare what is printed."""
        for block in blocks:
            match block.kind:
                case "sh":
                    self.said = ""
                    commands = commands_of(block)
                    for number, command in enumerate(commands, 1):
                        wanted = block.exits if number == len(commands) else 0
                        code = self.run(command)
                        assert code == wanted, f"line {block.line}: {command}\n{code}\n{self.said}"
                case "text":
                    missing = not_printed(block.text.replace(_PORT, self.port), self.said)
                    assert not missing, f"line {block.line}: no line\n{missing}\nin\n{self.said}"
                case "diff":
                    self.edit(block)

    def run(self, command: str) -> int:
        """Give a command; keep what it prints and return its exit code."""
        self.done.append(command)
        command = command.replace(_PORT, self.port)
        command = self.instead.get(command, command)
        if command == "sh builder/run build":  # which makes an environment and runs this in it
            command = "kilnfolio build"
        if command == "sleep 1":  # wait until the server answers; a second may not be enough
            return self._wait_for_the_server()
        if changed := re.fullmatch(r"cd (\S+)", command):
            self.cwd = (self.cwd / self._expanded(changed[1])).resolve()
            return 0
        if _SHELL.search(re.sub(r"'[^']*'", "", command)) or "\n" in command:
            return self._in_shell(command)
        words = [self._expanded(word) for word in shlex.split(command, comments=True)[1:]]
        if words[0] == "build" and self.instead:
            words.append("--without-pdf")
        out = io.StringIO()
        before = Path.cwd()
        os.chdir(self.cwd)
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
                try:
                    code = main(words)
                except SystemExit as end:  # usage, --help and --version
                    code = int(end.code or 0)
        finally:
            os.chdir(before)
        self.said += out.getvalue()
        return code

    def _in_shell(self, command: str) -> int:
        done = subprocess.run(
            ["bash", "-o", "pipefail", "-c", command],
            cwd=self.cwd,
            text=True,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            env=self.env,
            timeout=600,
        )
        self.said += done.stdout
        return done.returncode

    @functools.cached_property
    def port(self) -> str:
        """A free port, in place of the one that pages name."""
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            return str(free.getsockname()[1])

    def _wait_for_the_server(self) -> int:
        for _ in range(300):
            with (
                contextlib.suppress(OSError),
                socket.create_connection(("127.0.0.1", int(self.port))),
            ):
                return 0
            time.sleep(0.1)
        return 1

    def _expanded(self, word: str) -> str:
        return re.sub(r"^~", str(self.home), word)

    def edit(self, block: Block) -> None:
        """Change a file as a ``diff`` says; its first line names the file."""
        name, *lines = block.text.splitlines()
        path = self.cwd / name.removeprefix("--- ")
        text = path.read_text("utf-8")
        old = [line[1:] for line in lines if line[0] != "+"]
        new = [line[1:] for line in lines if line[0] != "-"]
        found = list(re.finditer(_pattern("\n".join(old)), text))
        assert len(found) == 1, f"line {block.line}: {len(found)} places in {name} for {old}"
        kept = iter(found[0].groups())
        put = re.sub("…", lambda _: next(kept), "\n".join(new))
        path.write_text(text[: found[0].start()] + put + text[found[0].end() :], "utf-8")


def _pattern(text: str) -> str:
    """Return the pattern of whole lines in which every ``…`` is a group."""
    return "(?m:^" + "([^\n]*)".join(map(re.escape, text.split("…"))) + "$)"


def not_printed(shown: str, said: str) -> str:
    """Return the first line shown that was not printed, in this order; empty if all were."""
    printed = iter(line.rstrip() for line in said.splitlines())
    for line in shown.splitlines():
        if line.strip() in ("", "…"):
            continue
        wanted = re.compile(".*".join(map(re.escape, line.rstrip().split("…"))))
        if not any(wanted.fullmatch(one) for one in printed):
            return line
    return ""


def shell_environment(home: Path) -> dict[str, str]:
    """Return an environment in which ``kilnfolio`` and the environment's Python are on the path."""
    tools = home / ".tools"
    tools.mkdir(exist_ok=True)
    program = tools / "kilnfolio"
    program.write_text(f'#!/bin/sh\nexec {sys.executable} -m kilnfolio "$@"\n')
    program.chmod(0o755)
    return {
        "PATH": f"{tools}:{Path(sys.executable).parent}:{os.environ['PATH']}",
        "HOME": str(home),
        "LC_ALL": "C.UTF-8",
        "PYTHONPATH": str(PROJECT / "builder"),
    }
