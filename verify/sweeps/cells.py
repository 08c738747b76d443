"""Cells of a sweep: the link of each, and what is found of it, in this process or another."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as version_of
from pathlib import Path
from time import perf_counter

from pydantic import BaseModel, ConfigDict

from verify import allowed_code
from verify.engines import memory
from verify.errors import FewwireError, LinkFileError, ModelError
from verify.fields import Finding
from verify.linkfile import parse_document, toml_of
from verify.parts.link import Link
from verify.sweeps.asking import Figure, ask_link
from verify.sweeps.file import Sweep
from verify.sweeps.keys import key_of, leave_out, put
from verify.sweeps.values import parsed

# Neither the engines nor the solver may be used by two threads of a process.
_ONE_AT_A_TIME = threading.Lock()


class Result(BaseModel):
    """What was found of a cell, as a line of a journal has it. ``took_s`` is not compared.

    ``verdict`` None: for ``reason`` there is no such link, or no such question of it.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    cell: int
    verdict: str | None
    engine: str | None = None
    reason: str | None = None
    figures: dict[str, Figure] = {}
    took_s: float = 0.0


@dataclass(frozen=True)
class Task:
    """A cell, and all that a process that knows nothing needs to find out about it.

    ``sweep``: of this cell alone.
    """

    number: int
    sweep: Sweep
    megabytes: int
    allow_code: bool
    version: str


@lru_cache
def version() -> str:
    """Of fewwire, as it is installed here."""
    try:
        return version_of("fewwire")
    except PackageNotFoundError:
        return "unknown"


def task(sweep: Sweep, number: int) -> Task:
    """Cells are numbered from 1."""
    return Task(number, sweep.alone(number), memory.allowed(), allowed_code.is_allowed(), version())


def link_of(sweep: Sweep, number: int) -> Link:
    """The link of a cell. Raises LinkFileError where its values make none."""
    document = toml_of(sweep.link_text, sweep.link_shown)
    for text in sweep.without:
        leave_out(document, _key(text))
    for text, value in zip(sweep.keys, sweep.changes(number), strict=True):
        if value is not None:
            put(document, _key(text), parsed(value), sweep.link_shown)
    link = document.get("link")
    code = sweep.code(link.get("python")) if isinstance(link, dict) else None
    folder = Path(sweep.folder) if code is None else code
    return parse_document(document, sweep.link_shown, sweep.link_name, folder=folder)[0]


def _key(text: str) -> tuple[str | int, ...]:
    key = key_of(text, ())
    if isinstance(key, Finding):
        raise AssertionError(f"{text} was read before")
    return key


def find(asked: Task) -> Result:
    """What there is to find of a cell; never an error that the cell's values cause."""
    if asked.version != version():
        raise FewwireError(f"worker: found fewwire {version()}; allowed: {asked.version}, as here")
    with _ONE_AT_A_TIME:
        if memory.allowed() != asked.megabytes:
            memory.allow(asked.megabytes)
        allowed_code.allow(asked.allow_code)
        return _found(asked.sweep, asked.number)


def _found(sweep: Sweep, number: int) -> Result:
    started = perf_counter()
    try:
        link = link_of(sweep, 1)
    except LinkFileError as error:
        # The file is the same for all cells, and where it lies differs.
        place = f"{error.key}: " if error.key else ""
        reason = f"{place}found {error.found}; allowed: {error.allowed}"
        return Result(cell=number, verdict=None, reason=reason)
    try:
        found = ask_link(link, sweep.ask, sweep.of, sweep.engine, sweep.seconds)
    except ModelError as error:
        return Result(cell=number, verdict=None, reason=str(error))
    except FewwireError:
        raise
    except Exception as error:
        if (told := allowed_code.blamed(error)) is None:
            raise
        reason = f"link.python: found {told[1].found}; allowed: {told[1].allowed}"
        return Result(cell=number, verdict=None, reason=reason)
    return Result(
        cell=number,
        verdict=None if found.verdict is None else found.verdict.value,
        engine=found.engine or None,
        reason=found.reason or None,
        figures=found.figures,
        took_s=round(perf_counter() - started, 6),
    )


def check_links(sweep: Sweep, source: str) -> Link:
    """The link of the first cell that has one.

    Raises LinkFileError, with the trouble of the first cell, where no cell has a link.
    """
    first: LinkFileError | None = None
    for number in range(1, sweep.cells + 1):
        try:
            return link_of(sweep, number)
        except LinkFileError as error:
            first = first or error
    if first is None:
        raise AssertionError("a sweep has a cell at least")
    found = f"no cell that makes a link; in cell 1 {first.key or first.path} is {first.found}"
    raise LinkFileError(source, "grid", found, first.allowed)
