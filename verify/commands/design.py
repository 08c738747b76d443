"""Command ``design``: the best table or timing for a number of inputs."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import click

from verify.commands.shared import (
    STATUS,
    budget_of,
    guarded,
    json_option,
    kept_tables,
    print_json,
    time_option,
    watched,
)
from verify.errors import UsageError

if TYPE_CHECKING:
    from verify.design.designing import Design
    from verify.design.gaps import Receiver
    from verify.design.proof import Effort

_SCHEMES = {
    "pulse-gap": {
        "pulse",
        "window",
        "jitter",
        "rate",
        "receiver",
        "grid",
        "overlap",
        "distinct",
        "within_length",
    },
    "parallel-code": {"skew", "held", "reading", "lines"},
    "framed-serial": {"jitter", "rate", "stop"},
    "free-scan": {"jitter", "offset"},
    "synced-scan": {"jitter", "offset"},
}
_MOST_INPUTS = 2000


@click.command()
@click.option("--inputs", required=True, metavar="N", help="How many inputs.")
@click.option("--scheme", type=click.Choice([*_SCHEMES]), default="pulse-gap", show_default=True)
@click.option("--tick", default="50 ms", show_default=True, help="Length of a tick.")
@click.option("--jitter", help="Each edge may be this much late (not parallel-code).")
@click.option("--rate", help='Pulse-gap, framed-serial: clock error either way, "2 %" or 0.02.')
@click.option("--pulse", help="Pulse-gap: width of a pulse.  [default: 1]")
@click.option("--window", help="Pulse-gap: accepted either side of a gap, or BEFORE,AFTER.")
@click.option("--receiver", type=click.Choice(["timer", "taps"]), help="Pulse-gap.")
@click.option("--grid", help="Pulse-gap: gaps are multiples of this.")
@click.option(
    "--overlap",
    type=click.Choice(["chords", "any"]),
    help="Pulse-gap: presses in the same tick, then rest (taps); or at any distance.",
)
@click.option(
    "--distinct", is_flag=True, help="With --overlap chords: no two pulses as far apart as others."
)
@click.option("--within-length", help="Pulse-gap: no gap longer than this.")
@click.option("--skew", help="Parallel-code: lines differ by up to this; no settling.")
@click.option("--held", metavar="D", help="Parallel-code: so many held at once.")
@click.option(
    "--kept-apart",
    "reading",
    flag_value="each",
    help="With --held: no other code is covered by those held (default).",
)
@click.option(
    "--told-apart",
    "reading",
    flag_value="sets",
    help="With --held: every set of inputs shows its own pattern.",
)
@click.option(
    "--no-ghosts",
    "reading",
    flag_value="no-ghosts",
    help="With --held: no input that is not held shows its code.",
)
@click.option("--lines", metavar="K", help="Parallel-code: no more lines than this.")
@click.option("--stop", metavar="BITS", help="Framed-serial: bits of idle line that end a frame.")
@click.option("--offset", help="Scans: the receiver's clock starts up to this much away.")
@click.option("-o", "--output", type=click.Path(), help="Write the link file there, not to stdout.")
@click.option("--force", is_flag=True, help="Overwrite a file that is there.")
@click.option(
    "--resume",
    type=click.Path(),
    metavar="KEPT",
    help="Keep in this file how far the search is, and go on from what is there.",
)
@time_option("Search no longer and say what is open then; the check may add 10 s.")
@json_option
@guarded
def design(
    inputs: str,
    scheme: str,
    tick: str,
    output: str | None,
    force: bool,
    resume: str | None,
    seconds: float,
    as_json: bool,
    **options: Any,
) -> int:
    """Find the best table or timing, and prove that there is none better.

    Gaps: least longest gap, then least spacing, then least sum. Codes: fewest lines. Frames
    and scans: least bit time or slot, then the earliest sampling point. Times are ticks, or
    durations like "100 ms". The link file goes to stdout, what was found to stderr.

    Exit status: 0 found, and the file is proved; 1 proved that there is none; 3 undecided.

    Example: fewwire design --inputs 16 --jitter 1 -o bells.toml
    """
    asked = _Asked(scheme, _whole("inputs", inputs), tick, options)
    from verify.design.proof import Effort

    about = {"design": scheme, "inputs": asked.inputs, "tick": tick, **options}
    with watched() as progress, kept_tables(resume, about, output) as trail:
        found = asked.design(Effort(budget_of(seconds), progress, trail))
    text = found.text
    if text is not None and output is not None:
        from verify.files import write_whole

        write_whole(output, text, overwrite=force)
    if as_json:
        from verify.reports.design_report import design_json

        print_json(design_json(found, asked.seconds_per_tick))
    else:
        from verify.reports.design_report import show_design

        if text is not None and output is None:
            click.echo(text, nl=False)
        show_design(found, asked.seconds_per_tick, output)
    return STATUS[found.verdict.value]


@dataclass
class _Asked:
    """The options, read. Raises UsageError, in one line, for what makes no sense."""

    scheme: str
    inputs: int
    tick: str
    options: dict[str, Any]

    def __post_init__(self) -> None:
        from verify import units

        try:
            self.seconds_per_tick = units.parse_duration(self.tick)
        except units.TimeError as error:
            raise UsageError(f'--tick: found "{self.tick}"; allowed: {error.allowed}') from None
        if self.seconds_per_tick <= 0:
            raise UsageError(f'--tick: found "{self.tick}"; allowed: a duration above 0')
        if not 2 <= self.inputs <= _MOST_INPUTS:
            allowed = f"2 to {_MOST_INPUTS}"
            if self.inputs == 1:
                allowed += ": one input needs no table, a line of its own carries it"
            raise UsageError(f"--inputs: found {self.inputs}; allowed: {allowed}")
        for name, value in self.options.items():
            if value not in (None, False) and name not in _SCHEMES[self.scheme]:
                fits = [scheme for scheme, names in _SCHEMES.items() if name in names]
                raise UsageError(
                    f"{_option(name, value)}: found with --scheme {self.scheme}; allowed: with "
                    f"{' or '.join(fits)}"
                )

    def design(self, effort: Effort) -> Design:
        """Put the question."""
        if self.scheme == "pulse-gap":
            return self._gaps(effort)
        if self.scheme == "parallel-code":
            return self._codes(effort)
        from verify.design.designing import design_frames, design_scan

        tick, jitter = self.seconds_per_tick, self._time("jitter", 0)
        if self.scheme == "framed-serial":
            stop = self._number("stop", 1, 0, 8)
            return design_frames(self.inputs, tick, jitter, self._rate(), stop, effort)
        offset = self._time("offset", 0)
        return design_scan(self.scheme, self.inputs, tick, jitter, offset, effort)

    def _gaps(self, effort: Effort) -> Design:
        from verify.design.designing import design_chords, design_gaps, design_queue
        from verify.design.gaps import GapDemand

        overlap, distinct = self.options["overlap"], self.options["distinct"]
        if distinct and overlap != "chords":
            raise UsageError("--distinct: found alone; allowed: with --overlap chords")
        receiver: Receiver = self.options["receiver"] or (
            "taps" if overlap == "chords" else "timer"
        )
        longest = self._time("within_length", 0, least=1) or None
        demand = GapDemand(
            self.inputs,
            self._time("pulse", 1, least=1),
            self._time("jitter", 0),
            self._rate(),
            self._window(),
            receiver,
            self._time("grid", 1, least=1),
            longest,
        )
        if overlap is None:
            return design_gaps(demand, self.seconds_per_tick, effort)
        if demand.rate:
            raise UsageError(
                "--rate: found with --overlap; allowed: one of the two: tables for presses that "
                "come together are searched for clocks that run alike"
            )
        if overlap == "chords":
            return design_chords(demand, self.seconds_per_tick, distinct, effort)
        if self.inputs > _MOST_QUEUED:
            allowed = f"at most {_MOST_QUEUED} with --overlap any: a queue has no more places"
            raise UsageError(f"--inputs: found {self.inputs}; allowed: {allowed}")
        return design_queue(demand, self.seconds_per_tick, effort)

    def _codes(self, effort: Effort) -> Design:
        from models.parameters.codes import WIDEST
        from verify.design.designing import design_codes
        from verify.design.words import Demand

        skew = self._time("skew", 0)
        held = self._number("held", 1, 1, self.inputs)
        reading = self.options["reading"]
        if reading is not None and self.options["held"] is None:
            raise UsageError(f"{_option('reading', reading)}: found alone; allowed: with --held D")
        most = self._number("lines", WIDEST, 1, WIDEST)
        demand = Demand(skew > 0, held, reading or "each")
        return design_codes(self.inputs, demand, self.seconds_per_tick, skew, most, effort)

    # -- values ------------------------------------------------------------------------

    def _time(self, name: str, default: int, least: int = 0) -> int:
        value = self.options[name]
        return default if value is None else self._ticks(_option(name, value), value, least)

    def _ticks(self, option: str, value: str, least: int) -> int:
        from verify import units

        text = value.strip()
        try:
            ticks = units.to_ticks(
                int(text) if text.isascii() and text.isdigit() else text,
                self.seconds_per_tick,
                least,
            )
        except (units.TimeError, ValueError) as error:
            allowed = getattr(error, "allowed", units.allowed_time(least))
            raise UsageError(f'{option}: found "{value}"; allowed: {allowed}') from None
        return ticks or 0

    def _window(self) -> tuple[int, int] | None:
        value = self.options["window"]
        if value is None:
            return None
        sides = [self._ticks("--window", side, 0) for side in value.split(",")]
        if len(sides) > 2:
            raise UsageError(f'--window: found "{value}"; allowed: one time, or BEFORE,AFTER')
        return sides[0], sides[-1]

    def _rate(self) -> Fraction:
        value = self.options["rate"]
        if value is None:
            return Fraction(0)
        text = value.strip()
        try:
            number = Fraction(text.removesuffix("%").strip())
            rate = number / 100 if text.endswith("%") else number
        except (ValueError, ZeroDivisionError):
            rate = Fraction(-1)
        if not 0 <= rate < Fraction(1, 2):
            allowed = 'a share below a half, like 0.02 or "2 %"'
            raise UsageError(f'--rate: found "{value}"; allowed: {allowed}')
        return rate

    def _number(self, name: str, default: int, least: int, most: int) -> int:
        value = self.options[name]
        if value is None:
            return default
        number = _whole(name, value)
        if not least <= number <= most:
            raise UsageError(f"--{name}: found {number}; allowed: a whole number {least} to {most}")
        return number


def _whole(name: str, value: str) -> int:
    text = value.strip()
    if not (text.isascii() and text.removeprefix("-").isdigit() and len(text) <= _DIGITS):
        raise UsageError(f'--{name}: found "{value}"; allowed: a whole number')
    return int(text)


_MOST_QUEUED = 65
_DIGITS = 30


def _option(name: str, value: object) -> str:
    if name == "reading":
        return {"each": "--kept-apart", "sets": "--told-apart"}.get(str(value), "--no-ghosts")
    return f"--{name.replace('_', '-')}"
