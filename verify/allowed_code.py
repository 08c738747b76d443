"""Python files that link files name: run only where the command line allows it."""

from __future__ import annotations

import hashlib
import sys
import traceback
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager, redirect_stdout
from dataclasses import dataclass
from importlib.machinery import ModuleSpec
from importlib.util import module_from_spec
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from verify.parts.scheme import Scheme

_allowed = [False]
UNDECIDED = 3  # exit status of errors that say so
_PREFIX = "a scheme in "  # of the names of modules: no import finds them
_SOURCE = "__read__"  # of a module: the bytes that it was made of
_run: dict[Path, str] = {}  # by file, the SHA-256 of what was run of it last
MOST_BYTES = 10_000_000


class CodeError(Exception):
    """A Python file is not run, or makes no scheme. ``found`` and ``allowed`` in words."""

    def __init__(self, found: str, allowed: str) -> None:
        super().__init__(found, allowed)
        self.found, self.allowed = found, allowed


@dataclass(frozen=True)
class OneFile:
    """The one Python file that may stand behind a link file's ``python = "named"``: it is at
    ``path``, and has this SHA-256. ``source``: its bytes, if they have been read already."""

    named: str
    path: Path
    sha256: str
    source: bytes | None = None


def allow(yes: bool) -> None:
    """Whether Python files may be run, from now on."""
    _allowed[0] = yes


def is_allowed() -> bool:
    """They may."""
    return _allowed[0]


def digest_of(path: Path) -> str | None:
    """SHA-256 of the bytes that were run of a file; None if it was not."""
    return _run.get(path.resolve())


def file_named(document: Mapping[str, object], folder: Path) -> OneFile | None:
    """The Python file that a link file names, as it is now; None if there is none."""
    link = document.get("link")
    named = link.get("python") if isinstance(link, dict) else None
    if not isinstance(named, str):
        return None
    try:
        source = _bytes_of(folder / named)
    except CodeError:
        return None
    return OneFile(named, folder / named, hashlib.sha256(source).hexdigest(), source)


def digest_named(document: Mapping[str, object], folder: Path) -> str | None:
    """SHA-256 of the Python file that a link file names, as it is now; None if there is none."""
    file = file_named(document, folder)
    return None if file is None else file.sha256


def scheme_of(
    path: Path,
    inputs: int,
    tables: Mapping[str, object],
    sha256: str | None = None,
    source: bytes | None = None,
) -> Scheme:
    """What ``scheme(inputs, tables)`` of a Python file returns.

    ``sha256``: what the file's has to be, or it is not run; ``source``: its bytes, None to read
    them. Raises CodeError.
    """
    from verify.parts.proper import ImproperError, check_scheme
    from verify.parts.scheme import Scheme

    if not _allowed[0]:
        raise CodeError(
            "a file of Python code, which would be run",
            "with --allow-code on the command line only, for files that you trust",
        )
    module = _loaded(path, sha256, source)
    make = getattr(module, "scheme", None)
    if not callable(make):
        raise CodeError("a file without a function scheme", "one with scheme(inputs, tables)")
    try:
        with _beside():
            made = make(inputs, dict(tables))
        if not isinstance(made, Scheme):
            raise CodeError(
                f"a function scheme that returns a {type(made).__name__}",
                "a verify.parts.scheme.Scheme",
            )
        # Machines that are put together wrongly are found now, not by some engine.
        check_scheme(made)
    except ImproperError as error:
        raise CodeError(error.found, error.allowed) from None
    except CodeError:
        raise
    except Exception as error:
        _pass_on(error)
        raise _failed(error, path) from None
    return made


def _pass_on(error: BaseException) -> None:
    """That time or memory is used up is no fault of the code that runs."""
    if isinstance(error, MemoryError) or getattr(error, "exit_code", None) == UNDECIDED:
        raise error


def blamed(error: BaseException) -> tuple[str, CodeError] | None:
    """Of an error that was raised by code of such a file, the file and what to say; None of any
    other."""
    names = {module.__file__ for name, module in sys.modules.items() if name.startswith(_PREFIX)}
    for frame in reversed(traceback.extract_tb(error.__traceback__)):
        if frame.filename in names:
            return frame.filename, _failed(error, Path(frame.filename))
    return None


def blamed_line(error: BaseException) -> str | None:
    """The same as one line."""
    told = blamed(error)
    return None if told is None else f"{told[0]}: found {told[1].found}; allowed: {told[1].allowed}"


class Arrived:
    """The files that were run here, for another process: whoever sends them was allowed to run
    them. It has to come before all that is made by them."""

    def __reduce__(self) -> tuple[Callable[..., Arrived], tuple[object, ...]]:
        modules = [m for name, m in sys.modules.items() if name.startswith(_PREFIX)]
        return _arrive, (tuple((m.__file__, getattr(m, _SOURCE)) for m in modules),)


def _arrive(files: tuple[tuple[str, bytes], ...]) -> Arrived:
    for path, source in files:
        _module(Path(path), source)
    return Arrived()


def _beside() -> AbstractContextManager[object]:
    """What the file prints is no part of an answer: it goes to stderr."""
    return redirect_stdout(sys.stderr)


def _bytes_of(path: Path) -> bytes:
    """What is in the file. Raises CodeError."""
    allowed = "a Python file, its path from the link file"
    if path.is_dir():
        raise CodeError("a folder", allowed)
    if not path.is_file():
        raise CodeError("a device or pipe" if path.exists() else "no such file", allowed)
    try:
        with path.open("rb") as file:
            source = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise CodeError((error.strerror or "not readable").lower(), "a Python file") from None
    if len(source) > MOST_BYTES:
        raise CodeError("a file of more bytes than code has", f"at most {MOST_BYTES} bytes")
    return source


def _loaded(path: Path, sha256: str | None = None, source: bytes | None = None) -> ModuleType:
    """The module; the same one as long as the file is the same."""
    if source is None:
        source = _bytes_of(path)
    digest = hashlib.sha256(source).hexdigest()
    if sha256 not in (None, digest):
        raise CodeError("another file than that of the certificate", "one of the same SHA-256")
    module = _module(path, source)
    _run[path.resolve()] = digest
    return module


def _module(path: Path, source: bytes) -> ModuleType:
    """A module per file and what was in it, so that no process mistakes an old one for a new."""
    # No dots: what stands before one would be looked for as a package.
    place = str(path.resolve()).replace("%", "%25").replace(".", "%2E")
    name = f"{_PREFIX}{place} of {hashlib.sha256(source).hexdigest()}"
    if name in sys.modules:
        return sys.modules[name]
    spec = ModuleSpec(name, None, origin=str(path.absolute()))
    spec.has_location = True
    module = module_from_spec(spec)
    setattr(module, _SOURCE, source)
    sys.modules[name] = module
    try:
        # What was read, not what Python may have kept of an earlier reading.
        with _beside():
            exec(compile(source, str(path.absolute()), "exec", dont_inherit=True), vars(module))
    except (Exception, SystemExit) as error:
        del sys.modules[name]
        _pass_on(error)
        raise _failed(error, path) from None
    return module


def _failed(error: BaseException, path: Path) -> CodeError:
    name = str(path.absolute())
    lines = [f.lineno for f in traceback.extract_tb(error.__traceback__) if f.filename == name]
    line = getattr(error, "lineno", None) or (lines[-1] if lines else None)
    where = f" in line {line}" if line else ""
    text = " ".join(str(error).split())
    return CodeError(
        f"code that fails{where} ({type(error).__name__}: {text[:200]})", "code that runs"
    )
