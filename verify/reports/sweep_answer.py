"""What a sweep has found, as people read it and as plain data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from verify.engines.answer import Verdict
from verify.reports import cautions
from verify.reports.console import output_console, say
from verify.reports.names import printable
from verify.sweeps.asking import columns
from verify.sweeps.cells import Result
from verify.sweeps.file import Sweep
from verify.sweeps.table import rows

_COUNTED = (
    ("holds", "{} hold", "{} holds"),
    ("fails", "{} fail", "{} fails"),
    ("undecided", "{} are undecided", "{} is undecided"),
    (None, "{} cannot be asked", "{} cannot be asked"),
)


def verdict(done: Mapping[int, Result]) -> Verdict:
    """Holds once every cell has its answer, whatever that is."""
    undecided = any(found.verdict == "undecided" for found in done.values())
    return Verdict.UNDECIDED if undecided else Verdict.HOLDS


def sweep_json(
    sweep: Sweep, done: Mapping[int, Result], table: str, pictures: Sequence[str]
) -> dict[str, Any]:
    """Answer to ``sweep``."""
    many = Counter(found.verdict for found in done.values())
    names = [column.name for column in columns(sweep.ask, sweep.of)]
    return {
        "question": "sweep",
        "name": sweep.name,
        "verdict": verdict(done).value,
        "ask": sweep.ask,
        "of": sweep.of,
        "table": table,
        "pictures": list(pictures),
        "cells": len(done),
        "cells_hold": many["holds"],
        "cells_fail": many["fails"],
        "cells_undecided": many["undecided"],
        "cells_not_asked": many[None],
        "keys": list(sweep.keys),
        "rows": [
            {
                "number": row["number"],
                "values": {key: row[key] for key in sweep.keys},
                "verdict": row["verdict"],
                "engine": row["engine"],
                "figures": {name: row[name] for name in names},
                "reason": row["reason"],
            }
            for row in rows(sweep, done)
        ],
    }


def show_sweep(sweep: Sweep, done: Mapping[int, Result]) -> None:
    """How many cells have which verdict, and why some have none."""
    console = output_console()
    many = Counter(found.verdict for found in done.values())
    asked = sweep.ask if sweep.of is None else f"{sweep.ask} of {sweep.of}"
    counted = [
        (one if many[word] == 1 else more).format(many[word])
        for word, more, one in _COUNTED
        if many[word]
    ]
    noun = "cell" if len(done) == 1 else "cells"
    say(
        console,
        f"'{printable(sweep.name)}': {asked} of {len(done)} {noun}: {', '.join(counted)}.",
    )
    first = next((found for _, found in sorted(done.items()) if found.reason), None)
    if first is not None:
        say(console, f"Cell {first.cell} cannot be asked: {printable(first.reason or '')}", "dim")
    say(console, cautions.SHORT, "dim")
