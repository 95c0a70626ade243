"""Reads the QR codes in a picture, in a process with limited time and memory.

Libraries written in C decode the picture, and a small file can unpack to any size. Whatever a file
does, it can end only that process, not the command.
"""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import warnings
from contextlib import suppress

#: The largest file accepted [bytes]: several times what a phone's camera writes.
MAX_BYTES = 40 * 1024 * 1024
#: Formats of cameras and screenshots.
_FORMATS = ("JPEG", "PNG", "WEBP", "BMP", "TIFF")
#: The largest JPEG and the largest other picture [pixels]: no phone's camera takes a larger one.
#: Only a JPEG can be decoded at a reduced size; any other is decoded in full, and a screenshot has
#: far fewer pixels.
_MAX_PIXELS, _MAX_UNPACKED = 120_000_000, 40_000_000
#: Pictures are scaled down to this along their longer side [pixels]; a code needs 300.
_LOOKED_AT = 3000
#: Limits for one picture: processor seconds, bytes of memory including libraries, and elapsed
#: seconds.
_SECONDS, _MEMORY, _PATIENCE = 10, 1024**3, 120


class NoCodesError(Exception):
    """No codes can be read from a picture; the message says why."""


def codes_in(raw: bytes) -> list[str]:
    """Return the texts of the QR codes in a picture, read in a separate process.

    Parameters
    ----------
    raw : bytes
        The bytes of the picture's file.

    Raises
    ------
    NoCodesError
        It is not a picture, is too large, or takes too much time or memory.
    """
    try:
        # -P: do not import libraries from the current folder
        done = subprocess.run(
            [sys.executable, "-P", "-m", __name__],
            input=raw,
            capture_output=True,
            timeout=_PATIENCE,
            check=False,
            env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},
        )
        said = json.loads(done.stdout)
    except (subprocess.TimeoutExpired, ValueError):
        raise NoCodesError("it takes too much time or memory to be read") from None
    if isinstance(said, str):
        raise NoCodesError(said)
    return [str(text) for text in said]


def look(raw: bytes) -> list[str]:
    """Return the texts of the QR codes in a picture; `codes_in` runs this within limits.

    Raises
    ------
    NoCodesError
        It is not a picture, or is too large.
    """
    import numpy as np
    from PIL import Image
    from zxingcpp import BarcodeFormat, BarcodeFormats, read_barcodes

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about large pictures, and metadata that does not fit
            with Image.open(io.BytesIO(raw), formats=_FORMATS) as picture:
                most = _MAX_PIXELS if picture.format == "JPEG" else _MAX_UNPACKED
                if picture.width * picture.height > most:
                    raise NoCodesError(f"it has more than {most // 1_000_000} million pixels")
                picture.draft("L", (_LOOKED_AT, _LOOKED_AT))
                picture.thumbnail((_LOOKED_AT, _LOOKED_AT))
                grey = np.asarray(picture.convert("L"))
    except (NoCodesError, MemoryError):
        raise
    except Image.DecompressionBombError:
        raise NoCodesError("it has more pixels than any camera's picture") from None
    except Exception:  # a damaged picture can make the library raise anything
        raise NoCodesError("it is not a picture, or is incomplete") from None
    codes = read_barcodes(
        np.ascontiguousarray(grey), formats=BarcodeFormats([BarcodeFormat.QRCode])
    )
    return [code.text for code in codes]


def _main() -> None:
    with suppress(ImportError):  # Windows has no such limits; the parent's timeout ends the process
        import resource

        resource.setrlimit(resource.RLIMIT_CPU, (_SECONDS, _SECONDS))
        resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
        resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    try:
        said: list[str] | str = look(sys.stdin.buffer.read())
    except NoCodesError as error:
        said = str(error)
    sys.stdout.write(json.dumps(said))


if __name__ == "__main__":
    _main()
