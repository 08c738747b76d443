"""Read a sweep: TOML to ``Sweep``, or one clear ``LinkFileError``."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from math import prod
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import Field, PlainValidator, ValidationError, field_validator

from models.parameters.base import ENDS
from verify.allowed_code import OneFile, file_named
from verify.errors import LinkFileError
from verify.fields import (
    UNKNOWN,
    Context,
    Finding,
    Key,
    Label,
    Table,
    check,
    did_you_mean,
    file_error,
    key_text,
    one_of,
    refusal,
    value_text,
)
from verify.linkfile import read, toml_of
from verify.questions.disturbances import Disturbance
from verify.questions.engine_choice import EngineName
from verify.sweeps.keys import key_of
from verify.sweeps.values import ALLOWED, MOST_VALUES, NoValueError, canonical, parsed, values_of
from verify.units import TimeError, parse_duration

MOST_CELLS = 100_000
DEFAULT_SECONDS = 60.0

Ask = Literal["check", "spacing", "latency", "margin", "recover", "lifetime"]

# Tables of names that whoever writes a link file chooses.
_NAMING = {
    ("link", "tables"),
    *(
        (end, kind)
        for end in ENDS
        for kind in ("modes", "flags", "numbers", "timers", "banks", "let")
    ),
}
_TIME = 'seconds of work for each cell, above 0, or a quoted duration like "20 s"'
_ROWS = "rows [[list]], each a table of one key of the link file or more"


def _seconds(value: object) -> float:
    try:
        seconds = float(parse_duration(value)) if isinstance(value, str) else value
    except TimeError:
        seconds = None
    if isinstance(seconds, bool) or not isinstance(seconds, int | float) or not 0 < seconds < 1e9:
        raise refusal(Finding((), _TIME))
    return float(seconds)


class _Top(Table):
    """The whole file; what is swept is read by itself."""

    link: str = Field(description="the path of a link file, from this file's folder")
    name: Label | None = Field(None, description="a string")
    ask: Ask = Field(description=one_of(get_args(Ask)))
    of: Disturbance | None = Field(None, description=one_of(get_args(Disturbance)))
    engine: EngineName = "auto"
    time: Annotated[float, PlainValidator(_seconds, json_schema_input_type=Any)] = DEFAULT_SECONDS
    without: tuple[str, ...] = Field((), description="a list of keys of the link file, dotted")
    grid: object = Field({})
    list: object = Field([])

    @field_validator("without", mode="before")
    @classmethod
    def _keys(cls, value: object) -> object:
        return tuple(value) if isinstance(value, list) else value


@dataclass(frozen=True)
class Axis:
    """Keys that change together, ``rows`` of their values as JSON; None: as in the link file."""

    keys: tuple[str, ...]
    rows: tuple[tuple[str | None, ...], ...]

    @property
    def varies(self) -> bool:
        """There is more than one row."""
        return len(self.rows) > 1


@dataclass(frozen=True)
class Sweep:
    """What is asked of which links. ``seconds`` of work for each cell.

    ``link_text`` and ``link_name`` of the link file; ``link_shown`` stands for it in messages.
    ``codes``: the Python files that it names, or that cells name, as they were when the sweep
    began: cells know no others.
    """

    name: str
    ask: Ask
    of: Disturbance | None
    engine: EngineName
    seconds: float
    without: tuple[str, ...]
    axes: tuple[Axis, ...]
    link_text: str
    link_shown: str
    link_name: str
    folder: str
    codes: tuple[OneFile, ...] = ()

    @property
    def cells(self) -> int:
        """How many there are."""
        return prod(len(axis.rows) for axis in self.axes)

    @property
    def keys(self) -> tuple[str, ...]:
        """All keys that are swept."""
        return tuple(key for axis in self.axes for key in axis.keys)

    def changes(self, number: int) -> tuple[str | None, ...]:
        """Values of all keys in a cell; the first has number 1, the last axis changes fastest."""
        return tuple(value for row in self._rows(number) for value in row)

    def places(self, number: int) -> tuple[int, ...]:
        """Of a cell, the row of each axis, counted from 0."""
        rest, found = number - 1, []
        for axis in reversed(self.axes):
            rest, place = divmod(rest, len(axis.rows))
            found.append(place)
        return tuple(reversed(found))

    def alone(self, number: int) -> Sweep:
        """One cell by itself."""
        rows = zip(self.axes, self._rows(number), strict=True)
        return replace(self, axes=tuple(Axis(axis.keys, (row,)) for axis, row in rows))

    def code(self, named: object) -> OneFile | None:
        """The Python file of this name in link files, if there is one."""
        return next((code for code in self.codes if code.named == named), None)

    def _rows(self, number: int) -> list[tuple[str | None, ...]]:
        rows = zip(self.axes, self.places(number), strict=True)
        return [axis.rows[place] for axis, place in rows]


def load_sweep(path: str | os.PathLike[str]) -> Sweep:
    """The sweep that a file describes.

    Raises LinkFileError, in one line, for a file that cannot be read or says something wrong.
    """
    text, shown, name = read(path, "a sweep file")
    document = toml_of(text, shown)
    findings: list[Finding] = []
    top, found = check(_Top, document, (), Context())
    findings += found
    axes = [*_list(document.get("list", []), findings), *_grid(document.get("grid", {}), findings)]
    _apart(axes, findings)
    if not axes and not findings:
        findings.append(Finding(("grid",), f"a table [grid] or {_ROWS}", missing=True))
    if not isinstance(top, _Top) or findings:
        raise _error(findings, document, shown)
    _question(top, findings)
    cells = prod(len(axis.rows) for axis in axes)
    if cells > MOST_CELLS:
        findings.append(Finding(("grid",), f"at most {MOST_CELLS} cells", f"{cells} cells"))
    if findings:
        raise _error(findings, document, shown)
    place = Path(path).parent / top.link
    link_text, link_shown, link_name = read(place)
    link = toml_of(link_text, link_shown)
    _named(axes, link, findings)
    if findings:
        raise _error(findings, document, shown)
    return Sweep(
        top.name or name,
        top.ask,
        top.of,
        top.engine,
        top.time,
        top.without,
        tuple(axes),
        link_text,
        link_shown,
        link_name,
        str(place.parent),
        tuple(_codes(link, axes, place.parent)),
    )


def _codes(link: dict[str, Any], axes: Iterable[Axis], folder: Path) -> Iterator[OneFile]:
    values = [v for axis in axes for row in axis.rows for v in zip(axis.keys, row, strict=True)]
    named = [parsed(value) for key, value in values if key == "link.python" and value is not None]
    for document in (link, *({"link": {"python": name}} for name in dict.fromkeys(named))):
        file = file_named(document, folder)
        if file is not None:
            yield file


def _question(top: _Top, findings: list[Finding]) -> None:
    if top.ask == "margin" and top.of is None:
        allowed = f'with ask = "margin", {one_of(get_args(Disturbance))}'
        findings.append(Finding(("of",), allowed, missing=True))
    if top.ask != "margin" and top.of is not None:
        findings.append(Finding(("of",), 'no key: only with ask = "margin"'))
    for i, text in enumerate(top.without):
        key = key_of(text, ("without", i))
        if isinstance(key, Finding):
            findings.append(key)


def _flat(value: dict[str, Any], place: Key, *, ranges: bool) -> Iterator[tuple[str, Any, Key]]:
    """Keys with dots outside quotes are tables in TOML, and mean the same here."""
    for name, entry in value.items():
        here = (*place, name)
        is_range = ranges and isinstance(entry, dict) and _is_range(entry)
        if isinstance(entry, dict) and entry and not is_range:
            for inner, one, where in _flat(entry, here, ranges=ranges):
                yield f"{name}.{inner}", one, where
        else:
            yield name, entry, here


def _is_range(entry: dict[str, Any]) -> bool:
    """It is no table with a key of such a name, which would have a list or a range of its own."""
    ends = [entry[name] for name in ("from", "to", "step") if name in entry]
    return any(not isinstance(end, list | dict) for end in ends)


def _grid(value: object, findings: list[Finding]) -> Iterator[Axis]:
    if not isinstance(value, dict):
        findings.append(Finding(("grid",), "a table [grid]"))
        return
    for name, entry, place in _flat(value, ("grid",), ranges=True):
        key = key_of(name, place)
        if isinstance(key, Finding):
            findings.append(key)
            continue
        try:
            values = _Values.model_validate({"values": entry}).values
        except ValidationError as error:
            inner = error.errors()[0]
            refused = inner.get("ctx", {}).get("findings", (Finding((), ALLOWED),))
            findings += [replace(f, key=(*place, *f.key)) for f in refused]
            continue
        yield Axis((key_text(key),), tuple((v,) for v in values))


class _Values(Table):
    """Of one key of the grid."""

    values: Annotated[tuple[str, ...], PlainValidator(values_of, json_schema_input_type=Any)]


def _list(value: object, findings: list[Finding]) -> Iterator[Axis]:
    if value == []:
        return
    if not isinstance(value, list) or not all(isinstance(row, dict) and row for row in value):
        findings.append(Finding(("list",), _ROWS))
        return
    if len(value) > MOST_VALUES:
        findings.append(Finding(("list",), f"at most {MOST_VALUES} rows", f"{len(value)} rows"))
        return
    rows: list[dict[str, str]] = []
    for i, row in enumerate(value):
        rows.append({})
        for name, entry, place in _flat(row, ("list", i), ranges=False):
            key = key_of(name, place)
            if isinstance(key, Finding):
                findings.append(key)
                continue
            try:
                rows[-1][key_text(key)] = canonical(entry)
            except NoValueError:
                allowed = "a number, text, true or false, or a list"
                findings.append(Finding(place, allowed, value_text(entry)))
        if rows[-1] and rows[-1] in rows[:-1]:
            allowed = f"a row of its own; list[{rows.index(rows[-1])}] is the same"
            findings.append(Finding(("list", i), allowed))
    keys = tuple(dict.fromkeys(key for row in rows for key in row))
    yield Axis(keys, tuple(tuple(row.get(key) for key in keys) for row in rows))


def _apart(axes: Iterable[Axis], findings: list[Finding]) -> None:
    """No key may be swept twice, nor a table and a key in it."""
    known: list[str] = []
    for axis in axes:
        for key in axis.keys:
            for other in known:
                short, long = sorted((key, other), key=len)
                if long == short or long.startswith((f"{short}.", f"{short}[")):
                    allowed = f"keys that do not overlap; {other} is swept as well"
                    findings.append(Finding(("grid",), allowed, key))
            known.append(key)


def _named(axes: Iterable[Axis], link: dict[str, Any], findings: list[Finding]) -> None:
    """What machines of a link file know or remember has to be there: nothing would ask for a
    name that is new, and all cells would be alike. A Python file may ask for any table."""
    top = link.get("link")
    if isinstance(top, dict) and "python" in top:
        return
    for text in (key for axis in axes for key in axis.keys):
        key = key_of(text, ())
        if isinstance(key, Finding) or len(key) < 3 or key[:2] not in _NAMING:
            continue
        known: Any = link
        for part in key[:2]:
            known = known.get(part, {}) if isinstance(known, dict) else {}
        if isinstance(known, dict) and key[2] not in known:
            allowed = f"{', '.join(known) or 'none'}{did_you_mean(key[2], known)}"
            findings.append(Finding(key, allowed, "a name that the link file does not have"))


def _error(findings: list[Finding], document: dict[str, Any], source: str) -> LinkFileError:
    first, *more = findings
    allowed = first.allowed
    if first.found == UNKNOWN and not allowed:
        known = list(_Top.model_fields)
        allowed = ", ".join(known) + did_you_mean(first.key[-1], known)
    return file_error(source, document, first, len(more), allowed)
