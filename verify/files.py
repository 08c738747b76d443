"""Writing files: whole or not at all."""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Iterable
from typing import TypeAlias

from verify.errors import UsageError

Data: TypeAlias = str | bytes | Iterable[bytes | memoryview]


def check_writable(path: str, *, overwrite: bool = False) -> None:
    """Raise UsageError, before long work, where ``write_whole`` would do so after it."""
    folder = os.path.dirname(path) or "."
    reason = _taken(path)
    if not os.path.isdir(folder):
        reason = "no such directory"
    elif not os.access(folder, os.W_OK | os.X_OK):
        reason = "permission denied"
    if reason is not None:
        raise _refused(path, reason)
    if not overwrite and os.path.lexists(path):
        raise _there(path)


def prepare_folder(folder: str, names: Iterable[str], *, overwrite: bool = False) -> None:
    """Make the folder, and raise UsageError where files of these names could not be written."""
    try:
        os.makedirs(folder, exist_ok=True)
    except OSError as error:
        raise _refused(folder, (error.strerror or "not writable").lower()) from None
    for name in names:
        check_writable(os.path.join(folder, name), overwrite=overwrite)


def _taken(path: str) -> str | None:
    """What stands there that no file may take the place of."""
    try:
        mode = os.lstat(path).st_mode
    except (OSError, ValueError):
        return None
    if stat.S_ISDIR(mode) or os.path.isdir(path):
        return "a directory"
    return None if stat.S_ISREG(mode) or stat.S_ISLNK(mode) else "a device or pipe"


def _refused(path: str, reason: str) -> UsageError:
    return UsageError(f"{_shown(path)}: found {reason}; allowed: a place to write to")


def _there(path: str) -> UsageError:
    return UsageError(f"{_shown(path)}: found a file of that name; allowed: a new name, or --force")


def _shown(path: str) -> str:
    """On one line."""
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in path) or '""'


def check_apart(*paths: str) -> None:
    """Raise UsageError where two are the same file, so that one would be lost."""
    known: set[str] = set()
    for path in paths:
        real = os.path.realpath(path)
        if real in known:
            raise UsageError(f"{_shown(path)}: found it named twice; allowed: a file of its own")
        known.add(real)


def write_whole(path: str, data: Data, *, overwrite: bool = False) -> None:
    """Write bytes, pieces of bytes, or text as UTF-8, under a temporary name beside ``path``,
    then move it there.

    A link is replaced, not followed. Of two runs that write one file the last one's is there,
    or, where ``overwrite`` is off, the first one's; whole in either case.
    Raises UsageError if the file is there and ``overwrite`` is off, or it cannot be written.
    """
    if (reason := _taken(path)) is not None:
        raise _refused(path, reason)
    if not overwrite and os.path.lexists(path):
        raise _there(path)
    folder = os.path.dirname(path) or "."
    temporary = None
    try:
        handle, temporary = tempfile.mkstemp(dir=folder, prefix=".fewwire-")
        with os.fdopen(handle, "wb") as stream:
            for piece in _pieces(data):
                stream.write(piece)
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(temporary, 0o666 & ~mask)  # mkstemp makes files private
        _move(temporary, path, overwrite)
    except FileExistsError:
        raise _there(path) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error) or "not writable"
        raise _refused(path, reason.lower()) from None
    finally:
        if temporary is not None and os.path.exists(temporary):
            os.unlink(temporary)


def _pieces(data: Data) -> Iterable[bytes | memoryview]:
    if isinstance(data, str):
        return (data.encode("utf-8"),)
    return (data,) if isinstance(data, bytes) else data


def _move(temporary: str, path: str, overwrite: bool) -> None:
    if not overwrite:
        try:
            os.link(temporary, path)
            return
        except FileExistsError:
            raise
        except OSError:  # a file system without links
            if os.path.lexists(path):
                raise FileExistsError from None
    os.replace(temporary, path)
