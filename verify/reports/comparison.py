"""A comparison as people read it: one table, then which link to build."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from verify.engines.answer import Verdict
from verify.questions.advice import Advice, advice
from verify.questions.cell import Amount, Cell
from verify.questions.compare import DRIFT, Row
from verify.reports import cautions
from verify.reports.as_json import rate_hz
from verify.reports.console import output_console, say
from verify.reports.names import printable
from verify.units import decimal_text, duration_text, rate_text

_KINDS = {"press": "presses", "level": "levers"}
_INDENT = "  "


@dataclass(frozen=True)
class Line:
    """A line of the table: what is said of one cell of each link."""

    label: str
    column: str
    text: Callable[[Row, Cell], str]


def _time(row: Row, ticks: Amount | None) -> str:
    return "-" if ticks is None else duration_text(ticks * row.link.tick)


def _amount(name: str) -> Callable[[Row, Cell], str]:
    return lambda row, cell: _time(row, cell.amounts[name])


def _spacing(row: Row, cell: Cell) -> str:
    if cell.verdict is Verdict.FAILS:
        return "none safe"
    return "any" if row.spacing == 0 else _time(row, row.spacing)


def _rate(row: Row, cell: Cell) -> str:
    if cell.verdict is Verdict.FAILS or row.spacing is None:
        return "-"
    rate = rate_hz(row.spacing, row.link.tick)
    return "any" if rate is None else rate_text(rate)


def _yes_or_no(row: Row, cell: Cell) -> str:
    return "yes" if cell.verdict is Verdict.HOLDS else "no"


def _recovery(row: Row, cell: Cell) -> str:
    if cell.verdict is Verdict.HOLDS:
        return _time(row, cell.amounts["most"])
    return "never at\nfull rate" if cell.pressed else "never"


def _margin(row: Row, cell: Cell) -> str:
    """Two sides on two lines; nothing on any side in one word."""
    return _sides(cell, lambda ticks: _time(row, ticks))


def _drift(row: Row, cell: Cell) -> str:
    """Where any error is too much in the end, how long it takes."""
    lasts = cell.amounts.get("lasts")
    text = _sides(cell, _percent)
    return text if lasts is None else f"{text};\n{_time(row, lasts)}\nat {_percent(DRIFT)}"


def _percent(error: Amount) -> str:
    return f"{decimal_text(100 * Fraction(error))} %"


def _sides(cell: Cell, text: Callable[[Amount], str]) -> str:
    named = {name: cell.amounts.get(name) for name in ("least", "most")}
    sides = {name: amount for name, amount in named.items() if amount is not None}
    if not any(sides.values()):
        return "none"
    if len(sides) == 1:
        return (">= " if cell.beyond else "") + text(next(iter(sides.values())))
    lines = [("+" * (amount >= 0)) + text(amount) for amount in sides.values()]
    return "\n".join(lines + ["or more"] * cell.beyond)


LINES = (
    Line("latency, best", "latency", _amount("best")),
    Line("worst", "latency", _amount("worst")),
    Line("spread", "latency", _amount("spread")),
    Line("least spacing", "spacing", _spacing),
    Line("rate", "spacing", _rate),
    Line("held together", "overlap", _yes_or_no),
    Line("bears a pause", "pause", _yes_or_no),
    Line("recovery", "recovery", _recovery),
    Line("clock offset", "offset", _margin),
    Line("clock drift", "drift", _drift),
    Line("line skew", "skew", _margin),
)
"""What the table says, from top to bottom, below the links and their number of lines."""

_LEGEND = (
    "Latency and the rest are at the least spacing; held together: right with any number held at "
    "once; a pause: one end stops for a tick; recovery: from ends that start apart, in any state, "
    "until right for good; below it the most of a disturbance that holds, - where it makes no "
    "sense. What is undecided takes more time: see --time."
)


def show_comparison(rows: Sequence[Row], settings: Sequence[str], title: str) -> None:
    """``settings``: of each link, in words; ``title``: what all have in common."""
    console = output_console()
    say(console, title, "bold")
    shown = sorted(rows, key=_order)
    for block in _blocks(shown, console.width):
        console.print(_table(block))
    for row in shown:
        spacing = row.cells["spacing"]
        if spacing.verdict is Verdict.UNDECIDED:
            name = printable(row.link.name)
            say(console, f"{name}: no safe spacing was found; {spacing.covered}.")
    _show_advice(console, shown)
    if settings:
        say(console, f"Settings: {'; '.join(settings)}.", "dim")
    say(console, f"{_LEGEND} {_caution(shown)} {cautions.SHORT}", "dim")


def _order(row: Row) -> tuple[object, ...]:
    """Presses before levers, then few lines before many, then soon before late."""
    worst = row.seconds("latency", "worst")
    return row.link.kind != "press", row.link.scheme.lines, worst is None, worst or 0


def _caution(rows: Sequence[Row]) -> str:
    """Of lamps, for the fastest link."""
    rates = [rate_hz(row.spacing, row.link.tick) for row in rows if row.spacing is not None]
    if not rates:
        return ""
    known = [rate for rate in rates if rate is not None]
    return cautions.flashing(max(known) if len(known) == len(rates) else None) or ""


# -- the table ------------------------------------------------------------------------


def _blocks(rows: Sequence[Row], width: int) -> list[Sequence[Row]]:
    """As many links side by side as there is room for."""
    room = width - max(len(line.label) for line in LINES)
    blocks: list[Sequence[Row]] = []
    start = 0
    for end in range(1, len(rows) + 1):
        needed = sum(_width(row) + 2 for row in rows[start : end + 1])
        if end == len(rows) or needed > room:
            blocks.append(rows[start:end])
            start = end
    return blocks


def _width(row: Row) -> int:
    cells = [part for line in LINES for part in _text(row, line).split("\n")]
    return max(len(part) for part in (*_heading(row).split("\n"), *cells))


def _heading(row: Row) -> str:
    """The name, at its hyphens on more than one line."""
    name, parts = printable(row.link.name), [""]
    for piece in name.replace("-", "-\n").replace(" ", " \n").split("\n"):
        if len(parts[-1]) + len(piece) > 10 and parts[-1]:
            parts.append("")
        parts[-1] += piece
    return "\n".join(part.strip() for part in parts)


def _table(rows: Sequence[Row]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column()
    deepest = max(_heading(row).count("\n") for row in rows)
    for row in rows:
        heading = _heading(row)
        above = "\n" * (deepest - heading.count("\n"))
        table.add_column(Text(above + heading), justify="right")
    if any(row.link.name != row.link.scheme_name for row in rows):
        table.add_row("scheme", *(row.link.scheme_name.replace("-", "-\n") for row in rows))
    if len({row.link.inputs for row in rows}) > 1:
        table.add_row("inputs", *(str(row.link.inputs) for row in rows))
    table.add_row("for", *(_KINDS[row.link.kind] for row in rows))
    table.add_row("lines", *(str(row.link.scheme.lines) for row in rows))
    for line in LINES:
        if any(line.column in row.cells for row in rows):
            table.add_row(line.label, *(Text(_text(row, line)) for row in rows))
    return table


def _text(row: Row, line: Line) -> str:
    cell = row.cells.get(line.column)
    if cell is None or cell.verdict is None:
        return "-"
    if cell.verdict is Verdict.UNDECIDED:
        return "undecided"
    return line.text(row, cell)


# -- which one to build -----------------------------------------------------------------

_BEARING = {
    "overlap": "inputs held together",
    "pause": "a pause",
    "recovery": "ends that start apart",
}
_REASONS: dict[str, Callable[[Row], str]] = {
    "lines": lambda row: f"fewest lines ({row.link.scheme.lines})",
    "latency": lambda row: f"soonest ({_time(row, row.cells['latency'].amounts['worst'])} at most)",
    "spacing": lambda row: f"closest together ({_apart(row)})",
}


def _show_advice(console: Console, rows: Sequence[Row]) -> None:
    for kind, told in advice(rows).items():
        say(console, f"Which one to build, for {_KINDS[kind]}:", "bold")
        for one in told:
            text = f"{printable(one.row.link.name)}: {_advice(one)}."
            say(console, text, indent=_INDENT, hang=_INDENT * 2)


def _advice(one: Advice) -> str:
    if one.behind is not None:
        return f"by these figures never ahead of {printable(one.behind.link.name)}"
    said = [_REASONS[reason](one.row) for reason in one.reasons if reason in _REASONS]
    borne = [_BEARING[reason] for reason in one.reasons if reason in _BEARING]
    if borne:
        how = "also" if "lines" in one.reasons else f"fewest lines ({one.row.link.scheme.lines})"
        said.insert("lines" in one.reasons, f"{how} with {_listed(borne)}")
    fails = [_BEARING[trouble] for trouble in one.fails]
    open_ = [_BEARING[trouble] for trouble in one.open]
    text = ", ".join(said) or "between the others"
    text += f"; not with {_listed(fails)}" if fails else ""
    return text + (f"; undecided with {_listed(open_)}" if open_ else "")


def _apart(row: Row) -> str:
    apart = _spacing(row, row.cells["spacing"])
    return "any spacing" if apart == "any" else f"{apart} apart"


def _listed(words: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]]))
