"""Writing files: whole or not at all."""

from __future__ import annotations

import os
import tempfile

from verify.errors import UsageError


def check_writable(path: str, *, overwrite: bool = False) -> None:
    """Raise UsageError, before long work, where ``write_whole`` would do so after it."""
    if not overwrite and os.path.lexists(path):
        raise UsageError(f"{path}: found a file of that name; allowed: a new name, or --force")
    folder = os.path.dirname(path) or "."
    reason = None
    if not os.path.isdir(folder):
        reason = "no such directory"
    elif not os.access(folder, os.W_OK | os.X_OK):
        reason = "permission denied"
    elif os.path.isdir(path):
        reason = "a directory"
    if reason is not None:
        raise UsageError(f"{path}: found {reason}; allowed: a place to write to")


def check_apart(*paths: str) -> None:
    """Raise UsageError where two are the same file, so that one would be lost."""
    known: set[str] = set()
    for path in paths:
        real = os.path.realpath(path)
        if real in known:
            raise UsageError(f"{path}: found it named twice; allowed: a file of its own")
        known.add(real)


def write_whole(path: str, data: str | bytes, *, overwrite: bool = False) -> None:
    """Write bytes, or text as UTF-8, under a temporary name beside ``path``, then move it there.

    Raises UsageError if the file is there and ``overwrite`` is off, or it cannot be written.
    """
    if not overwrite and os.path.lexists(path):
        raise UsageError(f"{path}: found a file of that name; allowed: a new name, or --force")
    folder = os.path.dirname(path) or "."
    temporary = None
    try:
        handle, temporary = tempfile.mkstemp(dir=folder, prefix=".fewwire-")
        with os.fdopen(handle, "wb") as stream:
            stream.write(data.encode("utf-8") if isinstance(data, str) else data)
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(temporary, 0o666 & ~mask)  # mkstemp makes files private
        os.replace(temporary, path)
    except OSError as error:
        if temporary is not None and os.path.exists(temporary):
            os.unlink(temporary)
        reason = error.strerror or "not writable"
        raise UsageError(f"{path}: found {reason.lower()}; allowed: a place to write to") from None
