"""What `spacing` costs beside what it cannot do without: ``python -m tests.bench.ratios``.

A least safe spacing S takes at least one proof, at S, and one counterexample, at S - 1. The table
that is written to ``reports/`` says for every scheme how much longer the whole question takes,
from a link as its file describes it: lone presses, parts, building and searching all included.

- The first ratio is to the same two answers asked for by themselves: ``check`` at S, then at
  S - 1, each from the link on.
- The second leaves out of these two all that comes before the verdict is asked for (lone presses
  and parts), so it is the harder one: what is left is building the systems and searching them.

Where no spacing helps there is no proof, and where S is 0 no counterexample.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from time import process_time

import click

from verify.engines import simulator
from verify.engines.answer import Budget, Progress, Verdict
from verify.files import write_whole
from verify.parts.link import Link
from verify.questions import judging
from verify.questions.judging import Judgement, Subject, judge
from verify.questions.spacing import Spacing, least_spacing, own_spacing

from .measuring import as_csv, least_cpu, markdown, measured_on, out_option, seconds_text
from .subjects import EVERY, Kind, subject_link

SIZES = (16, 64, 256)
HEAD = (
    "scheme, inputs",
    "inputs",
    "least spacing, ticks",
    "by",
    "spacing, s",
    "proof, s",
    "counterexample, s",
    "ratio",
    "ratio to judging alone",
)


@dataclass(frozen=True)
class Check:
    """CPU seconds of one check, from the link on, and of its judging alone."""

    seconds: float
    judging: float
    verdict: Verdict


@dataclass(frozen=True)
class Measured:
    """One line of the table. ``checks``: the proof, if there is one, and the counterexample."""

    kind: Kind
    inputs: int
    spacing: Spacing
    seconds: float
    checks: tuple[Check, ...]

    @property
    def ratio(self) -> float:
        """To both checks, each from the link on."""
        return self.seconds / sum(check.seconds for check in self.checks)

    @property
    def bare_ratio(self) -> float:
        """To the judging of both checks alone."""
        return self.seconds / sum(check.judging for check in self.checks)

    def of(self, verdict: Verdict) -> float | None:
        """Seconds of the check with this verdict; None if there was none."""
        found = [check.seconds for check in self.checks if check.verdict is verdict]
        return found[0] if found else None


def forget() -> None:
    """What was remembered of links asked about before."""
    judging._KNOWN.clear()
    simulator._compiled.cache_clear()


def whole_search(link: Link) -> Callable[[], Spacing]:
    """All of `spacing`."""

    def work() -> Spacing:
        forget()
        return least_spacing(Subject(link), "auto", Progress(), Budget(None))

    return work


def whole_check(link: Link, spacing: int) -> Callable[[], Check]:
    """All of `check` at a spacing."""
    spaced = link.with_operator(spacing=spacing)

    def work() -> Check:
        forget()
        started = process_time()
        subject = Subject(spaced)
        prepared = process_time()
        judged: Judgement = judge(subject, "auto", Progress(), budget=Budget(None))
        ended = process_time()
        return Check(ended - started, ended - prepared, judged.verdict)

    return work


def spacings_to_check(found: Spacing) -> tuple[int, ...]:
    """Of the proof and the counterexample that an answer needs at least."""
    if found.ticks is not None:
        return (found.ticks, found.ticks - 1)[: 1 + (found.ticks > 0)]
    if found.trace_below is None:
        raise AssertionError(f"nothing was found: {found.covered}")
    return (own_spacing(found.trace_below) or 0,)


def measure(kind: Kind, inputs: int) -> Measured:
    """One line of the table; the three pieces of work take turns."""
    link = subject_link(kind, inputs)
    found = whole_search(link)()
    checks = [whole_check(link, spacing) for spacing in spacings_to_check(found)]
    (seconds, found), *checked = least_cpu([whole_search(link), *checks])
    wanted = [Verdict.FAILS] if found.ticks is None else [Verdict.HOLDS, Verdict.FAILS]
    verdicts = [check.verdict for _, check in checked]
    if verdicts != wanted[: len(verdicts)]:
        raise AssertionError(f"{kind}, {inputs}: {verdicts} beside {found}")
    return Measured(kind, inputs, found, seconds, tuple(check for _, check in checked))


def rows(measured: Iterable[Measured]) -> Iterator[tuple[str, ...]]:
    """The table, as texts."""
    for one in measured:
        ticks, proof = one.spacing.ticks, one.of(Verdict.HOLDS)
        below = one.of(Verdict.FAILS)
        yield (
            str(one.kind),
            str(one.inputs),
            "none" if ticks is None else str(ticks),
            one.spacing.engine,
            seconds_text(one.seconds),
            "" if proof is None else seconds_text(proof),
            "" if below is None else seconds_text(below),
            f"{one.ratio:.2f}",
            f"{one.bare_ratio:.2f}",
        )


@click.command(help=__doc__)
@click.option("--inputs", "sizes", multiple=True, type=int, help="So many inputs (16, 64, 256).")
@out_option
def main(sizes: tuple[int, ...], out: Path) -> None:
    """Measure, and write ``ratios.md`` and ``ratios.csv``."""
    measured = []
    for kind in EVERY:
        for inputs in sizes or SIZES:
            measured.append(measure(kind, inputs))
            print(*next(rows(measured[-1:])), sep="  ", file=sys.stderr, flush=True)
    table = list(rows(measured))
    worst = max(measured, key=lambda one: one.ratio)
    text = (
        "# `spacing` beside one proof and one counterexample\n\n"
        f"{measured_on()} Made by `python -m tests.bench.ratios`, whose help says what the columns"
        f" mean.\n\n{markdown(HEAD, table)}\n"
        f"Largest ratio: {worst.ratio:.2f} ({worst.kind}, {worst.inputs} inputs).\n"
    )
    write_whole(str(out / "ratios.md"), text, overwrite=True)
    write_whole(str(out / "ratios.csv"), as_csv(HEAD, table), overwrite=True)


if __name__ == "__main__":
    main()
