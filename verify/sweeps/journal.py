"""What has been found so far, on disk: a line of JSON per cell, added as soon as it is there."""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import stat
from dataclasses import asdict, replace
from types import TracebackType
from typing import IO

from pydantic import ValidationError

from verify.engines import memory
from verify.errors import UsageError
from verify.sweeps.cells import Result, version
from verify.sweeps.file import Sweep

_ALLOWED = "the sweep that it belongs to, or another output (or delete it: its results are lost)"


def fingerprint(sweep: Sweep) -> str:
    """Two sweeps have the same one if all their cells have the same answers: SHA-256 of what is
    asked, of the link file, of the Python files that it may name, and of fewwire's version.
    """
    meaning = asdict(replace(sweep, codes=()))
    for place in ("name", "link_shown", "folder", "codes"):
        del meaning[place]
    codes = [[code.named, code.sha256] for code in sweep.codes]
    text = json.dumps([meaning, codes, memory.allowed(), version()], sort_keys=True)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


class Journal:
    """To be used as a context: open, it belongs to this process alone.

    ``done``: results by the number of their cell; what was in the file, and what was added.
    ``resumed``: how many were in the file. Raises UsageError, in one line, for a file of another
    sweep, one that is no journal, one that another process has, and where none can be written.
    """

    def __init__(self, path: str, sweep: Sweep) -> None:
        self.path, self.sweep = path, sweep
        self.done: dict[int, Result] = {}
        self.resumed = 0
        self._file: IO[bytes] | None = None

    def __enter__(self) -> Journal:
        try:
            self._file = open(self.path, "a+b")
        except OSError as error:
            reason = (error.strerror or "not writable").lower()
            raise UsageError(f"{self.path}: found {reason}; allowed: a place to write to") from None
        try:
            self._lock(self._file)
            self._begin(self._file)
        except BaseException:
            self._file.close()
            raise
        self.resumed = len(self.done)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._file is not None:
            self._file.close()

    def add(self, result: Result) -> None:
        """On disk before this returns."""
        if self._file is None:
            raise AssertionError("the journal is not open")
        self._write(self._file, result.model_dump_json())
        self.done[result.cell] = result

    def _lock(self, file: IO[bytes]) -> None:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise UsageError(
                f"{self.path}: found it in use by another process; allowed: one at a time"
            ) from None

    def _begin(self, file: IO[bytes]) -> None:
        data = self._read(file)
        # A line that a crash has torn was never told to anybody.
        kept = data.rfind(b"\n") + 1
        lines = data[:kept].splitlines()
        if kept < len(data):
            if not lines and not _HEAD.startswith(data[: len(_HEAD)]):
                raise self._no_journal(1)
            os.ftruncate(file.fileno(), kept)
            os.fsync(file.fileno())
        if not lines:
            self._write(file, f'{_HEAD.decode()}"{fingerprint(self.sweep)}"}}')
            _keep_name(self.path)
            return
        self._same_sweep(lines[0])
        for k, line in enumerate(lines[1:], 2):
            try:
                result = Result.model_validate_json(line)
            except ValidationError:
                raise self._no_journal(k) from None
            if not 1 <= result.cell <= self.sweep.cells:
                raise self._no_journal(k)
            self.done.setdefault(result.cell, result)

    def _read(self, file: IO[bytes]) -> bytes:
        """All of it, if it is a file and of no more bytes than its lines can have."""
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise UsageError(f"{self.path}: found a device or pipe; allowed: {_ALLOWED}")
        file.seek(0)
        most = _MOST_LINE * (self.sweep.cells + 1)
        data = file.read(most + 1)
        if len(data) > most:
            raise UsageError(
                f"{self.path}: found more than {self.sweep.cells} cells can take; allowed: "
                f"{_ALLOWED}"
            )
        return data

    def _same_sweep(self, line: bytes) -> None:
        try:
            head = json.loads(line)
        except (ValueError, RecursionError):
            head = None
        if not isinstance(head, dict) or set(head) != {"sweep"}:
            raise self._no_journal(1)
        if head["sweep"] != fingerprint(self.sweep):
            raise UsageError(
                f"{self.path}: found the journal of another sweep, link file, Python file or "
                f"version of fewwire; allowed: {_ALLOWED}"
            )

    def _no_journal(self, line: int) -> UsageError:
        return UsageError(
            f"{self.path}: found a line {line} that no sweep wrote; allowed: {_ALLOWED}"
        )

    @staticmethod
    def _write(file: IO[bytes], line: str) -> None:
        file.write(line.encode("utf-8") + b"\n")
        file.flush()
        os.fsync(file.fileno())


# Bytes of a line; a reason, the longest of what is in it, has a thousand at most.
_MOST_LINE = 1 << 16
_HEAD = b'{"sweep": '


def _keep_name(path: str) -> None:
    """A new file is there after a crash only once its folder has been written."""
    folder = os.open(os.path.dirname(path) or ".", os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
