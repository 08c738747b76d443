"""What to build as plain data: for ``--json`` and for CSV. The keys are documented and stable."""

from __future__ import annotations

import csv
import io
from typing import Any

from verify.parts.link import Link
from verify.parts.scheme import Place
from verify.questions.sheet import Delay, Row, Sheet
from verify.reports.sheet_text import PLAIN, elements_text
from verify.units import decimal_text, seconds


def sheet_json(found: Sheet) -> dict[str, Any]:
    """Answer to ``sheet``."""
    link = found.link
    return {
        "question": "sheet",
        "name": link.name,
        "scheme": link.scheme_name,
        "tick_s": float(link.tick),
        "settings": {
            key if isinstance(value, str) else f"{key}_ticks": value
            for key, value in link.scheme.settings().items()
        },
        "inputs": [_row(row, link) for row in found.rows],
        "branches": [
            {"number": b + 1, **_delay(delay, link)} for b, delay in enumerate(found.branches)
        ],
        "parts": {
            "lines": link.scheme.lines,
            "inputs": link.inputs,
            "outputs": found.outputs,
            "delay_elements": [
                {"ticks": size, "s": float(size * link.tick), "count": many}
                for size, many in found.elements
            ],
            "delay_elements_in_all": found.all_elements,
        },
    }


def _row(row: Row, link: Link) -> dict[str, Any]:
    return {
        "number": row.number,
        "input": row.input,
        "output_number": row.output_number,
        "output": row.output,
        **{_key(column): value for column, value in row.numbers.items()},
        **{_word_key(column): word for column, word in row.words.items()},
        "delays": {place: _delay(delay, link) for place, delay in row.delays.items()},
    }


def _delay(delay: Delay, link: Link) -> dict[str, Any]:
    return {
        "ticks": delay.ticks,
        "s": float(delay.ticks * link.tick),
        "elements": [{"ticks": size, "count": many} for size, many in delay.elements],
    }


def _key(column: str) -> str:
    return column if column in PLAIN else f"{column}_ticks"


def _word_key(column: str) -> str:
    return column.replace(" ", "_")


def sheet_csv(found: Sheet) -> str:
    """A row per input, per branch, and per kind of part; ``row`` says which."""
    link, first = found.link, found.rows[0]
    places: list[Place] = [*first.delays]
    columns = ["row", "number", "input", "output_number", "output"]
    columns += [_key(column) for column in first.numbers]
    columns += [_word_key(column) for column in first.words]
    columns += [f"{place}_{what}" for place in places for what in ("ticks", "elements")]
    columns += ["branch_ticks", "branch_elements", "part", "part_ticks", "part_s", "count"]
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, restval="", lineterminator="\n")
    writer.writeheader()
    for row in found.rows:
        writer.writerow(_input_cells(row))
    for b, delay in enumerate(found.branches):
        writer.writerow(
            {
                "row": "branch",
                "number": b + 1,
                "branch_ticks": delay.ticks,
                "branch_elements": elements_text(delay.elements),
            }
        )
    for part, many in (
        ("line", link.scheme.lines),
        ("input", link.inputs),
        ("output", found.outputs),
    ):
        writer.writerow({"row": "part", "part": part, "count": many})
    for size, many in found.elements:
        writer.writerow(
            {
                "row": "part",
                "part": "delay element",
                "part_ticks": size,
                "part_s": decimal_text(seconds(size, link.tick)),
                "count": many,
            }
        )
    return text.getvalue()


def _input_cells(row: Row) -> dict[str, object]:
    cells: dict[str, object] = {
        "row": "input",
        "number": row.number,
        "input": row.input,
        "output_number": row.output_number,
        "output": row.output,
    }
    cells |= {_key(column): value for column, value in row.numbers.items()}
    cells |= {_word_key(column): word for column, word in row.words.items()}
    for place, delay in row.delays.items():
        cells[f"{place}_ticks"] = delay.ticks
        cells[f"{place}_elements"] = elements_text(delay.elements)
    return cells
