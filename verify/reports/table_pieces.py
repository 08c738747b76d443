"""What all answers to ``table`` are written with."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TypeVar

from rich.console import Console
from rich.text import Text

from verify.engines.answer import Verdict
from verify.engines.trace import Trace
from verify.parts.link import Link
from verify.questions.evidence import Fault
from verify.reports import cautions
from verify.reports.console import output_console, say
from verify.reports.finer import measured, run_notes
from verify.reports.names import printable
from verify.reports.picture import picture
from verify.reports.terminal import _ascii_only, _table, conditions
from verify.units import decimal_text, ticks_text

MOST = 12
"""Rows of a table, and lines of a list, on a terminal; --json has all."""

T = TypeVar("T")


@dataclass(frozen=True)
class Page:
    """Where an answer is written, line by line."""

    console: Console = field(default_factory=output_console)

    def say(self, text: str, style: str = "") -> None:
        """A sentence, or several."""
        say(self.console, text, style)

    def item(self, text: str) -> None:
        """A line of a list."""
        say(self.console, text, indent="  ", hang="    ")

    def items(
        self, found: Sequence[T], text: Callable[[T], str], more: str = "{} more; --json has all."
    ) -> None:
        """A list, and how many are left out."""
        for one in found[:MOST]:
            self.item(text(one))
        if len(found) > MOST:
            self.item("and " + more.format(len(found) - MOST))

    def rows(self, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """A table, and how many rows are left out."""
        table = _table(*headings)
        for row in rows[:MOST]:
            table.add_row(*map(Text, row))
        self.console.print(table)
        if len(rows) > MOST:
            self.say(f"and {len(rows) - MOST} more; --json has all.")

    def last(self, text: str) -> None:
        """How the answer was come by, and what it is not for."""
        self.say(f"{text} {cautions.SHORT}", "dim")


@dataclass(frozen=True)
class LinkPage(Page):
    """An answer about the table of a link."""

    link: Link = field(kw_only=True)

    def verdict(
        self, verdict: Verdict, holds: str, faults: Sequence[Fault], undecided: Sequence[str] = ()
    ) -> None:
        """``holds``: what that means; or what is at fault, or open."""
        if verdict is Verdict.HOLDS:
            self.say(f"holds: '{printable(self.link.name)}': {holds}")
        elif verdict is Verdict.UNDECIDED:
            for why in undecided:
                self.say(f"undecided: {why}; ask `fewwire check`.")
        else:
            things = "1 thing is" if len(faults) == 1 else f"{len(faults)} things are"
            self.say(f"fails: {things} wrong with the table of '{printable(self.link.name)}'.")
            self.items(faults, self._fault)

    def _fault(self, fault: Fault) -> str:
        names = "" if fault.named else self.names(fault.entries)
        return printable(fault.why) + (f" ({names})" if names else "")

    def trace(self, trace: Trace | None) -> None:
        """The run that shows a fault."""
        if trace is None:
            return
        self.say("A run of the simulator that shows it:")
        finer, _ = measured(self.link, None, trace.script)
        width = max(40, self.console.width)
        drawn = picture(trace, finer, width, windows=None, ascii_only=_ascii_only())
        self.console.print(Text(drawn), soft_wrap=True)
        if notes := run_notes(self.link, trace):
            self.say(notes)

    def last(self, text: str) -> None:
        """With the conditions of the link."""
        super().last(f"{text} {conditions(self.link)}")

    def name(self, index: int) -> str:
        """Of an input."""
        return f"'{printable(self.link.names[index])}'"

    def names(self, inputs: Sequence[int]) -> str:
        """Of several."""
        return ", ".join(map(self.name, inputs))

    def ticks(self, ticks: Fraction) -> str:
        """With the time that they are, if they are whole."""
        if ticks.denominator == 1 and ticks >= 0:
            return ticks_text(int(ticks), self.link.tick)
        return f"{ticks} ticks"


def rational(number: Fraction) -> str:
    """Exact, and in per cent."""
    return str(number) if number == 0 else f"{number} ({decimal_text(100 * number, 4)} %)"
