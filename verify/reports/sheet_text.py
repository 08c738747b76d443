"""What to build, as Markdown: for people with a table in hand."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from verify.parts.link import Link
from verify.questions.sheet import Delay, Sheet
from verify.questions.splitting import Split
from verify.reports import cautions
from verify.reports.names import printable
from verify.units import duration_text, ticks_text

# Columns of schemes that are numbers, not times.
PLAIN = ("line", "code", "slot")
MOST_SPELT_OUT = 8
"""Elements of a delay that are written one by one."""

_MARKUP = re.compile(r"([\\`*_{}\[\]<>#|~])")


def elements_text(elements: Split) -> str:
    """``4+4+1``; ``11x4+3`` for many; empty for none."""
    if sum(many for _, many in elements) <= MOST_SPELT_OUT:
        return "+".join(str(size) for size, many in elements for _ in range(many))
    return "+".join(f"{many}x{size}" if many > 1 else str(size) for size, many in elements)


def sheet_markdown(found: Sheet) -> str:
    """The whole sheet, ending in a line break."""
    link = found.link
    blocks = [
        f"# To build: {_plain(link.name)}",
        _settings(link),
        "## Inputs",
        _inputs(found),
    ]
    if any(row.delays for row in found.rows):
        blocks.append("Delays are in ticks, element by element.")
    if len(found.branches) > 1 or any(delay.ticks for delay in found.branches):
        blocks += ["## Branches", _branches(found)]
    blocks += [
        "## Parts",
        _parts(found),
        f"Counted, not proved: ask `fewwire check` of the same file. {cautions.MODEL} "
        f"{cautions.WIRING}",
    ]
    return "\n\n".join(blocks) + "\n"


def _settings(link: Link) -> str:
    said = {
        "scheme": link.scheme_name,
        "tick": duration_text(link.tick),
        **{
            key: value if isinstance(value, str) else ticks_text(value, link.tick)
            for key, value in link.scheme.settings().items()
        },
    }
    return "\n".join(f"- {key}: {_plain(value)}" for key, value in said.items())


def _inputs(found: Sheet) -> str:
    link, first = found.link, found.rows[0]
    places = [f"delay at the {place}" for place in first.delays]
    rows = [
        [
            str(row.number),
            _plain(row.input),
            str(row.output_number),
            _plain(row.output),
            *(_number(column, value, link) for column, value in row.numbers.items()),
            *row.words.values(),
            *(_delay(delay) for delay in row.delays.values()),
        ]
        for row in found.rows
    ]
    header = ["no.", "input", "output no.", "output", *first.numbers, *first.words, *places]
    return _table(header, rows)


def _branches(found: Sheet) -> str:
    rows = [
        [str(b + 1), ticks_text(delay.ticks, found.link.tick), _delay(delay)]
        for b, delay in enumerate(found.branches)
    ]
    return _table(["branch", "extra delay", "of elements"], rows)


def _parts(found: Sheet) -> str:
    link, branches = found.link, len(found.branches)
    each = f" ({link.inputs} at each of {branches} branches)" if branches > 1 else ""
    rows = [
        ["line", str(link.scheme.lines)],
        ["input", str(link.inputs)],
        ["output" + each, str(found.outputs)],
    ]
    rows += [
        [f"delay element of {ticks_text(size, link.tick)}", str(many)]
        for size, many in found.elements
        if many
    ]
    if len([many for _, many in found.elements if many]) != 1:
        rows.append(["delay elements in all", str(found.all_elements)])
    return _table(["part", "how many"], rows)


def _number(column: str, value: int, link: Link) -> str:
    return str(value) if column in PLAIN else ticks_text(value, link.tick)


def _delay(delay: Delay) -> str:
    return elements_text(delay.elements) or "none"


def _plain(text: str) -> str:
    """Text in which Markdown finds no mark of its own."""
    return _MARKUP.sub(r"\\\1", printable(text))


def _table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)
