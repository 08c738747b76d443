"""What the world did in a run, in words."""

from __future__ import annotations

from itertools import chain

from verify.engines.trace import Trace
from verify.language.state import Mode
from verify.parts.link import Link
from verify.parts.pause import told as told_pause
from verify.reports.lever_words import moves_of
from verify.reports.names import input_signal, moment, quoted
from verify.units import ticks_text


def script_lines(trace: Trace, link: Link) -> list[str]:
    """What the world did, a line each, in order: the line's delay if it has one, presses, releases.

    Example: ``tick 15 (750 ms): 'c' pressed``.
    """
    told = [(p.tick, 1, p.input) for p in trace.script.presses]
    if link.kind == "level":
        told = [
            (tick, 1 - n % 2, i)
            for i in range(link.inputs)
            for n, tick in enumerate(moves_of(trace, i))
        ]
    of_signal = {input_signal(link, i): i for i in range(link.inputs)}
    told += [
        (e.tick, 0, of_signal[e.signal])
        for e in trace.events
        if e.value == 0 and e.signal in of_signal and link.kind == "press"
    ]
    lines = []
    if trace.script.delay or link.delay[1]:
        lines.append(f"line delay in this run: {ticks_text(trace.script.delay, link.tick)}")
    if link.any_start and trace.script.constants:
        modes = _modes(link)
        found = ", ".join(
            f"{name} {modes[name][value] if name in modes else value}"
            for name, value in trace.script.constants
        )
        lines.append(f"found at power-up: {found}")
    done = []
    for tick, pressed, i in sorted(told):
        did = ("let go", "pressed")[pressed] if link.kind == "press" else ("down", "up")[pressed]
        done.append((tick, f"{moment(tick, link)}: {quoted(link, i)} {did}"))
    for choice in trace.script.picks:
        if (stop := told_pause(choice)) is not None:
            end, length = stop
            stopped = ticks_text(length * trace.script.resolution, link.tick)
            stands = f"the {end.value} stops for {stopped}"
            done.append((choice.tick, f"{moment(choice.tick, link)}: {stands}"))
    return lines + [line for _, line in sorted(done, key=lambda told: told[0])]


def _modes(link: Link) -> dict[str, tuple[str, ...]]:
    """The names that the modes of a link's ends have, by the mode's own name."""
    ends = [link.scheme.transmitter(), *map(link.scheme.receiver, range(len(link.branches)))]
    return {
        item.name: item.modes
        for machine in chain(*ends)
        for item in machine.memory
        if isinstance(item, Mode)
    }


__all__ = ["script_lines"]
