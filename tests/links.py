"""Hypothesis strategies: links and press sequences, small enough to be judged exactly."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import assume
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from models.wire_per_input import WirePerInput
from verify.engines.trace import Chosen, Press, Script
from verify.linkfile import parse
from verify.parts.line import Faults
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
    half = st.integers(0, max(0, (room - 1) // 2))
    entry = half if draw(st.booleans()) else st.tuples(half, half)
    window = tuple(draw(entry) for _ in gaps)
    before = [w if isinstance(w, int) else w[0] for w in window]
    assume(all(g > w for g, w in zip(gaps, before, strict=True)))
    return PulseGap(
        tuple(gaps),
        pulse,
        window,
        busy=draw(st.sampled_from(["overlay", "ignore", "queue"])) if busy is None else busy,  # type: ignore[arg-type]
        depth=draw(st.integers(1, 2)),
        receiver_kind=draw(st.sampled_from(["timer", "taps"])),
        on_miss=draw(st.sampled_from(["rearm", "disarm"])),
    )


@st.composite
def parallel_codes(
    draw: st.DrawFn, most_lines: int = 3, most_inputs: int = 3, *, exact: bool = False
) -> ParallelCode:
    """Any words but idle, in any order; ``exact``: read that way."""
    lines = draw(st.integers(1, most_lines))
    words = st.integers(1, 2**lines - 1)
    codes = draw(st.lists(words, min_size=1, max_size=most_inputs, unique=True))
    reads = "exact" if exact else draw(st.sampled_from(["exact", "covered", "sets"]))
    held = draw(st.integers(1, len(codes))) if reads == "sets" else 1
    return ParallelCode(tuple(codes), lines, draw(st.integers(0, 2)), reads, held)  # type: ignore[arg-type]


@st.composite
def framed_serials(
    draw: st.DrawFn,
    most_width: int = 2,
    most_inputs: int = 3,
    busy: str | None = None,
    *,
    plain_receiver: bool = False,
) -> FramedSerial:
    """Frames of any codes, sampled anywhere inside the bits, by receivers of every kind."""
    width = draw(st.integers(1, most_width))
    words = st.integers(0, 2**width - 1)
    codes = draw(st.lists(words, min_size=1, max_size=most_inputs, unique=True))
    bit = draw(st.integers(1, 4))
    plain = FramedSerial(
        tuple(codes),
        width,
        bit,
        sample=bit + draw(st.integers(0, bit - 1)),
        stop=draw(st.integers(0, 2)),
        busy=draw(st.sampled_from(["overlay", "ignore", "queue"])) if busy is None else busy,  # type: ignore[arg-type]
        depth=draw(st.integers(1, 2)),
    )
    if plain_receiver or draw(st.booleans()):
        return plain
    leader = draw(st.integers(1, 4))
    votes = draw(st.sampled_from([1, 3])) if bit > 2 else 1
    first = leader + plain.sample - bit - (votes - 1) // 2
    earliest = draw(st.integers(max(-1, 1 - first), 1)) if first else 1
    return replace(
        plain,
        leader=leader,
        sample=first + (votes - 1) // 2,
        votes=votes,
        edge=(earliest, draw(st.integers(earliest, 1))),
        framing=plain.stop > 0 and draw(st.booleans()),
    )


@st.composite
def owns(draw: st.DrawFn) -> Scheme:
    """Machines written in a link file: few modes, timers and numbers, and rules at random.

    A send has up to three steps, so that the transmitter comes to rest. In every other the
    receiver measures pulses, and rules at random stand beside that.
    """
    measures = draw(st.booleans())
    inputs = draw(st.integers(1, 2))
    ticks = st.integers(1, 4)
    steps = 0 if measures else draw(st.integers(0, 2))
    lengths = draw(st.lists(ticks, min_size=inputs, max_size=inputs, unique=measures))
    busy = draw(st.sampled_from(["True", "not t.runs", "not t.runs and not t.ends", "n == 0"]))
    level = st.sampled_from(["line.up()", "line.down()", "line.set(not line.high)"])
    # What a rule may do besides; numbers stay within their bounds, whatever is set.
    sends = st.sampled_from(
        ["f.set(not f)", "n.set(n + 2)", "n.set(input)", "b.put(2, n)", "f.set(press and n > 0)"]
    )
    takes = st.sampled_from(
        ["m.set(m + 1)", "m.set(m - 1)", "state.set(on)", "state.set(off)", "c.stop()", "refuse()"]
    )
    guards = st.sampled_from(
        ["", " and m < 2", " and state == on", " and c.runs", " and m in (0, 3)"]
    )
    struck = st.sampled_from(
        ["0", "m", "find(w, 6 - c.left)", "a[m] % inputs", "m % 2", "inputs - 1"]
    )
    heard = st.sampled_from(["line.rises", "line.falls", "c.ends", "line.rises and not line.high"])

    def does(more: st.SearchStrategy[str], *always: str) -> str:
        return str([*always, *draw(st.lists(more, max_size=2))])

    rules = (
        """[[receiver.rules]]
when = "line.rises"
do = ["c.start(6)"]
[[receiver.rules]]
when = "line.falls"
do = ["strike(find(a, 6 - c.left))", "c.stop()"]
"""
        if measures
        else ""
    )
    for k in range(draw(st.integers(0 if measures else 1, 2))):
        other = "otherwise = true\n" if k and draw(st.booleans()) else ""
        what = [
            f"strike({draw(struck)})" if draw(st.integers(0, 2)) else "rest(0)",
            f"c.start({draw(ticks)} + pick(0, 1))" if draw(st.booleans()) else "c.start(5)",
        ]
        doing = does(takes, *what[: draw(st.integers(1, 2))])
        when = draw(heard)
        # A receiver that starts its timer whenever that runs out would never rest.
        if when == "c.ends":
            doing = does(takes, what[0])
        if measures:
            when, doing = "line.falls", does(takes)
        rules += f'[[receiver.rules]]\n{other}when = "{when}{draw(guards)}"\ndo = {doing}\n'
    text = f"""
tick = "50 ms"
[inputs]
count = {inputs}
[link]
scheme = "own"
tables.a = {lengths}
tables.w = [[1, 2], [3, 5]]
[transmitter]
timers.t = 4
flags.f = false
numbers.n = [0, 2]
numbers.left = [0, 2]
banks.b = {{ at = [0, 2] }}
[[transmitter.rules]]
when = "t.ends and left > 0"
do = ["left.set(left - 1)", "t.start({draw(ticks)})", "{draw(level)}"]
[[transmitter.rules]]
otherwise = true
when = "t.ends"
do = ["line.down()"]
[[transmitter.rules]]
each = "press"
when = "{busy}"
do = {does(sends, "line.up()", "t.start(a[input])", f"left.set({steps})")}
[[transmitter.rules]]
each = "b.ends"
do = ["n.set(entry.at - 1)"]
[receiver]
timers.c = 6
numbers.m = [0, 3]
modes.state = ["off", "on"]
{rules}"""
    return parse(text, "own.toml").scheme


schemes = st.one_of(
    pulse_gaps(),
    st.builds(WirePerInput, st.integers(1, 3)),
    parallel_codes(),
    framed_serials(),
)


@st.composite
def line_faults(draw: st.DrawFn, lines: int) -> Faults:
    """At least one fault; skew only where there is another line to differ from."""
    faults = Faults(
        jitter=draw(st.integers(0, 1)),
        skew=draw(st.integers(0, 1)) if lines > 1 else 0,
        shortest=draw(st.integers(0, 2)),
    )
    assume(faults != Faults())
    return faults


@st.composite
def operators(draw: st.DrawFn, inputs: int) -> Operator:
    """Operators from free to strict."""
    hold = draw(st.integers(1, 4))
    pairs = None
    if draw(st.integers(0, 3)) == 0:
        row = st.tuples(*[st.integers(0, 24)] * inputs)
        pairs = draw(st.tuples(*[row] * inputs))
    return Operator(
        spacing=draw(st.integers(0, 24)) if pairs is None else 0,
        repeat=draw(st.integers(0, 10)),
        hold=(hold, hold + draw(st.integers(0, 2))),
        overlap=draw(st.one_of(st.none(), st.integers(1, inputs))),
        pairs=pairs,
        together=pairs is None and draw(st.integers(0, 3)) == 0,
    )


@st.composite
def links(
    draw: st.DrawFn,
    scheme: st.SearchStrategy[Scheme] = schemes,
    *,
    faulty: bool = True,
    lenient: bool = False,
) -> Link:
    """Links of every scheme, operator, line and order of outputs; ``faulty``: one in four is;
    ``lenient``: of one in eight the outputs may miss."""
    made = draw(scheme)
    faults = Faults()
    if faulty and draw(st.integers(0, 3)) == 3:
        faults = draw(line_faults(made.lines))
    least = faults.proving + draw(st.integers(0, 3))
    delay = (least, least + draw(st.integers(0, 2)))
    branches = tuple(draw(st.lists(st.integers(0, 4), min_size=1, max_size=2)))
    within = None
    if draw(st.integers(0, 4)) == 0:
        opens = draw(st.integers(0, 10))
        within = (opens, max(opens, delay[1] + max(branches)) + draw(st.integers(0, 10)))
    order = None
    if draw(st.integers(0, 2)) == 2:
        order = tuple(draw(st.permutations(range(made.inputs))))
    return make_link(
        made,
        draw(operators(made.inputs)),
        delay=delay,
        branches=branches,
        within=within,
        faults=faults,
        order=order,
        may_miss=lenient and draw(st.integers(0, 7)) == 0,
    )


@st.composite
def scripts(draw: st.DrawFn, link: Link) -> Script:
    """Press sequences, legal or not, from one press per tick to far apart.

    On a line with faults the lateness of edges and lines is drawn as well.
    """
    distances = draw(st.lists(st.integers(0, 14), max_size=6))
    presses, now = [], 0
    for distance in distances:
        now += distance
        presses.append(Press(now, draw(st.integers(0, link.inputs - 1))))
    faults = link.faults
    picks: list[Chosen] = []
    if faults.jitter:
        names = [
            f"line{k}.branch{b}.jitter.{edge}"
            for k in range(link.scheme.lines)
            for b in range(len(link.branches))
            for edge in ("rise", "fall")
        ]
        made = st.tuples(
            st.integers(0, now + 40), st.sampled_from(names), st.integers(0, faults.jitter)
        )
        picks = [Chosen(*choice) for choice in sorted(draw(st.lists(made, max_size=12)))]
    edge = getattr(link.scheme, "edge", (0, 0))
    if edge != (0, 0):
        names = [f"receiver{b}.edge" for b in range(len(link.branches))]
        taken = st.tuples(st.integers(0, now + 40), st.sampled_from(names), st.integers(*edge))
        picks += [Chosen(*choice) for choice in draw(st.lists(taken, max_size=12))]
        picks.sort()
    constants = [
        (f"line{k}.late", draw(st.integers(0, faults.skew)))
        for k in range(link.scheme.lines if faults.skew else 0)
    ]
    return Script(
        tuple(sorted(set(presses))),
        draw(st.integers(*link.delay)),
        tuple(picks),
        tuple(constants),
    )


@st.composite
def scripts_keeping(draw: st.DrawFn, pairs: tuple[tuple[int, ...], ...], link: Link) -> Script:
    """Presses that keep a matrix, each as soon as it may come or a little later."""
    presses: list[Press] = []
    for _ in range(draw(st.integers(1, 6))):
        index = draw(st.integers(0, link.inputs - 1))
        soonest = max((p.tick + pairs[p.input][index] for p in presses), default=0)
        # A press in the tick of another comes after it only with a higher number.
        last = presses[-1] if presses else None
        if last is not None and soonest <= last.tick:
            soonest = last.tick + int(index <= last.input)
        presses.append(Press(soonest + draw(st.integers(0, 2)), index))
    return Script(tuple(sorted(presses)), draw(st.integers(*link.delay)))
