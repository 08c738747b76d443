"""A long search as a file of rows of numbers, written whole or not at all.

A line of JSON (``fewwire_search`` 1, ``about``: what it is a search of, ``head``: numbers,
``rows``: their sizes in bytes), the rows as they are in memory, and the SHA-256 of all before. As
large as the search itself, so nothing is packed and nothing is held twice.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, BinaryIO

from verify.engines import memory
from verify.errors import UsageError
from verify.files import write_whole

_MOST_LINE = 1 << 16
_CHUNK = 1 << 22
_DIGEST = 32


class SearchFile:
    """The file at ``path``; ``about``: the texts that must be the same for it to be taken up."""

    def __init__(self, path: str, about: Mapping[str, str]) -> None:
        self.path, self.about = path, dict(about)

    def save(self, head: Mapping[str, Any], rows: Sequence[Any]) -> None:
        """Write it. ``rows``: bytes, or what shows its bytes."""
        views = [memoryview(row).cast("B") for row in rows]
        sizes = [len(view) for view in views]
        line = {"fewwire_search": 1, "about": self.about, "head": dict(head), "rows": sizes}
        write_whole(self.path, _signed(json.dumps(line).encode() + b"\n", views), overwrite=True)

    def open(self) -> Reading | None:
        """None if there is no file, or one about another part of the same. Raises UsageError for
        what is no such file, or about something else, or larger than memory."""
        if not os.path.lexists(self.path):
            return None
        try:
            with open(self.path, "rb") as stream:
                return self._open(stream)
        except OSError as error:
            raise self.refused((error.strerror or "not readable").lower()) from None

    def is_there(self) -> bool:
        """There is a file."""
        return os.path.lexists(self.path)

    def _open(self, stream: BinaryIO) -> Reading | None:
        line = stream.readline(_MOST_LINE)
        try:
            found = json.loads(line)
            about, head, rows = (found[name] for name in ("about", "head", "rows"))
            good = found["fewwire_search"] == 1 and all(type(n) is int and n >= 0 for n in rows)
            if not good or not all(isinstance(each, dict) for each in (about, head)):
                raise ValueError
        except (ValueError, KeyError, TypeError, RecursionError):
            raise self.refused("what no search kept") from None
        for name, what in self.about.items():
            if about.get(name) != what:
                if name == "key":
                    return None
                raise self.refused(f"a search of another {name}")
        size = os.fstat(stream.fileno()).st_size
        if size != len(line) + sum(rows) + _DIGEST:
            raise self.refused("a damaged file")
        if size > memory.allowed() * memory.MEGABYTE:
            raise self.refused(f"a search of {size >> 20} MB, more than --memory")
        digest = hashlib.sha256(line)
        for chunk in _chunks(stream, sum(rows)):
            digest.update(chunk)
        if stream.read() != digest.digest():
            raise self.refused("a damaged file")
        return Reading(self, head, rows, len(line))

    def forget(self) -> None:
        """The search came to its end: its file goes, and no other."""
        try:
            with open(self.path, "rb") as stream:
                mine = json.loads(stream.readline(_MOST_LINE))["about"] == self.about
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            return
        if mine:
            os.unlink(self.path)

    def refused(self, found: str) -> UsageError:
        """Why it cannot be gone on with."""
        return UsageError(
            f"{self.path}: found {found}; allowed: no such file, or one that --resume wrote for "
            "this link file"
        )


class Reading:
    """A file that was found to be whole. ``head``: its numbers; ``sizes``: of its rows, bytes."""

    def __init__(
        self, file: SearchFile, head: Mapping[str, Any], sizes: Sequence[int], begin: int
    ) -> None:
        self.file, self.head, self.sizes, self.begin = file, head, tuple(sizes), begin

    def row(self, number: int) -> Iterator[bytes]:
        """The bytes of a row, piece by piece."""
        with open(self.file.path, "rb") as stream:
            stream.seek(self.begin + sum(self.sizes[:number]))
            yield from _chunks(stream, self.sizes[number])

    def number(self, name: str, least: int, most: int) -> int:
        """A number of the head. Raises UsageError."""
        found = self.head.get(name)
        if type(found) is not int or not least <= found <= most:
            raise self.file.refused("a search that this link cannot be in")
        return found


def _signed(line: bytes, rows: Sequence[memoryview]) -> Iterator[bytes | memoryview]:
    digest = hashlib.sha256(line)
    yield line
    for row in rows:
        digest.update(row)
        yield row
    yield digest.digest()


def _chunks(stream: BinaryIO, size: int) -> Iterator[bytes]:
    while size:
        chunk = stream.read(min(size, _CHUNK))
        if not chunk:
            return
        size -= len(chunk)
        yield chunk
