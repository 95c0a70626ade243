"""The small mill's site, built once."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from kilnfolio.archive.checking import read_ledger
from kilnfolio.archive.ledger import Ledger
from kilnfolio.archive.tokens import lot_token, read_token_key


@dataclass(frozen=True)
class Built:
    """A mill folder and its site."""

    root: Path
    site: Path

    @property
    def token(self) -> str:
        return lot_token("L1", read_token_key(self.root, invented=True))

    @property
    def lot(self) -> Path:
        """The folder of the lot's page."""
        return self.site / "customer" / self.token

    @property
    def ledger(self) -> Ledger:
        return read_ledger(self.root)


@pytest.fixture(scope="session")
def built(amended_site: Path) -> Built:
    return Built(amended_site, amended_site / "site")
