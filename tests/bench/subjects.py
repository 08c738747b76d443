"""The links that the benchmarks are about."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from models.pulse_gap import PulseGap
from verify.linkfile import parse
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.judging import Subject

NOMINAL = Fraction(1, 20)
"""Seconds of a tick, where that is not made finer."""
# Holds of the links in which several inputs may be held at once, nominal ticks.
HELD = (1, 6)


@dataclass(frozen=True)
class Kind:
    """A scheme, with what its inputs are."""

    scheme: str
    inputs: str

    def __str__(self) -> str:
        return f"{self.scheme}, {self.inputs}"


EVERY = (
    Kind("wire-per-input", "press"),
    Kind("wire-per-input", "level"),
    Kind("parallel-code", "press"),
    Kind("parallel-code", "level"),
    Kind("pulse-gap", "press"),
    Kind("framed-serial", "press"),
    Kind("free-scan", "level"),
    Kind("synced-scan", "level"),
)
"""Every scheme, with every kind of input that it takes."""


def subject_link(
    kind: Kind, inputs: int, *, finer: int = 1, bits: int | None = None, held: int | None = None
) -> Link:
    """The fastest link of a scheme, all of its times ``finer`` times as many ticks.

    ``bits``: of a code, more than its number of inputs needs (framed-serial, parallel-code).
    ``held``: so many inputs may be held at once, presses long enough for that.
    """
    text = (
        f'tick = "50 ms"\n[inputs]\ncount = {inputs}\nkind = "{kind.inputs}"\n'
        f'[link]\nscheme = "{kind.scheme}"\n{_link_lines(kind.scheme, inputs, finer)}\n'
    )
    link = replace(parse(text, str(kind)), tick=NOMINAL / finer)
    if bits is not None:
        codes = _spread(inputs, bits, idle=kind.scheme == "parallel-code")
        # Wider than a link file may have them, too.
        link = replace(link, scheme=replace(link.scheme, codes=codes, width=bits))  # type: ignore[call-arg]
    if kind.inputs == "level":
        return link if held is None else link.with_operator(overlap=held)
    if held is None:
        return link.with_operator(hold=(finer, finer))
    least, most = HELD
    return link.with_operator(hold=(least * finer, most * finer), overlap=held)


def _link_lines(scheme: str, inputs: int, finer: int) -> str:
    match scheme:
        case "pulse-gap":
            return f"gaps = {[finer * gap for gap in range(2, inputs + 2)]}\npulse = {finer}"
        case "framed-serial":
            return f"bit = {finer}"
        case "free-scan" | "synced-scan":
            return f"slot = {2 * finer}"
        case _:
            return ""


def _spread(inputs: int, bits: int, *, idle: bool = False) -> tuple[int, ...]:
    """Codes that lie evenly among all of so many bits. ``idle``: none of them is 0."""
    least = int(idle)
    step = ((1 << bits) - least) // inputs
    return tuple(least + step * k for k in range(inputs))


def safe_spacing(inputs: int) -> int:
    """Least safe spacing of ``even_link`` in ticks: the longest gap, its second pulse, one low."""
    return 2 * inputs + 2


def even_link(inputs: int, spacing: int, finer: int = 1) -> Subject:
    """Gaps 2, 4, ..., 2n, pulses of 1, all times (but not ``spacing``) times ``finer``."""
    gaps = tuple(2 * finer * (i + 1) for i in range(inputs))
    scheme = PulseGap(gaps, finer, (0,) * inputs)
    names = tuple(f"bell {i + 1}" for i in range(inputs))
    tick = Fraction(1, 20 * finer)
    return Subject(Link("tower", tick, names, "pulse-gap", scheme, Operator(spacing=spacing)))
