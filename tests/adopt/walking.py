"""A mill's way from an empty folder to a label, by commands only, and counted."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from kilnfolio.cli import main


@dataclass
class Walk:
    """What somebody types, by phase: ``mill`` once, ``charge`` per charge, ``day`` per round."""

    phase: str = "mill"
    commands: Counter[str] = field(default_factory=Counter)
    prompts: Counter[str] = field(default_factory=Counter)
    lines: Counter[str] = field(default_factory=Counter)
    files: Counter[str] = field(default_factory=Counter)
    codes: list[tuple[str, int]] = field(default_factory=list)

    def run(self, *words: object, answers: tuple[str, ...] = ()) -> int:
        """Give a command, which is one line; answer its questions, a line each."""
        given = iter(answers)

        def answer(_: str) -> str:
            self.prompts[self.phase] += 1
            self.lines[self.phase] += 1
            return next(given)

        with pytest.MonkeyPatch.context() as patch:
            for module in ("new", "importing", "arguments"):
                patch.setattr(f"kilnfolio.cli.{module}.asker", lambda: answer if answers else None)
            code = main([str(word) for word in words])
        self.commands[self.phase] += 1
        self.lines[self.phase] += 1
        self.codes.append((" ".join(map(str, words[:3])), code))
        return code

    def edit(self, path: Path, text: str, lines: int) -> None:
        """Write into a file by hand, and count the lines."""
        path.write_text(text, "utf-8")
        self.files[self.phase] += 1
        self.lines[self.phase] += lines

    def counts(self, phase: str) -> dict[str, int]:
        """Return what a phase took."""
        return {
            name: getattr(self, name)[phase] for name in ("commands", "prompts", "lines", "files")
        }

    def told(self, path: str) -> str:
        """Return the counts in a line."""
        return f"{path}: " + "; ".join(
            f"{phase} " + ", ".join(f"{count} {what}" for what, count in self.counts(phase).items())
            for phase in ("mill", "charge", "day")
        )
