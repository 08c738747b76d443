"""Parameters of pulse-gap in a link file."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, ClassVar, Literal

from pydantic import Field, PlainValidator, ValidationInfo, field_validator, model_validator

from models.parameters.base import (
    Busy,
    Depth,
    Parameters,
    Setting,
    check_one_per_input,
    stray_depth,
)
from models.pulse_gap import Deviation, PulseGap
from verify import units
from verify.fields import Finding, Key, PositiveTime, context, number_of_entries, refusal
from verify.parts.scheme import Scheme

_PAIR = f"[before, after], each {units.allowed_time(0)}"


def _window(value: object, info: ValidationInfo) -> int | list[Deviation]:
    """One time for all gaps, or a list of times and pairs."""
    tick = context(info).tick
    allowed = (
        f"{units.allowed_time(0)}, or a list of these, one per gap; in a list also pairs "
        "[before, after]"
    )
    findings: list[Finding] = []
    open_ = False

    def ticks(entry: object, key: Key) -> int:
        nonlocal open_
        try:
            found = units.to_ticks(entry, tick)
        except units.TimeError as error:
            generic = not key and error.allowed == units.allowed_time(0)
            findings.append(Finding(key, allowed if generic else error.allowed))
            return 0
        open_ = open_ or found is None
        return found or 0

    def deviation(entry: object, i: int) -> Deviation:
        if not isinstance(entry, list):
            return ticks(entry, (i,))
        if len(entry) != 2:
            findings.append(Finding((i,), _PAIR))
            return 0
        return ticks(entry[0], (i, 0)), ticks(entry[1], (i, 1))

    made: int | list[Deviation]
    if isinstance(value, list):
        made = [deviation(entry, i) for i, entry in enumerate(value)]
    else:
        made = ticks(value, ())
    if findings or open_:
        raise refusal(*findings)
    return made


# Of a longer list no entry is looked at: there are no more inputs than half as many.
MOST_GAPS = 200_000


class PulseGapParameters(Parameters):
    """Times in ticks. See ``models.pulse_gap.PulseGap``.

    A list with one pair in it, ``[[before, after]]``, stands for all gaps, as one time does.
    """

    timed: ClassVar[bool] = True

    gaps: list[PositiveTime] = Field(
        max_length=MOST_GAPS,
        description=f"a list with one time per input, each {units.allowed_time(1)}",
    )
    pulse: PositiveTime = 1
    window: Annotated[int | list[Deviation], PlainValidator(_window)] = 0
    busy: Busy = "overlay"
    depth: Depth = 1
    receiver: Literal["timer", "taps"] = "timer"
    on_miss: Literal["disarm", "rearm"] = "disarm"

    @property
    def inputs(self) -> int:
        """One per gap."""
        return len(self.gaps)

    def build(self, inputs: int, setting: Setting) -> Scheme:
        """Two pulses per press on one line."""
        return PulseGap(
            gaps=tuple(self.gaps),
            pulse=self.pulse,
            window=tuple(self._window_of(i) for i in range(len(self.gaps))),
            busy=self.busy,
            depth=self.depth,
            receiver_kind=self.receiver,
            on_miss=self.on_miss,
        )

    @property
    def _one_for_all(self) -> bool:
        """The file gives one window, not one per gap."""
        window = self.window
        return isinstance(window, int) or (len(window) == 1 and isinstance(window[0], tuple))

    def _window_of(self, i: int) -> Deviation:
        if isinstance(self.window, int):
            return self.window
        return self.window[0 if self._one_for_all else i]

    def _deviation(self, i: int) -> tuple[int, int]:
        window = self._window_of(i)
        return (window, window) if isinstance(window, int) else window

    def _taken(self, i: int) -> tuple[int, int]:
        """First and last time that the window of a gap accepts."""
        before, after = self._deviation(i)
        return self.gaps[i] - before, self.gaps[i] + after

    @field_validator("gaps")
    @classmethod
    def _one_per_input(cls, gaps: list[int], info: ValidationInfo) -> list[int]:
        check_one_per_input(gaps, "gap", info)
        return gaps

    @model_validator(mode="after")
    def _fit_together(self) -> PulseGapParameters:
        findings = [*self._out_of_place(), *self._bad_gaps()]
        if not self._one_for_all and len(self.window) != len(self.gaps):  # type: ignore[arg-type]
            found = number_of_entries(self.window)  # type: ignore[arg-type]
            findings.append(Finding(("window",), f"{len(self.gaps)}, one per gap", found))
        elif not findings:
            # Windows around gaps that are themselves wrong say nothing new.
            findings += self._bad_window() if self._one_for_all else self._bad_windows()
        if findings:
            raise refusal(*findings)
        return self

    def _out_of_place(self) -> list[Finding]:
        findings = stray_depth(self, self.busy)
        if "on_miss" in self.model_fields_set and self.receiver != "timer":
            allowed = f'only with receiver = "timer"; receiver is "{self.receiver}"'
            findings.append(Finding(("on_miss",), allowed))
        return findings

    def _bad_gaps(self) -> list[Finding]:
        findings = []
        first: dict[int, int] = {}
        for i, gap in enumerate(self.gaps):
            if gap <= self.pulse:
                allowed = f"more than pulse, which is {self.pulse}: else the two pulses become one"
                findings.append(Finding(("gaps", i), allowed, of_table=True))
            elif gap in first:
                allowed = f"a gap of its own; gaps[{first[gap]}] is {gap} too"
                findings.append(Finding(("gaps", i), allowed, of_table=True))
            first.setdefault(gap, i)
        return findings

    def _bad_window(self) -> list[Finding]:
        """One window for all gaps: the tightest place decides how large it may be."""
        gaps = self.gaps
        order = sorted(range(len(gaps)), key=gaps.__getitem__)
        early = self._too_early(order[0])
        most, why = gaps[order[0]] - 1, early
        i, j = min(pairwise(order), key=lambda p: gaps[p[1]] - gaps[p[0]], default=(0, 0))
        room = gaps[j] - gaps[i] - 1
        before, after = self._deviation(0)
        if isinstance(self.window, int):
            if i != j and room // 2 < most:
                most, why = room // 2, self._meeting(i, j)
            wide = Finding(("window",), f"at most {most}: {why}", of_table=True)
            return [wide] if before > most else []
        if before > most:
            allowed = f"at most {most} before: {early}"
            return [Finding(("window",), allowed, of_table=True)]
        if i != j and before + after > room:
            allowed = f"before and after together at most {room}: {self._meeting(i, j)}"
            return [Finding(("window",), allowed, of_table=True)]
        return []

    def _bad_windows(self) -> list[Finding]:
        findings = []
        for i, gap in enumerate(self.gaps):
            if self._taken(i)[0] < 1:
                before = " before" if isinstance(self._window_of(i), tuple) else ""
                allowed = f"at most {gap - 1}{before}: {self._too_early(i)}"
                findings.append(Finding(("window", i), allowed, of_table=True))
        order = sorted(range(len(self.gaps)), key=lambda i: self._taken(i)[0])
        reach = order[0]  # the entry whose window ends last, so far
        for i in order[1:]:
            if self._taken(i)[0] <= self._taken(reach)[1]:
                a, b = sorted((reach, i), key=self.gaps.__getitem__)
                allowed = f"{self._together(a, b)}: {self._meeting(a, b)}"
                findings.append(Finding(("window", max(a, b)), allowed, of_table=True))
            reach = max(reach, i, key=lambda k: self._taken(k)[1])
        return findings

    def _together(self, a: int, b: int) -> str:
        """What the windows of two gaps, a being the shorter, may have between them."""
        room = self.gaps[b] - self.gaps[a] - 1
        after, before = (
            side if isinstance(self._window_of(k), tuple) else ""
            for k, side in ((a, " after"), (b, " before"))
        )
        return f"window[{a}]{after} and window[{b}]{before} together at most {room}"

    def _too_early(self, i: int) -> str:
        return (
            f"gaps[{i}] ({self.gaps[i]}) minus its window must be at least 1, "
            f"and is {self._taken(i)[0]}"
        )

    def _meeting(self, i: int, j: int) -> str:
        """Where the windows of two gaps overlap, gap i being the shorter."""
        (a, b), (c, d) = self._taken(i), self._taken(j)
        low, high = max(a, c), min(b, d)
        where = str(low) if low == high else f"{low} to {high}"
        return (
            f"gaps[{i}] ({self.gaps[i]}) takes {a} to {b} and gaps[{j}] ({self.gaps[j]}) "
            f"takes {c} to {d}, and both take {where}"
        )
