"""Hypothesis strategies: links and press sequences, small enough to be judged exactly."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import assume
from hypothesis import strategies as st

from models.pulse_gap import PulseGap
from models.wire_per_input import WirePerInput
from verify.engines.trace import Press, Script
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.scheme import Scheme

TICK = Fraction(1, 20)


def make_link(scheme: Scheme, operator: Operator | None = None, **rest: object) -> Link:
    """A link with inputs named k1, k2, ... and ticks of 50 ms."""
    names = tuple(f"k{i + 1}" for i in range(scheme.inputs))
    return Link("test", TICK, names, "test", scheme, operator or Operator(), **rest)  # type: ignore[arg-type]


def even_gaps(n: int, **rest: object) -> PulseGap:
    """Gaps 2, 4, ..., 2n with pulses of one tick."""
    return PulseGap(tuple(range(2, 2 * n + 1, 2)), 1, (0,) * n, **rest)  # type: ignore[arg-type]


@st.composite
def pulse_gaps(draw: st.DrawFn, most_inputs: int = 3, busy: str | None = None) -> PulseGap:
    """Legal pulse-gap schemes of every kind."""
    pulse = draw(st.integers(1, 3))
    gaps = draw(
        st.lists(st.integers(pulse + 1, pulse + 8), min_size=1, max_size=most_inputs, unique=True)
    )
    room = min((abs(a - b) for a in gaps for b in gaps if a != b), default=3)
    window = tuple(draw(st.integers(0, max(0, (room - 1) // 2))) for _ in gaps)
    assume(all(g > w for g, w in zip(gaps, window, strict=True)))
    return PulseGap(
        tuple(gaps),
        pulse,
        window,
        busy=draw(st.sampled_from(["overlay", "ignore", "queue"])) if busy is None else busy,  # type: ignore[arg-type]
        depth=draw(st.integers(1, 2)),
        receiver_kind=draw(st.sampled_from(["timer", "taps"])),
        on_miss=draw(st.sampled_from(["rearm", "disarm"])),
    )


schemes = st.one_of(pulse_gaps(), st.builds(WirePerInput, st.integers(1, 3)))


@st.composite
def operators(draw: st.DrawFn, inputs: int) -> Operator:
    """Operators from free to strict."""
    hold = draw(st.integers(1, 4))
    return Operator(
        spacing=draw(st.integers(0, 24)),
        repeat=draw(st.integers(0, 10)),
        hold=(hold, hold + draw(st.integers(0, 2))),
        overlap=draw(st.one_of(st.none(), st.integers(1, inputs))),
    )


@st.composite
def links(draw: st.DrawFn, scheme: st.SearchStrategy[Scheme] = schemes) -> Link:
    """Links of every scheme, operator and line."""
    made = draw(scheme)
    least = draw(st.integers(0, 3))
    delay = (least, least + draw(st.integers(0, 2)))
    branches = tuple(draw(st.lists(st.integers(0, 4), min_size=1, max_size=2)))
    within = None
    if draw(st.integers(0, 4)) == 0:
        opens = draw(st.integers(0, 10))
        within = (opens, max(opens, delay[1] + max(branches)) + draw(st.integers(0, 10)))
    return make_link(
        made, draw(operators(made.inputs)), delay=delay, branches=branches, within=within
    )


@st.composite
def scripts(draw: st.DrawFn, link: Link) -> Script:
    """Press sequences, legal or not, from one press per tick to far apart."""
    distances = draw(st.lists(st.integers(0, 14), max_size=6))
    presses, now = [], 0
    for distance in distances:
        now += distance
        presses.append(Press(now, draw(st.integers(0, link.inputs - 1))))
    return Script(tuple(sorted(set(presses))), draw(st.integers(*link.delay)))
