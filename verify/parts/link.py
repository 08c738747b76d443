"""A whole link, and the systems that engines run on: from the operator to the monitors."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from verify.errors import ModelError
from verify.language.machine import Machine, System
from verify.parts import line, monitor, operator, outputs
from verify.parts.line import Faults
from verify.parts.monitor import Windows
from verify.parts.operator import Operator
from verify.parts.scheme import Scheme


@dataclass(frozen=True)
class Link:
    """A link as its file describes it. Times in ticks unless said otherwise.

    ``tick``: seconds per tick. ``names``: of the inputs, and of the outputs of the same
    number. ``delay``: least and most line delay, one constant within the range per link; at
    least what a line that swallows short pulses needs to tell them from others.
    ``branches``: extra delay of each branch of the line; one receiver at each end.
    ``within``: window in which a strike is due, or None to take it from lone presses.
    ``order[i]``: the output that input i operates; None: its own. ``kind`` of the inputs:
    ``press`` or ``level``. ``watched``: the one lever whose output is judged; None: all.
    """

    name: str
    tick: Fraction
    names: tuple[str, ...]
    scheme_name: str
    scheme: Scheme
    operator: Operator
    delay: tuple[int, int] = (0, 0)
    branches: tuple[int, ...] = (0,)
    within: tuple[int, int] | None = None
    faults: Faults = Faults()  # noqa: RUF009 - frozen
    order: tuple[int, ...] | None = None
    kind: str = "press"
    watched: int | None = None

    def __post_init__(self) -> None:
        longest = self.delay[1] + max(self.branches)
        if self.within is not None and self.within[1] < longest:
            raise ModelError(
                f"within ends {self.within[1]} ticks after a press, the line takes {longest}: "
                "no press could be in time"
            )
        if self.faults.proving > self.delay[0] + min(self.branches):
            raise ModelError(
                f"a line that swallows pulses shorter than {self.faults.shortest} ticks delays "
                f"every edge by at least as much, found {self.delay[0] + min(self.branches)}"
            )

    @property
    def inputs(self) -> int:
        """Number of inputs."""
        return len(self.names)

    @property
    def outputs(self) -> tuple[int, ...]:
        """Per input, the number of the output that it operates."""
        return self.order if self.order is not None else tuple(range(self.inputs))

    def hidden_delay(self, branch: int) -> int:
        """Ticks of delay that ``factored`` leaves out on a branch, at the line's least."""
        return self.delay[0] + self.branches[branch] - self.faults.proving

    def with_operator(self, **changes: object) -> Link:
        """The same link with some bounds of its operator replaced."""
        return replace(self, operator=replace(self.operator, **changes))  # type: ignore[arg-type]

    def parts(self) -> tuple[Part, ...]:
        """Links that can be judged one by one. Levers are judged one output at a time.

        Sound because an operator that leaves inputs alone is still a legal operator, and
        every legal operator stays legal when changes are left out.
        """
        if self.kind == "level":
            return tuple(
                self._part(scheme, carried, i)
                for i in range(self.inputs)
                for scheme, carried in self.scheme.alone(i)
            )
        split = self.scheme.split()
        if len(split) == 1:
            return (Part(self, tuple(range(self.inputs)), True),)
        return tuple(self._part(scheme, carried, None) for scheme, carried in split)

    def _part(self, scheme: Scheme, carried: tuple[int, ...], watched: int | None) -> Part:
        pairs = self.operator.pairs
        if pairs is not None:
            pairs = tuple(tuple(pairs[i][j] for j in carried) for i in carried)
        own = replace(
            self,
            names=tuple(self.names[i] for i in carried),
            scheme=scheme,
            operator=replace(self.operator, pairs=pairs),
            order=None,
            watched=None if watched is None else carried.index(watched),
        )
        return Part(own, carried, scheme.lines == self.scheme.lines)


@dataclass(frozen=True)
class Part:
    """Part of a link: the inputs of the whole that it carries, in its own order.

    ``all_lines``: it has the lines of the whole; otherwise one line per input carried.
    """

    link: Link
    carried: tuple[int, ...]
    all_lines: bool


def _front(link: Link) -> list[Machine]:
    scheme = link.scheme
    return [
        operator.build(
            link.operator,
            scheme.inputs,
            scheme.watches_release,
            link.kind,
            # The receiver's clock counts from when the line has come to it.
            scheme.warm_up + max(link.branches) + link.delay[1] if scheme.warm_up else 0,
        ),
        *scheme.transmitter(),
    ]


def _monitors(link: Link, branch: int, windows: Windows) -> list[Machine]:
    if link.kind == "press":
        return list(monitor.build(branch, windows, link.outputs))
    watched = range(link.inputs) if link.watched is None else [link.watched]
    return [monitor.build_level(branch, windows, link.outputs, i) for i in watched]


def whole(link: Link, delay: int, windows: tuple[Windows, ...] | None) -> System:
    """Every part with its true delay, ``delay`` being the line's constant; for the simulator.

    ``windows``: one per branch; None leaves the monitors out.
    """
    scheme = link.scheme
    machines = _front(link)
    delays = tuple(delay + extra - link.faults.proving for extra in link.branches)
    for k in range(scheme.lines):
        machines += line.build(k, delays, link.faults)
    for branch in range(len(link.branches)):
        true_delay = delay + link.branches[branch]
        machines += (*scheme.receiver(branch, true_delay), outputs.build(branch, link.outputs))
    if windows is not None:
        for branch, window in enumerate(windows):
            machines += _monitors(link, branch, window)
    return System(tuple(machines))


def factored(link: Link, windows: Windows | None) -> System:
    """One branch without its delay; for explorer and solver.

    The delay of a branch is constant for one run and the same for every edge, so it moves
    all strikes by one amount and changes no verdict. Branches differ in nothing else, so
    one stands for all. ``windows`` are those of a line without delay; the range of the
    delay is their ``shift``.
    """
    scheme = link.scheme
    machines = _front(link)
    for k in range(scheme.lines):
        machines += line.build(k, (0,), link.faults)
    machines += (*scheme.receiver(0, link.faults.proving), outputs.build(0, link.outputs))
    if windows is not None:
        machines += _monitors(link, 0, windows)
    return System(tuple(machines))
