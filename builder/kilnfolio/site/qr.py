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
    image = np.array(code.to_image(scale=1, add_quiet_zones=True))
    return len(image), _strokes(image)


def _strokes(image: np.ndarray) -> str:
    """Return the dark modules as strokes along the middle of each row, row by row."""
    # every row begins and ends light, so the rows can be looked at as one
    edges = np.flatnonzero(np.diff(image.ravel())) + 1
    begins, lengths = edges[::2], np.diff(edges)[::2]
    y, x = np.divmod(begins, len(image))
    across, down = np.diff(x, prepend=x[0]), np.diff(y, prepend=y[0])
    across[1:] -= lengths[:-1]
    strokes = np.column_stack([across, down, lengths])
    return f"M{x[0]} {y[0]}.5" + "m%d %dh%d" * len(strokes) % tuple(strokes.ravel().tolist())
