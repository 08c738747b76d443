"""A line with its branches: what rises and falls at one end does so later at the other.

A delay is constant for one link, so a branch is a pure shift in time. Engines that
prove leave it out and shift the answers (``factored``); the simulator keeps it.
"""

from __future__ import annotations

from verify.language.machine import Each, Machine, Rule
from verify.language.state import Bank
from verify.parts.signals import far_fall, far_rise, line_fall, line_rise


def build(line: int, delays: tuple[int, ...]) -> Machine:
    """The line numbered ``line``; ``delays[b]`` ticks to the far end of branch ``b``."""
    memory: list[Bank] = []
    body: list[Rule | Each] = []
    for branch, delay in enumerate(delays):
        for name, near, far in (
            ("rise", line_rise(line), far_rise(line, branch)),
            ("fall", line_fall(line), far_fall(line, branch)),
        ):
            if delay == 0:
                body.append(Rule(f"{name} passes", near.happens(), (far.emit(),)))
                continue
            travelling = Bank(f"line{line}.branch{branch}.{name}s", ())
            memory.append(travelling)
            body.append(Rule(f"{name} enters", near.happens(), (travelling.put(delay),)))
            body.append(Each(travelling, "edge", (far.emit(),), expired=True))
    return Machine(f"line{line}", tuple(memory), tuple(body))
