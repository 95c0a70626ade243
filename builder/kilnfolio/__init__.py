"""Kiln-drying records made into a handbook, lot pages and an archive that can be recomputed."""

__version__ = "0.2.0"
