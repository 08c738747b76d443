"""Encodings of the solver side by side: ``python -m tests.bench.encodings``.

For every scheme, CPU seconds for one proof and one counterexample: at the least safe spacing S and
at S - 1 (where S is 0 the proof alone, where no spacing helps the counterexample alone), models
built anew for each. The encodings are those of ``variants``; all ask about the same composed
machine, and every answer is held against the default's. Beside them the explorer, the zones, and
what one would try first (``per_tick``): a solver step per tick, and trying all sequences of two
presses. These two find the counterexample and prove nothing, so they have only looked at what two
presses do.

Written to ``reports/``: encodings.md and encodings.csv.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import inf
from pathlib import Path
from statistics import geometric_mean
from time import process_time
from typing import Any

import click

from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.explorer import explore
from verify.engines.lone import factored_windows
from verify.engines.solver import OutOfReachError
from verify.engines.zones import explore_zones
from verify.files import write_whole
from verify.language.machine import System
from verify.parts.link import Link, factored
from verify.questions.judging import Subject
from verify.questions.spacing import least_spacing

from .measuring import as_csv, cpu, markdown, measured_on, out_option, seconds_text
from .per_tick import enumerated, unrolled
from .ratios import spacings_to_check
from .subjects import EVERY, Kind, subject_link
from .variants import VARIANTS, OneOutput, Variant

SIZES = (4, 16, 64)
# Both looks of a cell together, CPU seconds.
LIMIT = 10.0
# Less than this is measured again, so many times, ways taking turns; the least counts.
SHORT, AGAIN = 1.5, 4
NEARLY = 0.95
DEFAULT = "integers"


@dataclass(frozen=True)
class Question:
    """A spacing, the systems of all distinct parts at it, and what is known of it."""

    spacing: int
    verdict: Verdict
    systems: tuple[System, ...]


@dataclass(frozen=True)
class Case:
    """What is asked of one link. ``ticks``: after which a press alone has come to rest."""

    kind: Kind
    inputs: int
    questions: tuple[Question, ...]
    ticks: int


@dataclass(frozen=True)
class Cell:
    """``seconds``: None where the time was up. ``verdicts``: one per question; None if it was."""

    way: str
    seconds: float | None
    verdicts: tuple[Verdict | None, ...]

    def text(self, limit: float) -> str:
        """Seconds, or why there are none."""
        if self.seconds is None:
            return f"> {limit:g}"
        if Verdict.UNDECIDED in self.verdicts and self.way not in LOOKING_ONLY:
            return "undecided"
        return seconds_text(self.seconds)


Way = Callable[[Case, Budget], Iterator[Verdict | None]]


def case(kind: Kind, inputs: int) -> Case:
    """By any engine: which spacings there are to ask about."""
    link = subject_link(kind, inputs)
    found = least_spacing(Subject(link), "auto", Progress(), Budget(None))
    questions = []
    for spacing in spacings_to_check(found):
        verdict = Verdict.HOLDS if spacing == found.ticks else Verdict.FAILS
        questions.append(Question(spacing, verdict, _systems(link.with_operator(spacing=spacing))))
    return Case(kind, inputs, tuple(questions), max(Subject(link).lone.settled) + 1)


def _systems(link: Link) -> tuple[System, ...]:
    subject = Subject(link)
    return tuple(
        factored(alike[0].link, windows)
        for alike in subject.distinct_parts()
        for windows in factored_windows(alike[0].link, subject.lone_for(alike[0]))
    )


def by_parts(judge: Callable[[System], Verdict | None]) -> Callable[[Question], Verdict | None]:
    """All parts of a link, up to the first that does not hold."""

    def judged(question: Question) -> Verdict | None:
        return next((v for v in map(judge, question.systems) if v is not Verdict.HOLDS), HOLDS)

    return judged


HOLDS = Verdict.HOLDS


def searched(
    variant: type[Variant], system: System, budget: Budget, shared: dict[str, Any]
) -> Verdict:
    """The verdict of one search."""
    try:
        return variant(system, budget, shared).run().verdict
    except OutOfReachError:  # the time was up before it began
        return Verdict.UNDECIDED


def by_variant(variant: type[Variant]) -> Way:
    """The solver engine with another encoding."""

    def ways(asked: Case, budget: Budget) -> Iterator[Verdict | None]:
        shared: dict[str, Any] = {}
        for question in asked.questions:
            yield by_parts(lambda s: searched(variant, s, budget, shared))(question)

    return ways


def one_output_at_a_time(asked: Case, budget: Budget) -> Iterator[Verdict | None]:
    """Each output proved at S; the first that fails at S - 1 is enough."""

    def judge(system: System) -> Verdict:
        worst = Verdict.HOLDS
        for output in range(system.offers[0].count):
            verdict = searched(OneOutput, system, budget, {"output": output})
            if verdict is Verdict.FAILS:
                return verdict
            worst = verdict if verdict is Verdict.UNDECIDED else worst
        return worst

    yield from map(by_parts(judge), asked.questions)


def explorer(asked: Case, budget: Budget) -> Iterator[Verdict | None]:
    """State by state."""
    yield from map(by_parts(lambda s: explore(s, budget, Progress()).verdict), asked.questions)


def zones(asked: Case, budget: Budget) -> Iterator[Verdict | None]:
    """Zone by zone."""
    search = by_parts(lambda s: explore_zones(s, budget, Progress()).verdict)
    yield from map(search, asked.questions)


def per_tick(look: Callable[[System, int, Budget], Verdict | None]) -> Way:
    """Ticks for two presses, the second up to one tick after the first has come to rest."""

    def ways(asked: Case, budget: Budget) -> Iterator[Verdict | None]:
        for question in asked.questions:
            ticks = max(question.spacing, asked.ticks) + asked.ticks + 1
            found = [look(system, ticks, budget) for system in question.systems]
            if Verdict.FAILS in found:
                yield Verdict.FAILS
            else:
                yield None if None in found else Verdict.UNDECIDED

    return ways


WAYS: dict[str, Way] = {
    **{name: by_variant(variant) for name, variant in VARIANTS.items()},
    "one output at a time": one_output_at_a_time,
    "explorer": explorer,
    "zones": zones,
    "a solver step per tick": per_tick(unrolled),
    "all sequences of two presses": per_tick(enumerated),
}
LOOKING_ONLY = ("a solver step per tick", "all sequences of two presses")


def measure(asked: Case, name: str, limit: float) -> Cell:
    """One cell. Raises AssertionError for an answer that is not the one known."""
    budget = Budget(limit, clock=process_time)
    seconds, verdicts = cpu(lambda: tuple(WAYS[name](asked, budget)))
    for question, verdict in zip(asked.questions, verdicts, strict=True):
        if verdict not in (None, Verdict.UNDECIDED, question.verdict):
            raise AssertionError(f"{name}, {asked.kind}, {asked.inputs}: {verdict} at {question}")
    # A search that ran out of time is undecided; the budget began a little before the seconds.
    spent = seconds > NEARLY * limit and name not in LOOKING_ONLY
    over = None in verdicts or (spent and Verdict.UNDECIDED in verdicts)
    return Cell(name, None if over else seconds, verdicts)


def seconds_of(cell: Cell) -> float:
    """Of what was not through in its time: more than any."""
    return inf if cell.seconds is None else cell.seconds


def measured(asked: Case, limit: float) -> dict[str, Cell]:
    """Every way. What comes first pays for what all keep, so that each comes first in turn."""
    cells = {name: measure(asked, name, limit) for name in WAYS}
    for turn in range(AGAIN):
        names = [*WAYS][turn:] + [*WAYS][:turn]
        for name in names:
            if seconds_of(cells[name]) < SHORT:
                again = measure(asked, name, limit)
                cells[name] = min(cells[name], again, key=seconds_of)
    return cells


def tables(
    cells: dict[tuple[Kind, int, str], Cell], sizes: Sequence[int], limit: float
) -> Iterator[str]:
    """One table per scheme, a row per way, a column per number of inputs."""
    for kind in dict.fromkeys(kind for kind, _, _ in cells):
        head = ("way", *(f"{n} inputs" for n in sizes))
        found = [(name, [cells.get((kind, n, name)) for n in sizes]) for name in WAYS]
        rows = [(name, *(c.text(limit) if c else "" for c in row)) for name, row in found]
        yield f"## {kind}\n\n{markdown(head, rows)}\n"


def verdict_of_table(cells: dict[tuple[Kind, int, str], Cell]) -> str:
    """Per encoding: in how many cells it answered, how its seconds there are to the default's
    (each link counts the same), and all its seconds where every one answered."""
    asked = list(dict.fromkeys((kind, n) for kind, n, _ in cells))
    asked = [k for k in asked if all((*k, name) in cells for name in WAYS)]

    def answered(cell: Cell) -> bool:
        return cell.seconds is not None and Verdict.UNDECIDED not in cell.verdicts

    names = [*VARIANTS, "one output at a time"]
    common = [k for k in asked if all(answered(cells[*k, name]) for name in names)]

    def seconds(name: str, k: tuple[Kind, int]) -> float:
        return cells[*k, name].seconds or 0.0

    def beside_default(name: str) -> float:
        both = [k for k in asked if all(answered(cells[*k, n]) for n in (name, DEFAULT))]
        return geometric_mean([seconds(name, k) / seconds(DEFAULT, k) for k in both] or [1.0])

    rows = [
        (
            name,
            str(sum(answered(cells[*k, name]) for k in asked)),
            f"{beside_default(name):.2f}",
            seconds_text(sum(seconds(name, k) for k in common)),
        )
        for name in names
    ]
    head = (
        "encoding",
        f"answered, of {len(asked)}",
        "times the default, geometric mean",
        f"s in the {len(common)} that all answered",
    )
    return markdown(head, sorted(rows, key=lambda row: (-int(row[1]), float(row[2]))))


@click.command(help=__doc__)
@click.option("--inputs", "sizes", multiple=True, type=int, help="So many inputs (4, 16, 64).")
@click.option("--limit", default=LIMIT, help="CPU seconds of a cell.", show_default=True)
@out_option
def main(sizes: tuple[int, ...], limit: float, out: Path) -> None:
    """Measure, and write both files."""
    cells: dict[tuple[Kind, int, str], Cell] = {}
    numbers = sizes or SIZES
    measure(case(EVERY[0], 2), DEFAULT, limit)  # loads z3
    for k, inputs in enumerate(numbers, 1):
        for kind in EVERY:
            asked = case(kind, inputs)
            for name, cell in measured(asked, limit).items():
                cells[kind, inputs, name] = cell
                print(kind, inputs, name, cell.text(limit), sep="; ", file=sys.stderr, flush=True)
        # Small links are there to be read while large ones are still measured.
        write(out, cells, numbers[:k], limit)


def write(
    out: Path, cells: dict[tuple[Kind, int, str], Cell], sizes: Sequence[int], limit: float
) -> None:
    """Both files."""
    text = (
        f"# Encodings side by side\n\n{measured_on()} CPU seconds for one proof and one"
        f" counterexample, at most {limit:g} s; made by `python -m tests.bench.encodings`, whose"
        " help says what each way is. *undecided*: the way has no argument for such a link (the"
        " solver argues from rest, and a scan never rests). Empty: not measured.\n\n"
        f"{verdict_of_table(cells)}\n{''.join(tables(cells, sizes, limit))}"
    )
    rows = [
        (k.scheme, k.inputs, n, name, cell.seconds, *(v and v.value for v in cell.verdicts))
        for (k, n, name), cell in cells.items()
    ]
    head = ("scheme", "kind", "inputs", "way", "seconds", "first answer", "second answer")
    write_whole(str(out / "encodings.md"), text.rstrip() + "\n", overwrite=True)
    write_whole(str(out / "encodings.csv"), as_csv(head, rows), overwrite=True)


if __name__ == "__main__":
    main()
