"""How far a search among sequences is, kept for ``--resume``."""

from __future__ import annotations

import hashlib
from pathlib import Path

from verify.engines.checkpoint import DamagedError
from verify.fuzzing.opening import Setting
from verify.questions import kept

_MOST = 1 << 40


class KeptBatches:
    """Of one target, seed and length of sequences; nowhere, where there is no place for it.

    The target's own files count, as far as its command names them: another program is asked anew.
    """

    def __init__(self, setting: Setting, seed: int, presses: int) -> None:
        command = [(word, _digest(Path(setting.folder or ".") / word)) for word in setting.command]
        asked = setting.end, setting.branch, setting.fresh, command
        # What is behind the name of a Python object nobody can tell.
        self._key = kept.key_of("batches", *asked, seed, presses) if command else None

    def done(self) -> tuple[int, int, int]:
        """Raises DamagedError."""
        note = kept.known_note(self._key)
        if note is None:
            return 0, 0, 0
        if not (isinstance(note, list) and len(note) == 3 and all(map(_is_number, note))):
            raise DamagedError
        return note[0], note[1], note[2]

    def over(self, batches: int, runs: int, left_out: int) -> None:
        """On disk before this returns."""
        kept.keep_note(self._key, [batches, runs, left_out])


def _is_number(found: object) -> bool:
    return type(found) is int and 0 <= found < _MOST


def _digest(path: Path) -> str | None:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else None
    except OSError:
        return None
