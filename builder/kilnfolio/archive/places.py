"""Where the ledger and what is kept with it lie in a mill folder."""

from __future__ import annotations

from pathlib import Path

LEDGER = Path("content/ledger/ledger.jsonl")
DOSSIERS = Path("content/ledger/dossiers")
LOTS = Path("content/ledger/lots")
KEPT = Path("content/ledger/kept")


def dossier_path(charge: str, ordinal: int) -> Path:
    """Return the path of a charge's sealed dossier by its ordinal, from 1."""
    return DOSSIERS / f"{charge}-{ordinal}.json"


def lot_record_path(lot: str, ordinal: int) -> Path:
    """Return the path of a lot's sealed record by its ordinal, from 1."""
    return LOTS / f"{lot}-{ordinal}.json"
