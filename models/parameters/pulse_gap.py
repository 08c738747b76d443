"""Parameters of pulse-gap in a link file."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, PlainValidator, ValidationInfo, field_validator, model_validator

from models.parameters.base import (
    Busy,
    Depth,
    Parameters,
    Setting,
    check_one_per_input,
    stray_depth,
)
from models.pulse_gap import PulseGap
from verify import units
from verify.fields import Finding, PositiveTime, context, number_of_entries, refusal
from verify.parts.scheme import Scheme


def _window(value: object, info: ValidationInfo) -> int | list[int]:
    tick = context(info).tick
    allowed = f"{units.allowed_time(0)}, or a list of these, one per gap"
    findings, found, open_ = [], [], False
    for i, entry in enumerate(value if isinstance(value, list) else [value]):
        key = (i,) if isinstance(value, list) else ()
        try:
            ticks = units.to_ticks(entry, tick)
        except units.TimeError as error:
            generic = not key and error.allowed == units.allowed_time(0)
            findings.append(Finding(key, allowed if generic else error.allowed))
            continue
        open_ = open_ or ticks is None
        found.append(ticks or 0)
    if findings or open_:
        raise refusal(*findings)
    return found if isinstance(value, list) else found[0]


class PulseGapParameters(Parameters):
    """Times in ticks. See ``models.pulse_gap.PulseGap``."""

    gaps: list[PositiveTime] = Field(
        description=f"a list with one time per input, each {units.allowed_time(1)}"
    )
    pulse: PositiveTime = 1
    window: Annotated[int | list[int], PlainValidator(_window)] = 0
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

    def _window_of(self, i: int) -> int:
        return self.window[i] if isinstance(self.window, list) else self.window

    @field_validator("gaps")
    @classmethod
    def _one_per_input(cls, gaps: list[int], info: ValidationInfo) -> list[int]:
        check_one_per_input(gaps, "gap", info)
        return gaps

    @model_validator(mode="after")
    def _fit_together(self) -> PulseGapParameters:
        findings = [*self._out_of_place(), *self._bad_gaps()]
        if isinstance(self.window, list) and len(self.window) != len(self.gaps):
            found = number_of_entries(self.window)
            findings.append(Finding(("window",), f"{len(self.gaps)}, one per gap", found))
        elif not findings:
            # Windows around gaps that are themselves wrong say nothing new.
            listed = isinstance(self.window, list)
            findings += self._bad_windows() if listed else self._bad_window()
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
                findings.append(Finding(("gaps", i), allowed))
            elif gap in first:
                allowed = f"a gap of its own; gaps[{first[gap]}] is {gap} too"
                findings.append(Finding(("gaps", i), allowed))
            first.setdefault(gap, i)
        return findings

    def _bad_window(self) -> list[Finding]:
        """One window for all gaps: the tightest place decides how large it may be."""
        gaps = self.gaps
        order = sorted(range(len(gaps)), key=gaps.__getitem__)
        shortest = order[0]
        most, meeting = gaps[shortest] - 1, None
        for i, j in pairwise(order):
            limit = (gaps[j] - gaps[i] - 1) // 2
            if limit < most:
                most, meeting = limit, (i, j)
        if self._window_of(shortest) <= most:
            return []
        why = self._meeting(*meeting) if meeting else self._too_early(shortest)
        return [Finding(("window",), f"at most {most}: {why}")]

    def _bad_windows(self) -> list[Finding]:
        findings = []
        windows = [self._window_of(i) for i in range(len(self.gaps))]
        for i, (gap, window) in enumerate(zip(self.gaps, windows, strict=True)):
            if window >= gap:
                findings.append(Finding(("window", i), f"at most {gap - 1}: {self._too_early(i)}"))
        order = sorted(range(len(self.gaps)), key=lambda i: self.gaps[i] - windows[i])
        reach = order[0]  # the entry whose window ends last, so far
        for i in order[1:]:
            low, high = self.gaps[i] - windows[i], self.gaps[reach] + windows[reach]
            if low <= high:
                a, b = sorted((reach, i), key=self.gaps.__getitem__)
                room = self.gaps[b] - self.gaps[a] - 1
                allowed = (
                    f"window[{a}] and window[{b}] together at most {room}: {self._meeting(a, b)}"
                )
                findings.append(Finding(("window", max(a, b)), allowed))
            if self.gaps[i] + windows[i] > high:
                reach = i
        return findings

    def _too_early(self, i: int) -> str:
        return (
            f"gaps[{i}] ({self.gaps[i]}) minus its window must be at least 1, "
            f"and is {self.gaps[i] - self._window_of(i)}"
        )

    def _meeting(self, i: int, j: int) -> str:
        """Where the windows of two gaps overlap, gap i being the shorter."""
        (a, b), (c, d) = (
            (self.gaps[k] - self._window_of(k), self.gaps[k] + self._window_of(k)) for k in (i, j)
        )
        low, high = max(a, c), min(b, d)
        where = str(low) if low == high else f"{low} to {high}"
        return (
            f"gaps[{i}] ({self.gaps[i]}) takes {a} to {b} and gaps[{j}] ({self.gaps[j]}) "
            f"takes {c} to {d}, and both take {where}"
        )
