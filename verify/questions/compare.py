"""Links side by side. Every cell is the answer of a question that can be asked by itself.

To add a column: a function from a link to a ``Cell`` and its line in ``COLUMNS`` here, its
words in ``verify/reports/comparison.py``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from time import process_time

from verify.engines import alarm, memory
from verify.engines.answer import Budget, OutOfTimeError, Progress, Verdict
from verify.errors import ModelError, UsageError
from verify.parts.link import Link
from verify.parts.pause import Pause
from verify.questions import cell as cells_kept
from verify.questions import kept
from verify.questions.cell import OPEN, Allowed, Amount, Cell
from verify.questions.judging import Judgement, Subject, judge
from verify.questions.latency import latencies
from verify.questions.lifetime import lifetime
from verify.questions.margin import FAR, Margin, Side, margin
from verify.questions.rate_margin import rate_margin
from verify.questions.recover import recover
from verify.questions.spacing import least_spacing
from verify.questions.workers import each

# Skew is looked at up to this many times the time that the slowest input takes.
FAR_SKEW = 2
# Ends that drift apart without end do so for any error; how soon is asked for this one.
DRIFT = Fraction(1, 1000)
# Of the time beyond a minute, questions that may take long have this part each.
SHARE = 0.1


@dataclass(frozen=True)
class Column:
    """``ask``: the cell of a link at its least safe spacing, given that of the spacing itself.
    ``amounts``: their names.

    ``margin``: the amounts are the most that holds, below zero (``least``) and above.
    ``ratios``: amounts that are parts of 1, and no ticks. ``seconds``: of a question that may
    take long, all that it gets, unless there is more than a minute for everything.
    """

    key: str
    ask: Callable[[Link, Budget, Cell], Cell]
    amounts: tuple[str, ...] = ()
    margin: bool = False
    ratios: tuple[str, ...] = ()
    seconds: float | None = None


@dataclass(frozen=True)
class Row:
    """A link with its least safe spacing for its operator's, and its cells by column."""

    link: Link
    cells: dict[str, Cell]

    @property
    def spacing(self) -> int | None:
        """The least safe one, ticks; None if there is none or none was found."""
        least = self.cells["spacing"].amounts.get("least")
        return None if least is None else int(least)

    def seconds(self, column: str, amount: str) -> Fraction | None:
        """An amount of ticks in seconds; None if there is none."""
        ticks = self.cells[column].amounts.get(amount)
        return None if ticks is None else ticks * self.link.tick


# -- columns ------------------------------------------------------------------------


def _spacing(link: Link, budget: Budget, _: Cell) -> Cell:
    found = least_spacing(Subject(link, budget=budget), "auto", Progress(), budget)
    return Cell(found.verdict, found.engine, found.covered, amounts={"least": found.ticks})


def _latency(link: Link, budget: Budget, _: Cell) -> Cell:
    """Over every sequence that keeps the spacing."""
    found = latencies(Subject(link, budget=budget), "auto", Progress(), budget)
    best, worst = found.best, found.worst
    if not found.exact or best is None or worst is None:
        return Cell(Verdict.UNDECIDED, found.engine, found.covered)
    amounts: dict[str, Amount | None] = {"best": best, "worst": worst, "spread": worst - best}
    return Cell(found.verdict, found.engine, found.covered, amounts=amounts)


def _overlap(link: Link, budget: Budget, _: Cell) -> Cell:
    """Does it hold when any number are held at once?

    Presses keep the least safe spacing, and may be held until after the next. Levers may be
    up together, if the file has no bound on that: the proof of the spacing is about that.
    """
    if link.kind == "level" and link.operator.overlap is None:
        return Cell(Verdict.HOLDS, covered="the spacing was proved with any number of them up")
    least, most = link.operator.hold
    held = link.with_operator(overlap=None, hold=(least, max(most, link.operator.spacing + 1)))
    judged = judge(Subject(held, budget=budget), "auto", Progress(), budget=budget)
    return Cell(judged.verdict, judged.engine, judged.covered)


def _pause(link: Link, budget: Budget, _: Cell) -> Cell:
    """Does it hold when one end, either, stops for a tick once, at any time?

    Or as its file has it, if that has pauses. The first failure will do.
    """
    paused = link if link.pause.most else replace(link, pause=Pause(1))
    judged = judge(Subject(paused, budget=budget), "auto", Progress(), budget=budget, brief=True)
    return Cell(judged.verdict, judged.engine, judged.covered)


def _margin(link: Link, of: str, budget: Budget, spacing: Cell, far: int = FAR) -> Margin:
    """The link as it is was proved right when its spacing was found."""
    proved = Judgement(Verdict.HOLDS, spacing.engine, spacing.covered, complete=True)
    return margin(link, of, "auto", Progress(), budget, far=far, brief=True, proved=proved)


def _offset(link: Link, budget: Budget, spacing: Cell) -> Cell:
    found = _margin(link, "clock.offset", budget, spacing)
    cell = _side(found.most, "most")
    if found.least is None:
        return cell
    early = found.least
    if early.verdict is not Verdict.HOLDS:
        return _side(early, "least")
    return Cell(
        cell.verdict,
        cell.engine,
        cell.covered,
        amounts={"least": None if early.amount is None else -early.amount, **cell.amounts},
        beyond=cell.beyond and early.trace_beyond is None,
    )


def _skew(link: Link, budget: Budget, spacing: Cell) -> Cell:
    found = _margin(link, "line.skew", budget, spacing, far=FAR_SKEW)
    return _side(found.most, "most")


def _drift(link: Link, budget: Budget, _: Cell) -> Cell:
    """At the bounds themselves it may hold or not; every smaller error does.

    Of ends that drift apart without end no error holds: how long it lasts is asked instead.
    """
    off = replace(link, clock=replace(link.clock, rate=(-DRIFT, DRIFT)))
    if off.drifts_away:
        lasting = lifetime(Subject(off, budget=budget), "auto", Progress(), budget)
        lasts = None if lasting.ticks is None else Fraction(lasting.ticks)
        none = Fraction(0)
        amounts: dict[str, Amount | None] = {"least": none, "most": none, "lasts": lasts}
        return Cell(Verdict.HOLDS, lasting.engine, lasting.covered, amounts=amounts)
    found = rate_margin(link, "auto", Progress(), budget)
    for side in (found.least, found.most):
        if side.verdict is not Verdict.HOLDS or side.amount is None:
            return Cell(side.verdict, side.engine, side.covered)
    least, most = found.least.amount, found.most.amount
    return Cell(
        Verdict.HOLDS,
        found.most.engine,
        found.most.covered,
        amounts={"least": None if least is None else -least, "most": most, "lasts": None},
        beyond=found.least.trace_beyond is None and found.most.trace_beyond is None,
    )


def _recovery(link: Link, budget: Budget, _: Cell) -> Cell:
    """From power-up in any state, until it is right and stays right. Fails: never."""
    # A link with a pause in its file was proved with it.
    found = recover(link, "auto", Progress(), budget, proved=not link.pause.most)
    pressed = False
    if found.lasso is not None and found.trace is not None:
        start, end = found.lasso.tick, found.lasso.tick + found.lasso.ticks
        pressed = any(start < press.tick <= end for press in found.trace.script.presses)
    return Cell(
        found.verdict,
        found.engine,
        found.covered,
        amounts={"most": found.ticks},
        pressed=pressed,
    )


def _side(side: Side, name: str) -> Cell:
    """One side of a margin. What an engine left open is open, whatever held until then."""
    if side.verdict is Verdict.UNDECIDED:
        return Cell(side.verdict, side.engine, side.covered)
    return Cell(
        side.verdict,
        side.engine,
        side.covered,
        amounts={name: side.amount},
        beyond=side.trace_beyond is None,
    )


SPACING = Column("spacing", _spacing, ("least",))
LATENCY = Column("latency", _latency, ("best", "worst", "spread"))
COLUMNS = (
    SPACING,
    LATENCY,
    Column("overlap", _overlap),
    Column("pause", _pause),
    Column("recovery", _recovery, ("most",), seconds=1.5),
    Column("offset", _offset, ("least", "most"), margin=True),
    Column(
        "drift",
        _drift,
        ("least", "most", "lasts"),
        margin=True,
        ratios=("least", "most"),
        seconds=1.5,
    ),
    Column("skew", _skew, ("most",), margin=True),
)
"""What is asked about each link. The least safe spacing comes first: the others are at it."""


def is_open(row: Row) -> bool:
    """Something is undecided that was not cut short on purpose."""
    costly = {column.key for column in COLUMNS if column.seconds is not None}
    return any(
        cell.verdict is Verdict.UNDECIDED for key, cell in row.cells.items() if key not in costly
    )


# -- asking -------------------------------------------------------------------------


def number_of_cells(links: Sequence[Link], columns: Sequence[Column] = COLUMNS) -> int:
    """How many answers a comparison takes."""
    return len(links) * len(columns)


def compare(
    links: Sequence[Link],
    budget: Budget,
    *,
    columns: Sequence[Column] = COLUMNS,
    jobs: int = 1,
    told: Callable[[int], None] = lambda cells: None,
) -> list[Row]:
    """A row per link, in the order of the links. With ``--resume`` every cell is kept as soon as
    it is there.

    ``budget``: for everything together; what is open when it is spent is undecided. ``jobs``:
    processes at work; the answers are the same with any number. ``told``: is called with the
    number of cells that have been answered since the last call.
    """
    cells: list[dict[str, Cell]] = [{} for _ in links]
    at_spacing: dict[int, Link] = {}
    for i, column, cell in _answers(
        [(i, link, SPACING, OPEN) for i, link in enumerate(links)], budget, jobs
    ):
        cells[i][column.key] = cell
        told(1)
        least = cell.amounts.get("least")
        if least is not None:
            at_spacing[i] = links[i].with_operator(spacing=least)
            continue
        for other in columns:
            if other is not SPACING:
                cells[i][other.key] = _without_spacing(cell)
        told(len(columns) - 1)
    rest = [
        (i, link, column, cells[i][SPACING.key])
        for i, link in at_spacing.items()
        for column in columns
        if column is not SPACING
    ]
    for i, column, cell in _answers(rest, budget, jobs):
        cells[i][column.key] = cell
        told(1)
    return [
        Row(at_spacing.get(i, link), {c.key: cells[i][c.key] for c in columns})
        for i, link in enumerate(links)
    ]


def _without_spacing(spacing: Cell) -> Cell:
    if spacing.verdict is Verdict.FAILS:
        return Cell(None, reason="no spacing is safe")
    return Cell(Verdict.UNDECIDED, covered="no safe spacing was found to ask at")


_Task = tuple[int, Link, Column, Cell]


def _answers(
    tasks: Sequence[_Task], budget: Budget, jobs: int
) -> Iterator[tuple[int, Column, Cell]]:
    # Those that take longest begin first, so that none is left to run alone at the end.
    # But those that may be cut short come last, and before them links that never rest: so that
    # as little as may be is open when the time is up.
    order = sorted(
        tasks,
        key=lambda task: (
            task[2].seconds is not None,
            task[1].scheme.warm_up > 0,
            -task[1].inputs,
            -task[1].scheme.lines,
        ),
    )
    asked = []
    for task in order:
        i, link, column, spacing = task
        key, may = _key(link, column, spacing), _allowed(column, budget)
        found = cells_kept.known(key, column.amounts, may, margin=column.margin)
        if found is None:
            asked.append((task, key))
        else:
            yield i, column, found
    work = [(link, column, budget, spacing) for (_, link, column, spacing), _ in asked]
    for k, (answer, had) in each(_answer, work, jobs):
        (i, _, column, _), key = asked[k]
        cells_kept.keep(key, answer, had)
        yield i, column, answer


def _key(link: Link, column: Column, spacing: Cell) -> str | None:
    """Of a cell. A margin says who proved the spacing."""
    return kept.key_of("cell", column.key, link, spacing.engine, spacing.covered)


def _allowed(column: Column, budget: Budget) -> Allowed:
    """What a cell may take that begins now: of a question that may take long, of its own work."""
    left = budget.left()
    if column.seconds is not None and budget.seconds is not None and left is not None:
        left = min(column.seconds + SHARE * max(0.0, budget.seconds - 60), left)
    return Allowed(left, memory.allowed())


def _answer(task: tuple[Link, Column, Budget, Cell]) -> tuple[Cell, Allowed]:
    link, column, budget, spacing = task
    whole, had = budget, _allowed(column, budget)
    if column.seconds is not None and had.seconds is not None:
        # Of its own work, whatever else the machine is doing.
        budget = Budget(had.seconds, clock=process_time)
    if whole.seconds is not None:
        # A question's own work may take its time on a machine that has other things to do.
        alarm.set_off(max(whole.left() or 0.0, 2 * (column.seconds or 0.0)))
    try:
        return column.ask(link, budget, spacing), had
    except OutOfTimeError:
        return replace(OPEN, amounts=dict.fromkeys(column.amounts)), had
    except UsageError as error:
        return Cell(None, reason=str(error)), had
    except ModelError as error:
        raise ModelError(f"{link.name}: {error}") from None
    finally:
        alarm.turn_off()
