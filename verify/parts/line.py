"""A line and its branches: what rises and falls at one end does so later at the other.

Each disturbance is a stage of its own between the ends: it hears a rise and a fall, and
emits a rise and a fall. A stage that is off is not there.
"""

from __future__ import annotations

from dataclasses import dataclass

from verify.language import expressions as ex
from verify.language.machine import Each, First, Machine, Rule, Statement
from verify.language.state import Bank, Signal, Timer, flag, number, unknown
from verify.parts.signals import far_fall, far_rise, line_fall, line_rise
from verify.units import Ticks


@dataclass(frozen=True)
class Faults:
    """Disturbances of a line, ticks; 0 is off.

    ``jitter``: each edge may be late by up to this much. ``skew``: largest difference
    between the delays of two lines. ``shortest``: pulses shorter than this do not arrive.
    ``swallowed``: so many pulses of each line, whichever, do not arrive; recordings are held
    against it, link files have no key for it.
    """

    jitter: int = 0
    skew: int = 0
    shortest: int = 0
    swallowed: int = 0

    @property
    def unrest(self) -> int:
        """Ticks by which edges may come at another distance than they were sent."""
        return self.jitter + self.proving

    @property
    def proving(self) -> int:
        """Ticks by which a line that swallows short pulses is late with every edge."""
        return self.shortest if self.shortest > 1 else 0


@dataclass(frozen=True)
class _Edges:
    """The two signals between stages."""

    rise: Signal
    fall: Signal


def build(
    line: int, delays: tuple[Ticks | ex.Int, ...], faults: Faults, apart: Ticks = 1
) -> tuple[Machine, ...]:
    """The stages of line number ``line``, in order.

    ``delays[b]``: ticks to the far end of branch ``b``, besides what the faults add; a number
    that machines read, where the delay is unknown. A line
    that swallows short pulses takes ``shortest`` ticks to tell them from others: it is
    late by that much with every edge. ``apart``: ticks that jitter leaves between two edges.
    """
    name = f"line{line}"
    edges = _Edges(line_rise(line), line_fall(line))
    machines: list[Machine] = []
    if faults.swallowed:
        machine, edges = _lose(name, edges, faults.swallowed)
        machines.append(machine)
    if faults.proving:
        machine, edges = _swallow(name, edges, faults.shortest)
        machines.append(machine)
    if faults.skew:
        late = unknown(f"{name}.late", 0, faults.skew)
        out = _Edges(Signal(f"{name}.late.rise"), Signal(f"{name}.late.fall"))
        machines.append(_delay(f"{name}.skew", edges, out, late.read(), late))
        edges = out
    for branch, delay in enumerate(delays):
        here = f"{name}.branch{branch}"
        far = _Edges(far_rise(line, branch), far_fall(line, branch))
        near = edges
        if faults.jitter:
            # Before the constant delay: its picks then come at the same ticks with any delay.
            near = _Edges(Signal(f"{here}.late.rise"), Signal(f"{here}.late.fall"))
            machines.append(_jitter(f"{here}.jitter", edges, near, faults.jitter, apart))
        long = delay if isinstance(delay, ex.Int) else ex.Constant(delay)
        machines.append(_delay(here, near, far, long))
    return tuple(machines)


def _delay(name: str, near: _Edges, far: _Edges, delay: ex.Int, *extra: object) -> Machine:
    """Every edge later by the same, which may be unknown; an edge of no delay passes at once."""
    body: list[Statement] = []
    memory: list[object] = list(extra)
    for kind, enters, leaves in (("rise", near.rise, far.rise), ("fall", near.fall, far.fall)):
        if delay == ex.Constant(0):
            body.append(Rule(f"{kind} passes", enters.happens(), (leaves.emit(),)))
            continue
        travelling = Bank(f"{name}.{kind}s", ())
        memory.append(travelling)
        body.append(Rule(f"{kind} enters", enters.happens(), (travelling.put(delay),)))
        body.append(Each(travelling, "edge", (leaves.emit(),), expired=True))
    return Machine(name, tuple(memory), tuple(body))  # type: ignore[arg-type]


def _swallow(name: str, near: _Edges, shortest: int) -> tuple[Machine, _Edges]:
    """A pulse is let through once it has lasted ``shortest`` ticks; its fall is as late."""
    out = _Edges(Signal(f"{name}.kept.rise"), Signal(f"{name}.kept.fall"))
    proving = Timer(f"{name}.proving", shortest)
    falls = Bank(f"{name}.kept.falls", ())
    body: tuple[Statement, ...] = (
        Rule("falls", near.fall.happens() & ~proving.running(), (falls.put(shortest),)),
        First(
            (
                # Falling in the tick in which it has lasted long enough, it is long enough.
                Rule("long enough", proving.expires(), (out.rise.emit(),)),
                Rule("too short", near.fall.happens() & proving.running(), (proving.stop(),)),
                Rule("starts", near.rise.happens(), (proving.start(shortest),)),
            )
        ),
        Each(falls, "fall", (out.fall.emit(),), expired=True),
    )
    return Machine(f"{name}.shortest", (proving, falls), body), out


def _lose(name: str, near: _Edges, most: int) -> tuple[Machine, _Edges]:
    """Of all pulses up to ``most`` are lost, whichever the world picks."""
    out = _Edges(Signal(f"{name}.left.rise"), Signal(f"{name}.left.fall"))
    lost = number(f"{name}.lost", 0, most)
    losing, gone = flag(f"{name}.losing"), flag(f"{name}.gone")
    loses = First(
        (
            Rule("lost", gone.up(), (lost.set(lost.read() + 1), losing.put_up())),
            Rule("kept", ex.Truth(True), (out.rise.emit(),)),
        )
    )
    pick = gone.set(ex.Pick(f"{name}.loses", 0, 1))
    rises, falls = near.rise.happens(), near.fall.happens()
    body: tuple[Statement, ...] = (
        First(
            (
                Rule("may be lost", rises & (lost.read() < most), (pick, loses, gone.put_down())),
                Rule("rise passes", rises, (out.rise.emit(),)),
            )
        ),
        First(
            (
                Rule("lost with its rise", falls & losing.up(), (losing.put_down(),)),
                Rule("fall passes", falls, (out.fall.emit(),)),
            )
        ),
    )
    return Machine(f"{name}.lossy", (lost, losing, gone), body), out


def _jitter(name: str, near: _Edges, far: _Edges, jitter: int, apart: Ticks) -> Machine:
    """Each edge late by 0 to ``jitter`` ticks, but ``apart`` after the edge before it."""
    late = number(f"{name}.late", 0, jitter)
    last = Timer(f"{name}.last", 2 * jitter + 2)
    behind = last.left + ex.Constant(apart)
    memory: list[object] = [late, last]
    body: list[Statement] = []
    for kind, enters, leaves in (("rise", near.rise, far.rise), ("fall", near.fall, far.fall)):
        travelling = Bank(f"{name}.{kind}s", ())
        memory.append(travelling)
        queue = Rule(
            "behind the edge before it",
            (last.running() | last.expires()) & (late.read() <= last.left),
            (travelling.put(behind), last.start(behind)),
        )
        own = Rule("late", ex.Truth(True), (travelling.put(late.read()), last.start(late.read())))
        body += [
            Rule(
                f"{kind} is late",
                enters.happens(),
                (late.set(ex.Pick(f"{name}.{kind}", 0, jitter)), First((queue, own)), late.set(0)),
            ),
            Each(travelling, "edge", (leaves.emit(),), expired=True),
        ]
    return Machine(name, tuple(memory), tuple(body))  # type: ignore[arg-type]
