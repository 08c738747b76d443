"""parallel-code: every input drives its own combination of lines while held."""

from __future__ import annotations

import re
from collections.abc import Hashable
from dataclasses import dataclass, field, replace
from itertools import combinations
from math import comb

from models.levels import Driver, Listener, bit
from verify.language import expressions as ex
from verify.language.machine import Each, Machine, Rule, Statement
from verify.language.state import Number, Set, Timer, number
from verify.parts.clock import ON_TIME, Clock
from verify.parts.scheme import Scheme
from verify.parts.script import Script
from verify.parts.signals import PRESS, RELEASE, cleared, decoded

# Codes of a closed table, at most.
_MOST_CLOSED = 5_000

_LINE = re.compile(r"^line(\d+)(?=\.)")


@dataclass(frozen=True)
class ParallelCode(Scheme):
    """``codes[i]``: the lines that input i drives, as a word; no code is 0, which is idle.

    ``width``: how many lines; ``settle``: ticks that they must be steady before the receiver
    believes them. Codes of inputs held together are OR'd on the lines.
    """

    codes: tuple[int, ...]
    width: int
    settle: int = 0
    # Of a part: which lines of the whole its lines are.
    of_whole: tuple[int, ...] | None = field(default=None, compare=False)

    @property
    def watches_release(self) -> bool:
        """An input drives its lines while it is held."""
        return True

    @property
    def lines(self) -> int:
        """One per bit of the codes."""
        return self.width

    @property
    def inputs(self) -> int:
        """One per code."""
        return len(self.codes)

    def per_input(self) -> dict[str, tuple[int, ...]]:
        """The codes, as numbers."""
        return {"code": self.codes}

    def wiring(self) -> dict[str, tuple[str, ...]]:
        """The lines that an input drives, numbered from 1."""
        lines = range(self.width)
        driven = ("+".join(str(k + 1) for k in lines if code >> k & 1) for code in self.codes)
        return {"drives lines": tuple(driven)}

    def settings(self) -> dict[str, str | int]:
        """Everything else: words, or numbers of ticks."""
        return {"settle": self.settle}

    def alone(
        self, index: int, unrest: int = 0, clock: Clock = ON_TIME
    ) -> tuple[tuple[Scheme, tuple[int, ...]], ...]:
        """Of two levers that are up for long enough, at least one output is wrong: the lines show
        both codes as one, which is not both. So a pair that has that fault decides."""
        code = self.codes[index]
        others = [i for i in range(self.inputs) if i != index]
        if not others:
            return self.split()
        partner = next((i for i in others if self.codes[i] & ~code), others[0])
        pair = (index, partner)
        # Pairs that differ in the numbers of their lines only are one question.
        lines = tuple(line for kind in self._kinds(pair) for line in kind)
        codes = (
            sum((self.codes[i] >> line & 1) << k for k, line in enumerate(lines)) for i in pair
        )
        return ((replace(self, codes=tuple(codes), of_whole=lines), pair),)

    def on_whole(self, script: Script, hidden: int, cold: int) -> Script:
        """What the world picks on a line is picked on that line of the whole."""
        lines = self.of_whole
        if lines is None:
            return script

        def there(name: str) -> str:
            return _LINE.sub(lambda found: f"line{lines[int(found[1])]}", name)

        return replace(
            script,
            picks=tuple(replace(chosen, name=there(chosen.name)) for chosen in script.picks),
            constants=tuple((there(name), value) for name, value in script.constants),
        )

    def alike(self, inputs: tuple[int, ...]) -> Hashable:
        """How many lines each of the inputs, or several of them, drive."""
        return tuple(map(len, self._kinds(inputs)))[1:]

    def exchangeable(self, inputs: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
        """Lines that are driven by the same of these inputs."""
        return self._kinds(inputs)[1:]

    def closed(self) -> Scheme | None:
        """All codes of so many lines, or all there are if these have not equally many.

        Outputs that are not there are all that is missed: a receiver shows another output for
        the same codes on its lines, or none.
        """
        weights = {code.bit_count() for code in self.codes} - {0}
        weight = weights.pop() if len(weights) == 1 else None
        lines = range(self.width)
        size = comb(self.width, weight) if weight else (1 << self.width) - 1
        if size > _MOST_CLOSED or len({*self.codes, 0}) <= self.inputs:
            return None
        if weight:
            words = {sum(1 << k for k in on) for on in combinations(lines, weight)}
        else:
            words = set(range(1, 1 << self.width))
        return replace(self, codes=(*self.codes, *sorted(words.difference(self.codes))))

    def _kinds(self, inputs: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
        """Lines by who of the inputs drives them, those of nobody first."""
        kinds: list[list[int]] = [[] for _ in range(1 << len(inputs))]
        for line in range(self.width):
            drives = (self.codes[i] >> line & 1 for i in inputs)
            kinds[sum(on << k for k, on in enumerate(drives))].append(line)
        return tuple(map(tuple, kinds))

    def transmitter(self) -> tuple[Machine, ...]:
        """Counts, per line, the held inputs that drive it."""
        drivers = [Driver("sender", line, self.inputs) for line in range(self.lines)]
        pressed, gone = PRESS.occurrence("p")["input"], RELEASE.occurrence("r")["input"]
        more: list[Set] = []
        fewer: list[Set] = []
        for line, driver in enumerate(drivers):
            drives = bit(self.codes, line)
            more.append(driver.driven.set(driver.driven.read() + ex.Lookup(drives, pressed)))
            fewer.append(driver.driven.set(driver.driven.read() - ex.Lookup(drives, gone)))
        moved = PRESS.happens() | RELEASE.happens()
        body: list[Statement] = [Each(RELEASE, "r", tuple(fewer)), Each(PRESS, "p", tuple(more))]
        for driver in drivers:
            body += driver.edges(moved)
        memory = tuple(item for driver in drivers for item in driver.memory)
        return (Machine("sender", memory, tuple(body)),)

    def receiver(self, branch: int, delay: int = 0) -> tuple[Machine, ...]:
        """Strikes the output whose code the lines come to show."""
        name = f"receiver{branch}"
        listeners = [Listener(name, line, branch) for line in range(self.lines)]
        shown = number(f"{name}.shown", -1, self.inputs - 1, wire=True)
        read = number(f"{name}.read", -1, self.inputs - 1, wire=True)
        word: ex.Int = ex.Constant(0)
        edge: ex.Bool = ex.Truth(False)
        for line, listener in enumerate(listeners):
            word = word + ex.Lookup((0, 1 << line), listener.high.read())
            edge = (
                (edge | listener.rises | listener.falls)
                if line
                else (listener.rises | listener.falls)
            )
        believe: tuple[Statement, ...] = (
            read.set(ex.Find(tuple((code, code) for code in self.codes), word)),
            Rule(
                "no longer",
                (shown.read() >= 0) & read.read().ne(shown.read()),
                (cleared(branch).emit(shown.read()),),
            ),
            Rule(
                "a new code",
                (read.read() >= 0) & read.read().ne(shown.read()),
                (decoded(branch).emit(read.read()),),
            ),
            shown.set(read.read()),
            read.set(-1),
        )
        memory: list[Number | Timer] = [*(listener.high for listener in listeners), shown, read]
        body: list[Statement] = [rule for listener in listeners for rule in listener.follow()]
        if self.settle == 0:
            body.append(Rule("the lines moved", edge, believe))
        else:
            steady = Timer(f"{name}.steady", self.settle)
            memory.append(steady)
            body.append(Rule("the lines are steady", steady.expires() & ~edge, believe))
            body.append(Rule("the lines moved", edge, (steady.start(self.settle),)))
        return (Machine(name, tuple(memory), tuple(body)),)
