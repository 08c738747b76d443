"""The table of a sweep: a row per cell, in the order of the cells, as CSV or Parquet."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from importlib import import_module
from typing import Any

from verify.errors import UsageError
from verify.sweeps.asking import Column, Kind, columns
from verify.sweeps.cells import Result
from verify.sweeps.file import Sweep
from verify.sweeps.values import plain

ENDINGS = (".csv", ".parquet")

Row = dict[str, Any]


def check_table(path: str) -> None:
    """Raise UsageError, before long work, where no such table can be made."""
    if not path.endswith(ENDINGS):
        allowed = f"a name that ends in {' or '.join(ENDINGS)}"
        raise UsageError(f"{path}: found another kind of file; allowed: {allowed}")
    if path.endswith(".parquet"):
        try:
            import_module("pyarrow")
        except ImportError:
            raise UsageError(
                f"{path}: found no pyarrow; allowed: with it (pip install "
                '"fewwire[parquet]"), or a name that ends in .csv'
            ) from None


def head(sweep: Sweep) -> tuple[Column, ...]:
    """The table's columns: ``number``, the keys, what was found of them."""
    return (
        Column("number", "whole"),
        *(Column(key, _kind(sweep, key)) for key in sweep.keys),
        Column("verdict", "text"),
        Column("engine", "text"),
        *columns(sweep.ask, sweep.of),
        Column("reason", "text"),
    )


def _kind(sweep: Sweep, key: str) -> Kind:
    values = {type(value) for value in swept(sweep, key) if value is not None}
    if values == {bool}:
        return "truth"
    if values == {int}:
        return "whole"
    return "number" if values <= {int, float} and values else "text"


def swept(sweep: Sweep, key: str) -> list[int | float | bool | str | None]:
    """Values of a key, by row of its axis; None where it is as in the link file."""
    axis = next(axis for axis in sweep.axes if key in axis.keys)
    place = axis.keys.index(key)
    return [None if row[place] is None else plain(str(row[place])) for row in axis.rows]


def rows(sweep: Sweep, done: Mapping[int, Result]) -> list[Row]:
    """A row per cell that is done, by the names of ``head``; None where there is nothing."""
    names = columns(sweep.ask, sweep.of)
    kinds = {key: _kind(sweep, key) for key in sweep.keys}
    made = []
    for number in sorted(done):
        found = done[number]
        row: Row = {"number": number}
        for key, text in zip(sweep.keys, sweep.changes(number), strict=True):
            value = None if text is None else plain(text)
            # A column has one type: among words a number is one.
            row[key] = text if kinds[key] == "text" and not isinstance(value, str) else value
        row["verdict"], row["engine"] = found.verdict, found.engine
        row.update({column.name: found.figures.get(column.name) for column in names})
        row["reason"] = found.reason
        made.append(row)
    return made


def table(sweep: Sweep, done: Mapping[int, Result], path: str) -> bytes:
    """The file's content, by its ending."""
    found = rows(sweep, done)
    return _parquet(head(sweep), found) if path.endswith(".parquet") else _csv(head(sweep), found)


def _csv(columns: Sequence[Column], found: Sequence[Row]) -> bytes:
    stream = io.StringIO()
    writer = csv.DictWriter(stream, [c.name for c in columns], lineterminator="\n")
    writer.writeheader()
    writer.writerows({name: _text(value) for name, value in row.items()} for row in found)
    return stream.getvalue().encode("utf-8")


def _text(value: Any) -> Any:
    return str(value).lower() if isinstance(value, bool) else value


def _parquet(columns: Sequence[Column], found: Sequence[Row]) -> bytes:
    arrow, parquet = import_module("pyarrow"), import_module("pyarrow.parquet")
    types = {
        "whole": arrow.int64(),
        "number": arrow.float64(),
        "text": arrow.string(),
        "truth": arrow.bool_(),
    }
    schema = arrow.schema([(column.name, types[column.kind]) for column in columns])
    stream = io.BytesIO()
    parquet.write_table(arrow.Table.from_pylist(list(found), schema), stream)
    return stream.getvalue()
