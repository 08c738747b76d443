"""When the strikes of a run were due, and which of them did not come."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from verify.engines.concrete import Compiled, State
from verify.engines.trace import Failure, Press, Trace
from verify.language.machine import System
from verify.parts import monitor, operator
from verify.parts.link import Link
from verify.parts.monitor import Windows
from verify.parts.operator import Operator
from verify.parts.signals import MISSED, Kind


@dataclass(frozen=True)
class Due:
    """A press and the ticks, first and last, in which its strike is due.

    ``delivered``: its strike has come in the trace.
    """

    press: Press
    earliest: int
    latest: int
    delivered: bool


def due_strikes(trace: Trace, link: Link, windows: Windows, branch: int) -> list[Due]:
    """When the strike of each press was due on a branch, as the monitor itself counts it.

    The monitor runs alone, with the presses of the trace and no strikes.
    """
    match, judge = monitor.build(branch, windows, tuple(range(link.inputs)))
    # An operator that forbids nothing: the trace has been allowed already.
    anyone = operator.build(Operator(hold=(0, 0)), link.inputs, watches_release=False)
    compiled = Compiled(System((anyone, match, judge)))
    bank = compiled.where[match.memory[0]]
    came = {(d.input, d.tick - d.ticks) for d in trace.latencies if d.branch == branch}
    state, now = next(compiled.starts()), -1
    found = []
    for tick, pressed in _by_tick(trace.script.presses).items():
        state = _step_to(compiled, state, tick - now, pressed)
        now = tick
        for i in pressed:
            press = Press(tick, i)
            new = [e for e in state[bank] if e[1] == i and e[0] == e[2]]
            # A window that ends with the press itself has run out within the tick.
            left, width = (new[0][0], new[0][3]) if new else (0, 0)
            found.append(Due(press, tick + left - width, tick + left, (i, tick) in came))
    return found


def _by_tick(presses: Sequence[Press]) -> dict[int, list[int]]:
    grouped: dict[int, list[int]] = {}
    for press in sorted(set(presses)):
        grouped.setdefault(press.tick, []).append(press.input)
    return grouped


def _step_to(compiled: Compiled, state: State, passed: int, pressed: list[int]) -> State:
    """Let ticks pass, from event to event, then press."""
    while (event := compiled.next_event(state)) is not None and event < passed:
        result = compiled.step(state, event)
        assert result is not None  # nothing was offered
        state, passed = result[0], passed - event
    result = compiled.step(state, passed, pressed)
    assert result is not None  # the operator forbids nothing
    return result[0]


def late_strike(failure: Failure) -> int | None:
    """The tick of a strike that came too late, None if there is none."""
    found = re.search(r"at tick (\d+)", failure.got) if failure.kind == Kind.LATE.label else None
    return int(found[1]) if found else None


def expected_output(failure: Failure, link: Link) -> int | None:
    """The number of the output that should have struck in place of what was got."""
    if failure.kind in MISSED:
        return link.names.index(failure.output)
    if failure.kind == Kind.WRONG_OUTPUT.label:
        names = enumerate(link.names)
        return next((i for i, name in names if failure.expected == f"a strike of {name}"), None)
    return None


def missed_press(
    trace: Trace, failure: Failure, link: Link, dues: Sequence[Due] | None
) -> Press | None:
    """The press whose strike was expected where a run failed, and has not come."""
    output = expected_output(failure, link)
    came = {(d.input, d.tick - d.ticks) for d in trace.latencies if d.branch == failure.branch}
    open_presses = [
        press
        for press in sorted(trace.script.presses)
        if press.tick <= failure.tick
        and link.outputs[press.input] == output
        and (press.input, press.tick) not in came
    ]
    if dues is not None:
        now = failure.tick
        in_window = {d.press for d in dues if d.earliest <= now <= d.latest}
        over = {d.press for d in dues if d.latest == now}
        better = over if failure.kind != Kind.WRONG_OUTPUT.label else in_window
        open_presses = [p for p in open_presses if p in better] or open_presses
    return open_presses[0] if open_presses else None


__all__ = ["Due", "due_strikes", "expected_output", "late_strike", "missed_press"]
