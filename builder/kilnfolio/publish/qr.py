"""QR codes that lead from a pack to its lot's record."""

from __future__ import annotations

import segno
from markupsafe import Markup

#: Light modules around the code (ISO/IEC 18004, 9.1: four).
QUIET_ZONE = 4
#: Error correction M recovers about 15 % of the code (ISO/IEC 18004, 6.5.1): labels get dirty.
ERROR_CORRECTION = "m"


def lot_address(records_address: str, token: str) -> str:
    """Return the address of a lot's record."""
    return f"{records_address.rstrip('/')}/{token}/"


def labelled(address: str, digits: str) -> str:
    """Return the address a label carries: the record's, and after ``#`` the seal it is to bear."""
    return f"{address}#{digits}" if digits else address


def qr_svg(address: str, title: str) -> Markup:
    """Return a QR code as an inline drawing without a size of its own.

    Parameters
    ----------
    address : str
        Where it leads.
    title : str
        What it is, for those who cannot see it.
    """
    code = segno.make(address, error=ERROR_CORRECTION, micro=False, boost_error=False)
    drawing = code.svg_inline(
        border=QUIET_ZONE,
        omitsize=True,
        svgclass=None,
        lineclass=None,
        title=title,
        dark="#000",
        light=None,
    )
    return Markup(drawing.strip().replace("<svg ", '<svg role="img" ', 1))
