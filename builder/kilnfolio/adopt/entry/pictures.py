"""What the QR codes in a picture say, read in a process that gets little time and memory.

A picture is read by libraries written in C, and a small file can unpack to any size. Whatever one
does there, it ends that process and not the command.
"""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import warnings
from contextlib import suppress

#: The largest file looked at [bytes]: several times what a telephone's camera writes.
MAX_BYTES = 40 * 1024 * 1024
#: Formats that cameras and screenshots write.
_FORMATS = ("JPEG", "PNG", "WEBP", "BMP", "TIFF")
#: The largest picture [pixels]: no telephone's camera takes a larger one. Only a JPEG can be read
#: at a part of its size; any other is unpacked whole, and a screen has far fewer.
_MAX_PIXELS, _MAX_UNPACKED = 120_000_000, 40_000_000
#: A picture is looked at no larger than this along its longer side [pixels]; a code needs 300.
_LOOKED_AT = 3000
#: What a picture may take: processor seconds, bytes of memory with the libraries, and seconds.
_SECONDS, _MEMORY, _PATIENCE = 10, 1024**3, 120


class NoCodesError(Exception):
    """No codes can be had from a picture; the message says why."""


def codes_in(raw: bytes) -> list[str]:
    """Return what the QR codes in a picture say, looked at in a process of its own.

    Parameters
    ----------
    raw : bytes
        The picture's file.

    Raises
    ------
    NoCodesError
        It is no picture, too large, or takes too much time or memory.
    """
    try:
        # -P: nothing that lies in the folder of the moment is taken for a library
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
    """Return what the QR codes in a picture say; see `codes_in`, which bounds what this takes.

    Raises
    ------
    NoCodesError
        It is no picture, or too large.
    """
    import numpy as np
    from PIL import Image
    from zxingcpp import BarcodeFormat, BarcodeFormats, read_barcodes

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of large pictures, and of marks that do not fit
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
    except Exception:  # a damaged picture makes the library raise whatever it meets first
        raise NoCodesError("it is no picture, or was cut off") from None
    codes = read_barcodes(
        np.ascontiguousarray(grey), formats=BarcodeFormats([BarcodeFormat.QRCode])
    )
    return [code.text for code in codes]


def _main() -> None:
    with suppress(ImportError):  # Windows has no such limits; the parent's patience ends it
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
