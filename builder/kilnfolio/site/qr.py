"""QR codes that lead from a pack to its lot's record."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from markupsafe import Markup, escape
from zxingcpp import BarcodeFormat, create_barcode

#: Labels get dirty: error correction M recovers about 15 % of the code (ISO/IEC 18004, 6.5.1).
ERROR_CORRECTION = "M"


def lot_address(records_address: str, token: str) -> str:
    """Return the address of a lot's record."""
    return f"{records_address.rstrip('/')}/{token}/"


def labelled(address: str, digits: str) -> str:
    """Return the address on a label: the record's, then ``#`` and the seal the record must bear."""
    return f"{address}#{digits}" if digits else address


def qr_svg(address: str, title: str) -> Markup:
    """Return a QR code as an inline drawing without a size of its own.

    It has the quiet zone of four light modules that ISO/IEC 18004, 9.1 requires.

    Parameters
    ----------
    address : str
        The address it encodes.
    title : str
        A description for those who cannot see it.
    """
    size, rows = _code(address)
    return Markup(
        f'<svg role="img" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}">'
        f'<title>{escape(title)}</title><path stroke="#000" d="{rows}"/></svg>'
    )


@lru_cache(maxsize=16)
def _code(address: str) -> tuple[int, str]:
    """Return the width of a code in modules and its path; two pages of a lot print the same."""
    code = create_barcode(address, BarcodeFormat.QRCode, ec_level=ERROR_CORRECTION)
    dark = np.array(code.to_image(scale=1, add_quiet_zones=True)) == 0
    return len(dark), _rows(dark)


def _rows(dark: np.ndarray) -> str:
    """Return the dark modules as strokes along the middle of each row, row by row."""
    edges = np.diff(dark.astype(np.int8), axis=1)
    begins, ends = (np.argwhere(edges == way) + np.array([0, 1]) for way in (1, -1))
    lengths = (ends - begins)[:, 1]
    moves = np.diff(begins, axis=0, prepend=begins[:1])
    moves[1:, 1] -= lengths[:-1]
    strokes = np.column_stack([moves[:, ::-1], lengths])
    top, left = begins[0]
    return f"M{left} {top}.5" + "m%d %dh%d" * len(strokes) % tuple(strokes.ravel().tolist())
