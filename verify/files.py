"""Writing files: whole or not at all."""

from __future__ import annotations

import os
import tempfile

from verify.errors import UsageError


def write_whole(path: str, text: str, *, overwrite: bool = False) -> None:
    """Write UTF-8 text under a temporary name beside ``path``, then move it there.

    Raises UsageError if the file is there and ``overwrite`` is off, or it cannot be written.
    """
    if not overwrite and os.path.lexists(path):
        raise UsageError(f"{path}: found a file of that name; allowed: a new name, or --force")
    folder = os.path.dirname(path) or "."
    temporary = None
    try:
        handle, temporary = tempfile.mkstemp(dir=folder, prefix=".fewwire-")
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(text)
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(temporary, 0o666 & ~mask)  # mkstemp makes files private
        os.replace(temporary, path)
    except OSError as error:
        if temporary is not None and os.path.exists(temporary):
            os.unlink(temporary)
        reason = error.strerror or "not writable"
        raise UsageError(f"{path}: found {reason.lower()}; allowed: a place to write to") from None
