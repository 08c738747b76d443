"""A comparison as plain data: for ``--json`` and for CSV. The keys are documented and stable."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from verify.engines.answer import Verdict
from verify.questions.advice import advice
from verify.questions.cell import Amount
from verify.questions.compare import COLUMNS, Column, Row, is_open
from verify.reports.as_json import conditions, rate_hz


def comparison_json(
    rows: Sequence[Row], files: Sequence[str | None], texts: Sequence[str | None]
) -> dict[str, Any]:
    """Answer to ``compare``. Of each link the file it was read from, or one that it could be."""
    undecided = any(map(is_open, rows))
    return {
        "question": "compare",
        "verdict": (Verdict.UNDECIDED if undecided else Verdict.HOLDS).value,
        "links": [
            _link(row, file, text) for row, file, text in zip(rows, files, texts, strict=True)
        ],
        "build": {
            kind: [
                {
                    "name": one.row.link.name,
                    "link": rows.index(one.row),
                    "reasons": list(one.reasons),
                    "fails": list(one.fails),
                    "open": list(one.open),
                    "behind": None if one.behind is None else rows.index(one.behind),
                }
                for one in told
            ]
            for kind, told in advice(rows).items()
        },
    }


def _link(row: Row, file: str | None, text: str | None) -> dict[str, Any]:
    link = row.link
    found: dict[str, Any] = {
        "name": link.name,
        "file": file,
        "link_file": text,
        "scheme": link.scheme_name,
        "kind": link.kind,
        "inputs": link.inputs,
        "lines": link.scheme.lines,
        "tick_s": float(link.tick),
        **conditions(link, spacing_is_asked=True),
    }
    for column in COLUMNS:
        cell = row.cells[column.key]
        found[column.key] = {
            "verdict": None if cell.verdict is None else cell.verdict.value,
            "engine": cell.engine or None,
            "covered": cell.covered or None,
            "reason": cell.reason or None,
            **_amounts(row, column),
        }
        if column.margin:
            found[column.key]["more_not_looked_at"] = cell.beyond
    return found


def _amounts(row: Row, column: Column) -> dict[str, int | float | str | None]:
    """In ticks and in seconds, or exact and rounded; a rate where the amount is a spacing."""
    found: dict[str, int | float | str | None] = {}
    for name in column.amounts:
        if name in column.ratios:
            exact = row.cells[column.key].amounts.get(name)
            found[name] = None if exact is None else str(exact)
            found[f"{name}_float"] = None if exact is None else float(exact)
            continue
        ticks, seconds = row.cells[column.key].amounts.get(name), row.seconds(column.key, name)
        found[f"{name}_ticks"] = _plain(ticks)
        found[f"{name}_s"] = None if seconds is None else float(seconds)
    if column.key == "spacing":
        found["rate_hz"] = _rate(row)
    return found


def _plain(ticks: Amount | None) -> int | float | None:
    """No whole number of ticks where a clock's rate is off."""
    if ticks is None or ticks.denominator == 1:
        return None if ticks is None else int(ticks)
    return float(ticks)


def _rate(row: Row) -> float | None:
    rate: Fraction | None = None
    if row.spacing is not None:
        rate = rate_hz(row.spacing, row.link.tick)
    return None if rate is None else float(rate)


def comparison_csv(rows: Sequence[Row], columns: Sequence[Column] = COLUMNS) -> str:
    """A line per link below a line of names; what is not known, or makes no sense, is empty."""
    table = [_flat(row, columns) for row in rows]
    stream = io.StringIO()
    writer = csv.DictWriter(stream, list(table[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(table)
    return stream.getvalue()


def _flat(row: Row, columns: Sequence[Column]) -> dict[str, Any]:
    link = row.link
    found: dict[str, Any] = {
        "name": link.name,
        "scheme": link.scheme_name,
        "kind": link.kind,
        "inputs": link.inputs,
        "tick_s": float(link.tick),
        "lines": link.scheme.lines,
    }
    for column in columns:
        verdict = row.cells[column.key].verdict
        found[f"{column.key}_verdict"] = "" if verdict is None else verdict.value
        for name, value in _amounts(row, column).items():
            found[name if name == "rate_hz" else f"{column.key}_{name}"] = value
    return found
