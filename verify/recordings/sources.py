"""Opening the files of recordings: what cannot be opened is said as everywhere else."""

from __future__ import annotations

import os
import stat
from typing import BinaryIO, TextIO

from verify.recordings.recording import RecordingError, shown_path

WANTED = "a recording as .csv, .vcd or .json"


def _check(path: str) -> None:
    shown = shown_path(path)
    try:
        mode = os.stat(path).st_mode
    except FileNotFoundError:
        raise RecordingError(shown, 0, "no such file", WANTED) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise RecordingError(shown, 0, f"that it cannot be read ({reason})", WANTED) from None
    if stat.S_ISDIR(mode):
        raise RecordingError(shown, 0, "a directory", WANTED)
    if not stat.S_ISREG(mode):
        raise RecordingError(shown, 0, "a pipe or device", "a file, which is read twice")
    if not os.access(path, os.R_OK):
        raise RecordingError(shown, 0, "no permission to read it", "a readable file")


def text_of(path: str) -> TextIO:
    """A file of text, to be read bit by bit. Raises RecordingError."""
    _check(path)
    return open(path, encoding="utf-8-sig", newline="")


def bytes_of(path: str) -> BinaryIO:
    """The same as bytes."""
    _check(path)
    return open(path, "rb")
