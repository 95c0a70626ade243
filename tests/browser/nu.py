"""Check HTML files against the HTML standard with the Nu HTML checker."""

import json
import os
import subprocess
from collections.abc import Iterable
from pathlib import Path
from urllib.parse import unquote, urlsplit

JAR = Path(__file__).parent / "checkers/node_modules/vnu-jar/build/dist/vnu.jar"

# Deeply nested tables overflow Java's usual stack; compiling thoroughly does not pay in half a minute.
JAVA = ["java", "-XX:+UseSerialGC", "-XX:TieredStopAtLevel=1", "-Xss8m", "-jar"]


def check_html(paths: Iterable[str | os.PathLike[str]]) -> list[str]:
    """Return the checker's findings, one ``file:line:column: kind: message`` each.

    All files go through one Java process. Errors and warnings are reported, remarks are not.

    Raises
    ------
    ValueError
        No file was given: an empty list of findings would then prove nothing.
    FileNotFoundError
        A file does not exist, or the checker is not installed.
    RuntimeError
        The checker itself failed.
    """
    files = [Path(path).resolve() for path in paths]
    if not files:
        raise ValueError("paths holds no file to check.")
    for file in files:
        if not file.is_file():
            raise FileNotFoundError(f"{file} does not exist.")
    if not JAR.is_file():
        raise FileNotFoundError(f"{JAR} is missing; `sh builder/run test` installs it.")

    run = subprocess.run(
        [*JAVA, JAR, "--format", "json", "--stdout", "--html", "--skip-info-messages", *files],
        capture_output=True,
        text=True,
        check=False,
    )
    try:
        messages = json.loads(run.stdout)["messages"]
    except (json.JSONDecodeError, KeyError) as error:
        raise RuntimeError(
            f"The HTML checker ended with {run.returncode} and no report: {run.stderr.strip()}"
        ) from error
    if run.returncode and not messages:
        raise RuntimeError(f"The HTML checker ended with {run.returncode} but found nothing.")
    return [_line(message) for message in messages]


def _line(message: dict[str, object]) -> str:
    """Return one finding as a line that a terminal or editor can open."""
    place = unquote(urlsplit(str(message.get("url", ""))).path)
    kind = message.get("subType", message["type"])
    line, column = message.get("lastLine", "?"), message.get("firstColumn", "?")
    return f"{place}:{line}:{column}: {kind}: {message['message']}"
