"""A whole link, and the systems that engines run on: from the operator to the monitors."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from verify.language.machine import Machine, System
from verify.parts import line, monitor, operator
from verify.parts.monitor import Windows
from verify.parts.operator import Operator
from verify.parts.scheme import Scheme


@dataclass(frozen=True)
class Link:
    """A link as its file describes it. Times in ticks unless said otherwise.

    ``tick``: seconds per tick. ``names``: of the inputs, and of the outputs of the same
    number. ``delay``: least and most line delay, one constant within the range per link.
    ``branches``: extra delay of each branch of the line; one receiver at each end.
    ``within``: window in which a strike is due, or None to take it from lone presses.
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

    @property
    def inputs(self) -> int:
        """Number of inputs."""
        return len(self.names)

    def with_operator(self, **changes: object) -> Link:
        """The same link with some bounds of its operator replaced."""
        return replace(self, operator=replace(self.operator, **changes))  # type: ignore[arg-type]

    def parts(self) -> tuple[tuple[Link, tuple[int, ...]], ...]:
        """Links that can be judged one by one, each with the inputs of this link it carries.

        Sound because an operator that leaves inputs alone is still a legal operator, and
        every legal operator stays legal when presses are left out.
        """
        found = []
        for scheme, carried in self.scheme.split():
            pairs = self.operator.pairs
            if pairs is not None:
                pairs = tuple(tuple(pairs[i][j] for j in carried) for i in carried)
            own = replace(
                self,
                names=tuple(self.names[i] for i in carried),
                scheme=scheme,
                operator=replace(self.operator, pairs=pairs),
            )
            found.append((own, carried))
        return tuple(found)


def _front(link: Link) -> list[Machine]:
    scheme = link.scheme
    return [
        operator.build(link.operator, scheme.inputs, scheme.watches_release),
        *scheme.transmitter(),
    ]


def whole(link: Link, delay: int, windows: tuple[Windows, ...] | None) -> System:
    """Every part with its true delay, ``delay`` being the line's constant; for the simulator.

    ``windows``: one per branch; None leaves the monitors out.
    """
    scheme = link.scheme
    machines = _front(link)
    delays = tuple(delay + extra for extra in link.branches)
    machines += [line.build(k, delays) for k in range(scheme.lines)]
    for branch in range(len(link.branches)):
        machines += scheme.receiver(branch)
    if windows is not None:
        for branch, window in enumerate(windows):
            machines += monitor.build(branch, window)
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
    machines += [line.build(k, (0,)) for k in range(scheme.lines)]
    machines += scheme.receiver(0)
    if windows is not None:
        machines += monitor.build(0, windows)
    return System(tuple(machines))
