"""Python files that link files name: run only where the command line allows it."""

from __future__ import annotations

import copyreg
import hashlib
import importlib.util
import sys
import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from types import ModuleType

    from verify.parts.scheme import Scheme

_allowed = [False]
_PREFIX = "a scheme in "  # of the names of modules: no import finds them
_DIGEST = "__sha256__"  # of what a module was made of


class CodeError(Exception):
    """A Python file is not run, or makes no scheme. ``found`` and ``allowed`` in words."""

    def __init__(self, found: str, allowed: str) -> None:
        super().__init__(found, allowed)
        self.found, self.allowed = found, allowed


@dataclass(frozen=True)
class OneFile:
    """The one Python file that may stand behind a link file's ``python = "named"``: it is at
    ``path``, and has this SHA-256."""

    named: str
    path: Path
    sha256: str


def allow(yes: bool) -> None:
    """Whether Python files may be run, from now on."""
    _allowed[0] = yes


def is_allowed() -> bool:
    """They may."""
    return _allowed[0]


def digest_of(path: Path) -> str | None:
    """SHA-256 of the bytes that were run of a file; None if it was not."""
    found: str | None = getattr(sys.modules.get(_name(path)), _DIGEST, None)
    return found


def digest_named(document: Mapping[str, object], folder: Path) -> str | None:
    """SHA-256 of the Python file that a link file names, as it is now; None if there is none."""
    link = document.get("link")
    named = link.get("python") if isinstance(link, dict) else None
    if not isinstance(named, str):
        return None
    try:
        return hashlib.sha256((folder / named).read_bytes()).hexdigest()
    except OSError:
        return None


def scheme_of(
    path: Path, inputs: int, tables: Mapping[str, object], sha256: str | None = None
) -> Scheme:
    """What ``scheme(inputs, tables)`` of a Python file returns.

    ``sha256``: what the file's has to be, or it is not run. Raises CodeError.
    """
    from verify.parts.scheme import Scheme

    if not _allowed[0]:
        raise CodeError(
            "a file of Python code, which would be run",
            "with --allow-code on the command line only, for files that you trust",
        )
    module = _loaded(path, sha256)
    make = getattr(module, "scheme", None)
    if not callable(make):
        raise CodeError("a file without a function scheme", "one with scheme(inputs, tables)")
    try:
        made = make(inputs, dict(tables))
        if not isinstance(made, Scheme):
            raise CodeError(
                f"a function scheme that returns a {type(made).__name__}",
                "a verify.parts.scheme.Scheme",
            )
        # Machines that are put together wrongly are found now, not by some engine.
        hash(made)
        made.transmitter()
        made.receiver(0)
    except CodeError:
        raise
    except Exception as error:
        raise _failed(error, path) from None
    return made


def _name(path: Path) -> str:
    return f"{_PREFIX}{path.resolve()}"


def _loaded(path: Path, sha256: str | None = None) -> ModuleType:
    """The module; the same one as long as the file is the same."""
    if not path.is_file():
        raise CodeError("no such file", "a Python file, its path from the link file")
    try:
        text = path.read_bytes()
    except OSError as error:
        raise CodeError((error.strerror or "not readable").lower(), "a Python file") from None
    digest = hashlib.sha256(text).hexdigest()
    if sha256 not in (None, digest):
        raise CodeError("another file than that of the certificate", "one of the same SHA-256")
    name = _name(path)
    if digest_of(path) == digest:
        return sys.modules[name]
    spec = importlib.util.spec_from_file_location(name, path)
    if spec is None or spec.loader is None:
        raise CodeError("a file that Python does not load", "a file that ends in .py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    try:
        # What was read, not what Python may have kept of an earlier reading.
        exec(compile(text, str(path), "exec", dont_inherit=True), vars(module))
    except (Exception, SystemExit) as error:
        del sys.modules[name]
        raise _failed(error, path) from None
    setattr(module, _DIGEST, digest)
    for kind in vars(module).values():
        if isinstance(kind, type) and kind.__module__ == name:
            copyreg.pickle(kind, _sent)
    return module


def _sent(thing: object) -> tuple[Callable[..., object], tuple[object, ...]]:
    """What is made by such a file goes to a worker process with the file's path."""
    kind = type(thing)
    return _received, (kind.__module__.removeprefix(_PREFIX), kind.__qualname__, vars(thing))


def _received(path: str, name: str, state: dict[str, object]) -> object:
    """In a worker process: whoever sent it was allowed to run the file."""
    module = sys.modules.get(f"{_PREFIX}{path}") or _loaded(Path(path))
    kind = attrgetter(name)(module)
    thing = object.__new__(kind)
    thing.__dict__.update(state)
    return thing


def _failed(error: BaseException, path: Path) -> CodeError:
    lines = [f.lineno for f in traceback.extract_tb(error.__traceback__) if f.filename == str(path)]
    line = getattr(error, "lineno", None) or (lines[-1] if lines else None)
    where = f" in line {line}" if line else ""
    text = " ".join(str(error).split())
    return CodeError(
        f"code that fails{where} ({type(error).__name__}: {text[:200]})", "code that runs"
    )
