"""The picture of the rooms in DEVELOPERS.md, made from the imports as they are.

``python -m tests.house_map`` writes it anew. An arrow that a longer way implies is left out.
"""

from pathlib import Path

from tests.test_house import ORDER, PROJECT, SOURCES, imported_rooms, room_of

GUIDE = PROJECT / "DEVELOPERS.md"
_BEGIN, _END = "```mermaid\n", "```\n"


def house_map() -> str:
    """Return the rooms and their imports as a Mermaid diagram."""
    needs: dict[str, set[str]] = {room: set() for room in ORDER}
    for path in SOURCES:
        needs[room_of(path)] |= imported_rooms(path) - {room_of(path)}
    below: dict[str, set[str]] = {}
    for room in reversed(ORDER):
        below[room] = needs[room].union(*(below[other] for other in needs[room]))
    lines = ["flowchart TD"]
    for room in ORDER:
        direct = {
            other
            for other in needs[room]
            if not any(other in below[between] for between in needs[room])
        }
        lines += [f"  {room} --> {other}" for other in sorted(direct, key=ORDER.index)]
    return "\n".join(lines) + "\n"


def shown(guide: Path = GUIDE) -> str:
    """Return the diagram that the guide shows."""
    return guide.read_text("utf-8").partition(_BEGIN)[2].partition(_END)[0]


if __name__ == "__main__":
    before, _, rest = GUIDE.read_text("utf-8").partition(_BEGIN)
    GUIDE.write_text(before + _BEGIN + house_map() + _END + rest.partition(_END)[2], "utf-8")
