"""How a wheel and an sdist gain the starter library, which has its one home outside the package.

``schedules/`` and ``content/handbook/`` are edited where a mill keeps them. A build copies them to
``kilnfolio/starter/``, from where ``kilnfolio new mill`` takes them. Installed with ``--editable``,
the package finds them in the source tree instead.
"""

from __future__ import annotations

from pathlib import Path

from setuptools.command.build_py import build_py
from setuptools.command.sdist import sdist

ROOT = Path(__file__).resolve().parent.parent
#: What the starter holds: a folder of the source tree, and its place below ``kilnfolio/starter``.
STARTER = {"schedules": "schedules", "content/handbook": "handbook"}
SUFFIXES = {".yaml", ".md", ".svg"}


def starter_files() -> dict[str, str]:
    """Return the files of the starter: path in the source tree to path below ``kilnfolio/starter``.

    Raises
    ------
    FileNotFoundError
        A folder holds none: the wheel would make mills without a library.
    """
    found = {}
    for folder, home in STARTER.items():
        files = [path for path in sorted((ROOT / folder).rglob("*")) if path.suffix in SUFFIXES]
        if not files:
            raise FileNotFoundError(f"{ROOT / folder} holds nothing to package")
        for path in files:
            below = path.relative_to(ROOT / folder).as_posix()
            found[f"{folder}/{below}"] = f"{home}/{below}"
    return found


class BuildPy(build_py):
    """Build the package with its starter."""

    def run(self) -> None:
        """Build the modules, then copy the starter beside them."""
        super().run()
        if self.editable_mode:
            return
        for source, target in self._starter().items():
            self.mkpath(str(Path(target).parent))
            self.copy_file(str(ROOT / source), target, preserve_mode=False)

    def get_outputs(self, include_bytecode: bool = True) -> list[str]:
        """Return every file a build writes, the starter's among them."""
        starter = [] if self.editable_mode else list(self._starter().values())
        return [*super().get_outputs(include_bytecode), *starter]

    def get_source_files(self) -> list[str]:
        """Return every file an sdist needs, the starter's and this one among them."""
        return [*super().get_source_files(), *starter_files(), "builder/build_commands.py"]

    def _starter(self) -> dict[str, str]:
        return {
            source: str(Path(self.build_lib) / "kilnfolio/starter" / target)
            for source, target in starter_files().items()
        }


class Sdist(sdist):
    """Pack what a wheel is built from, and no more."""

    def make_release_tree(self, base_dir: str, files: list[str]) -> None:
        """Leave out the few tests that setuptools adds: they need the rest of the source tree."""
        kept = [name for name in files if Path(name).parts[0] != "tests"]
        super().make_release_tree(base_dir, kept)
