"""parallel-code: every input drives its own combination of lines while held."""

from __future__ import annotations

import re
from collections.abc import Hashable
from dataclasses import dataclass, field, replace
from functools import reduce
from itertools import combinations, permutations
from math import comb
from operator import or_
from typing import Literal

from models.levels import Driver, Listener, bit
from verify.language import expressions as ex
from verify.language.machine import Each, Machine, Rule, Statement
from verify.language.state import Flag, Number, Set, Timer, flag, number
from verify.parts.clock import ON_TIME, Clock
from verify.parts.scheme import Scheme
from verify.parts.script import Script
from verify.parts.signals import PRESS, RELEASE, cleared, decoded

Reads = Literal["exact", "covered", "sets"]
"""When a receiver takes an output to be on. ``exact``: while the lines show its code and no
other line; ``covered``: while they show all lines of its code, whatever else they show;
``sets``: while they show the OR of a set of codes, no more than may be held, that has it."""

# Codes of a closed table, at most.
_MOST_CLOSED = 5_000
# Lines of a code whose every order is tried, to see that parts are alike.
_MOST_ORDERED = 5

_LINE = re.compile(r"^line(\d+)(?=\.)")


@dataclass(frozen=True)
class ParallelCode(Scheme):
    """``codes[i]``: the lines that input i drives, as a word; no code is 0, which is idle.

    ``width``: how many lines; ``settle``: ticks that they must be steady before the receiver
    believes them (of ``reads = "covered"``: the lines of one code, for each output by itself).
    Codes of inputs held together are OR'd on the lines. ``held``: of ``reads = "sets"``, how
    many may be.
    """

    codes: tuple[int, ...]
    width: int
    settle: int = 0
    reads: Reads = "exact"
    held: int = 1
    # Of a part: the one output that it has, if not all; which lines of the whole its lines are.
    only: int | None = None
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
        found: dict[str, str | int] = {"settle": self.settle}
        if self.reads != "exact":
            found["reads"] = self.reads
        if self.reads == "sets":
            found["held"] = self.held
        return found

    def alone(
        self, index: int, unrest: int = 0, clock: Clock = ON_TIME, clash: bool = True
    ) -> tuple[tuple[Scheme, tuple[int, ...]], ...]:
        """Read exactly, of two levers that are up for long enough at least one output is wrong:
        the lines show both codes as one, which is not both. So a pair that has that fault
        decides, if there is such a pair and what it hides counts.

        An output that is on while its own lines are high takes note of these lines only, so
        levers that drive none of them do not matter.
        """
        if self.reads == "covered":
            return (self._on_own_lines(index),)
        if self.reads == "sets" or not clash:
            # Codes read exactly are sets of one.
            held = self.held if self.reads == "sets" else 1
            part = replace(self, reads="sets", held=held, only=index)
            return ((part, tuple(range(self.inputs))),)
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

    def _on_own_lines(self, index: int) -> tuple[Scheme, tuple[int, ...]]:
        """One output, its lines and all that drive them; the others' codes in ascending order,
        so that parts that differ in the numbers of lines and inputs only are one question."""
        own = tuple(line for line in range(self.width) if self.codes[index] >> line & 1)
        near = [i for i, code in enumerate(self.codes) if code & self.codes[index]]
        near.remove(index)

        def seen_from(lines: tuple[int, ...]) -> list[tuple[int, int]]:
            parts = (
                sum((self.codes[i] >> line & 1) << k for k, line in enumerate(lines)) for i in near
            )
            return sorted(zip(parts, near, strict=True))

        orders = permutations(own) if len(own) <= _MOST_ORDERED else [own]
        lines = min(orders, key=lambda order: [part for part, _ in seen_from(order)])
        others = seen_from(lines)
        codes = ((1 << len(lines)) - 1, *(part for part, _ in others))
        part = replace(self, codes=codes, width=len(lines), only=0, of_whole=lines)
        return part, (index, *(i for _, i in others))

    @property
    def numbers_lines(self) -> bool:
        """Of a part."""
        return self.of_whole is not None

    def on_whole(self, script: Script, later: int, cold: int) -> Script:
        """What the world picks on a line is picked on that line of the whole."""
        script = super().on_whole(script, later, cold)
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
        the same codes on its lines, or none. So it is where codes are read exactly.
        """
        if self.reads != "exact":
            return None
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
        """Strikes the outputs whose codes the lines come to show, and lets others go."""
        if self.reads == "covered":
            return tuple(self._covered(branch, i) for i in self._outputs)
        listeners = [Listener(f"receiver{branch}", line, branch) for line in range(self.lines)]
        return (
            self._sets(branch, listeners)
            if self.reads == "sets"
            else self._exact(branch, listeners),
        )

    def _exact(self, branch: int, listeners: list[Listener]) -> Machine:
        name = f"receiver{branch}"
        shown = number(f"{name}.shown", -1, self.inputs - 1, wire=True)
        read = number(f"{name}.read", -1, self.inputs - 1, wire=True)
        believe: tuple[Statement, ...] = (
            read.set(ex.Find(tuple((code, code) for code in self.codes), _word(listeners))),
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
        body += self._steady(f"{name}.steady", listeners, believe, memory)
        return Machine(name, tuple(memory), tuple(body))

    @property
    def _outputs(self) -> tuple[int, ...]:
        return tuple(range(self.inputs)) if self.only is None else (self.only,)

    def _covered(self, branch: int, output: int) -> Machine:
        """One output by itself, on its own lines."""
        name = f"receiver{branch}.{output}"
        own = [line for line in range(self.lines) if self.codes[output] >> line & 1]
        listeners = [Listener(name, line, branch) for line in own]
        on: ex.Bool = ex.Truth(True)
        for heard in listeners:
            on &= heard.high.up()
        shown = flag(f"{name}.shown", wire=True)
        memory: list[Number | Timer] = [*(heard.high for heard in listeners), shown]
        body: list[Statement] = [rule for heard in listeners for rule in heard.follow()]
        believe = _follows(branch, output, shown, on)
        body += self._steady(f"{name}.steady", listeners, believe, memory)
        return Machine(name, tuple(memory), tuple(body))

    def _sets(self, branch: int, listeners: list[Listener]) -> Machine:
        """Looks up what the lines show as a whole."""
        name = f"receiver{branch}"
        of_sets = self._members()
        words = tuple(sorted(of_sets))
        read = number(f"{name}.read", -1, len(words) - 1, wire=True)
        memory: list[Number | Timer] = [*(listener.high for listener in listeners), read]
        body: list[Statement] = [rule for listener in listeners for rule in listener.follow()]
        believe: list[Statement] = [
            read.set(ex.Find(tuple((word, word) for word in words), _word(listeners)))
        ]
        for i in self._outputs:
            shown = flag(f"{name}.shown{i}", wire=True)
            memory.append(shown)
            has = (0, *(int(i in of_sets[word]) for word in words))
            on = ex.Lookup(has, read.read() + 1).eq(1)
            believe += _follows(branch, i, shown, on)
        believe.append(read.set(-1))
        body += self._steady(f"{name}.steady", listeners, tuple(believe), memory)
        return Machine(name, tuple(memory), tuple(body))

    def _members(self) -> dict[int, frozenset[int]]:
        """What a set of inputs, no more than may be held, shows; and who is in such a set."""
        found: dict[int, frozenset[int]] = {}
        for size in range(1, min(self.held, self.inputs) + 1):
            for inputs in combinations(range(self.inputs), size):
                word = reduce(or_, (self.codes[i] for i in inputs))
                found[word] = found.get(word, frozenset()) | frozenset(inputs)
        return found

    def _steady(
        self,
        timer: str,
        listeners: list[Listener],
        believe: tuple[Statement, ...],
        memory: list[Number | Timer],
    ) -> list[Statement]:
        """Believe when these lines have moved, or have been steady for long enough since."""
        edge: ex.Bool = ex.Truth(False)
        for k, heard in enumerate(listeners):
            edge = edge | heard.rises | heard.falls if k else heard.rises | heard.falls
        if self.settle == 0:
            return [Rule("the lines moved", edge, believe)]
        steady = Timer(timer, self.settle)
        memory.append(steady)
        return [
            Rule("the lines are steady", steady.expires() & ~edge, believe),
            Rule("the lines moved", edge, (steady.start(self.settle),)),
        ]


def _word(listeners: list[Listener]) -> ex.Int:
    """What the lines show."""
    word: ex.Int = ex.Constant(0)
    for line, heard in enumerate(listeners):
        word = word + ex.Lookup((0, 1 << line), heard.high.read())
    return word


def _follows(branch: int, output: int, shown: Flag, on: ex.Bool) -> tuple[Statement, ...]:
    """The output goes where ``on`` says."""
    return (
        Rule(
            f"no longer {output}",
            shown.up() & ~on,
            (shown.put_down(), cleared(branch).emit(output)),
        ),
        Rule(f"shows {output}", ~shown.up() & on, (shown.put_up(), decoded(branch).emit(output))),
    )
