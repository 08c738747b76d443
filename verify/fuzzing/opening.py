"""A target from what the command line, or a test, says of it."""

from __future__ import annotations

import importlib
import os
import shlex
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from verify.allowed_code import OneFile, allow, is_allowed
from verify.errors import UsageError
from verify.fields import value_text
from verify.fuzzing.bench import Bench, Outcome
from verify.fuzzing.child import Child
from verify.fuzzing.target import CallableTarget, Target
from verify.linkfile import load, parse_with_stock, read, toml_of
from verify.parts.foreign import ForeignEnd, sayings
from verify.parts.link import Link
from verify.questions.judging import Subject


@dataclass(frozen=True)
class Setting:
    """How to reach a target: a command, or the name of a Python object, ``module:name``.

    ``patience``: seconds to wait for a line, or for a call. ``fresh``: a new process per run.
    ``folder``: where the command runs, and where the module is looked for first. ``branch``: the
    one that a receiver is on, from 0.
    """

    end: ForeignEnd
    command: Sequence[str] = ()
    callable_name: str = ""
    patience: float = 2.0
    fresh: bool = False
    folder: str | None = None
    branch: int = 0

    @property
    def words(self) -> str:
        """As it is called in answers."""
        return shlex.join(self.command) if self.command else self.callable_name

    def open(self, link: Link) -> Target:
        """The target. Raises UsageError where there is none."""
        known = frozenset(name for name, _ in sayings(link, self.end))
        if self.command:
            return Child(self.command, known, self.patience, fresh=self.fresh, cwd=self.folder)
        return CallableTarget(_named(self.callable_name, self.folder), known, self.patience)


def replayed(
    link_file: str, setting: Setting, sequence: dict[str, Any], code: bytes | None = None
) -> Outcome:
    """Put one sequence to a target; for the tests that `fewwire fuzz --pytest` writes.

    ``code``: what is in the Python file that the link file names; it is run.
    """
    from verify.fuzzing.sequences import script_of

    subject = Subject(load(link_file) if code is None else _with_code(link_file, code))
    target = setting.open(subject.link)
    try:
        return Bench(subject, setting.end, target, setting.branch).run(script_of(sequence))
    finally:
        target.close()


def _with_code(link_file: str, code: bytes) -> Link:
    """The link of a file, run by this code and no other."""
    text, shown, name = read(link_file)
    named = toml_of(text, shown)["link"]["python"]
    path = Path(link_file).parent / named
    before = is_allowed()
    allow(True)
    try:
        file = OneFile(named, path, sha256(code).hexdigest(), code)
        return parse_with_stock(text, shown, name, folder=file)[0]
    finally:
        allow(before)


def _named(text: str, folder: str | None) -> Callable[..., Any]:
    """The object of a module, of the folder or installed."""
    place, _, name = text.partition(":")

    def refuse(found: str, allowed: str) -> UsageError:
        return UsageError(f"--callable: found {found}; allowed: {allowed}")

    if not place or not name:
        raise refuse(value_text(text), "MODULE:NAME")
    sys.path.insert(0, os.path.abspath(folder or os.curdir))
    try:
        found: Any = importlib.import_module(place)
    except ModuleNotFoundError as error:
        raise refuse(
            f"no module {value_text(error.name)}", "a module that can be imported"
        ) from None
    except Exception as error:
        said = f"{type(error).__name__}: {' '.join(str(error).split())[:200]}"
        raise refuse(f"a module that fails ({said})", "one that can be imported") from None
    finally:
        sys.path.pop(0)
    for part in name.split("."):
        if not hasattr(found, part):
            raise refuse(f"no {value_text(name)} in {place}", "a name of that module")
        found = getattr(found, part)
    if not callable(found):
        raise refuse(f"{value_text(text)}, which cannot be called", "a class or function")
    made: Callable[..., Any] = found
    return made
