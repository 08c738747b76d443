"""The step of a system as Python source on plain numbers, which a compiler can take.

The same walk over the same expressions and statements as in ``Compiled``, whose numbering it
uses, but each becomes a line of text instead of a closure. Everything in flux is in one row of
whole numbers, ``m``; where what is, says ``_Rooms``. What the text cannot do (more entries than
there is room for, a number out of its bounds) sets ``m[0]``, and the search is then left to
``Compiled``.

``tests/test_packed.py`` holds it against ``Compiled.step``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import count, pairwise

from verify.engines.codetext import FINE, NARROW, STUCK, CodeText
from verify.engines.concrete import Compiled
from verify.engines.entry_fields import rank_of
from verify.engines.packing import MOST_ENTRIES, Layout, UnpackableError
from verify.engines.statecode import StateCode
from verify.language import expressions as ex
from verify.language.machine import Each, Earliest, First, Rule, Statement, walk
from verify.language.state import Bank, Emit, Number, Put, Set, Signal, Start, Take, Timer
from verify.parts.signals import delivered, failure

MOST_PICKS = 12
# Of m: the picks that were met, their values and their most, the plan for the next turn.
PICKS = 1
VALUES, MOSTS, PLANS = 2, 2 + MOST_PICKS, 2 + 2 * MOST_PICKS
PLANNED = 2 + 3 * MOST_PICKS
_FLAGS = 60

FUNCTIONS = (
    "unpack", "sound", "begin", "is_open", "any_open", "take", "bodies", "settle", "pack", "weaker",
    "free_bits", "next_event", "last_end", "copy", "failed", "delivery",
)  # fmt: skip

_COMMON = f"""
def bank_put(m, at, entry):
    n = m[at]
    if n >= {MOST_ENTRIES}:
        m[0] = {STUCK}
        return
    j = n
    while j > 0 and m[at + j] > entry:
        m[at + j + 1] = m[at + j]
        j -= 1
    m[at + j + 1] = entry
    m[at] = n + 1

def bank_take(m, at, entry):
    n = m[at]
    j = 0
    while j < n and m[at + 1 + j] != entry:
        j += 1
    if j == n:
        m[0] = {STUCK}
        return
    while j + 1 < n:
        m[at + 1 + j] = m[at + 2 + j]
        j += 1
    m[at] = n - 1

def bank_drop(m, at, under):
    n = m[at]
    k = 0
    while k < n and (m[at + 1 + k] >> under) <= 0:
        k += 1
    if k > 0:
        for j in range(n - k):
            m[at + 1 + j] = m[at + 1 + j + k]
        m[at] = n - k

def bank_age(m, at, under, passed):
    for j in range(m[at]):
        m[at + 1 + j] -= passed << under

def bank_size(m, at, under):
    n = m[at]
    k = 0
    while k < n and (m[at + 1 + k] >> under) <= 0:
        k += 1
    return n - k

def pick(m, least, most):
    k = m[{PICKS}]
    if k >= {MOST_PICKS}:
        m[0] = {STUCK}
        return least
    value = least
    if k < m[{PLANNED}]:
        value = m[{PLANS} + k]
    m[{VALUES} + k] = value
    m[{MOSTS} + k] = most
    m[{PICKS}] = k + 1
    return value

def get(words, base, at, width):
    if width == 0:
        return 0
    w = base + (at >> 6)
    s = at & 63
    value = words[w] >> s
    if s + width > 64:
        value = (value & ((1 << (64 - s)) - 1)) | (words[w + 1] << (64 - s))
    return value & ((1 << width) - 1)

def put(words, at, width, value):
    if width > 0:
        w = at >> 6
        s = at & 63
        words[w] |= (value << s) & ALL
        if s + width > 64:
            words[w + 1] |= value >> (64 - s)

def bank_weaker(a, ia, na, b, ib, nb, width, under):
    used = 0
    for x in range(na - 1, -1, -1):
        ea = get(a, ia >> 16, (ia & 65535) + x * width, width)
        best = -1
        for y in range(nb - 1, -1, -1):
            if (used >> y) & 1 == 0:
                eb = get(b, ib >> 16, (ib & 65535) + y * width, width)
                if ((ea ^ eb) & ((1 << under) - 1)) == 0:
                    best = y
                    if (eb >> under) < (ea >> under):
                        return False
                    break
        if best < 0:
            return False
        used |= 1 << best
    return True
"""


class _Rooms:
    """What is where in ``m``. From ``head`` on it is copied from offer to offer."""

    def __init__(self, compiled: Compiled, layout: Layout) -> None:
        at = count(PLANNED + 1)
        self.head = PLANNED + 1
        machines, timers = len(compiled.system.machines), len(compiled.timers)
        self.woken = [next(at) for _ in range(machines // _FLAGS + 1)]
        self.expired = [next(at) for _ in range(timers // _FLAGS + 1)]
        self.signals = [next(at) for _ in compiled.system.signals]
        self.places = {i: next(at) for i in layout.spans if i not in layout.banks}
        self.middle = next(at)
        after = self.middle
        for i in layout.banks:
            self.places[i] = after
            after += 1 + MOST_ENTRIES
        self.occurrences: list[int] = []
        for signal in compiled.system.signals:
            self.occurrences.append(after)
            after += MOST_ENTRIES * len(signal.fields)
        self.size = after

    def more(self) -> int:
        """Room for a copy of a bank's entries."""
        self.size += MOST_ENTRIES
        return self.size - MOST_ENTRIES


class StepCode(CodeText):
    """``text``: functions named in ``FUNCTIONS``; ``tables``: what they look up; ``size`` of m."""

    def __init__(self, compiled: Compiled, layout: Layout) -> None:
        self.compiled, self.layout = compiled, layout
        self.rooms = _Rooms(compiled, layout)
        self.tables: dict[str, tuple[int, ...]] = {}
        super().__init__()
        self.helpers: list[str] = []
        self.names = count()
        # Bound names: their variables, and the bank (its number) or signal that they are from.
        self.scope: dict[str, tuple[str, int | Signal]] = {}
        self.lines += StateCode(layout, self.rooms.places).lines
        self._time()
        self._offers()
        self._machines()
        self._results()
        self.text = "\n".join([_COMMON, *self.helpers, *self.lines, ""])
        self.size = self.rooms.size

    # -- time -------------------------------------------------------------------

    def _time(self) -> None:
        compiled, rooms = self.compiled, self.rooms
        room = rooms.places
        with self._under("def begin(m, passed):"):
            self._line(f"m[{PICKS}] = 0")
            for at in (*rooms.woken, *rooms.expired, *rooms.signals):
                self._line(f"m[{at}] = 0")
            for i in compiled.timers:
                with self._under(f"if m[{room[i]}] > passed:"):
                    self._line(f"m[{room[i]}] -= passed")
                if i in compiled.restraints:
                    with self._under("else:"):
                        self._line(f"m[{room[i]}] = 0")
                else:
                    with self._under(f"elif m[{room[i]}] > 0:"):
                        self._line(f"m[{room[i]}] = 0")
                        self._line(self._expire(i))
                        self._wake(compiled._woken_by_place[i])
            for i in compiled.banks:
                under = self.layout.banks[i].under
                with self._under(f"if m[{room[i]}] > 0:"):
                    self._line(f"bank_age(m, {room[i]}, {under}, passed)")
                    if i in compiled.restraints:
                        self._line(f"bank_drop(m, {room[i]}, {under})")
                    else:
                        with self._under(f"if (m[{room[i] + 1}] >> {under}) <= 0:"):
                            self._wake(compiled._woken_by_place[i])
        with self._under("def settle(m):"):
            for i in compiled.banks:
                self._line(f"bank_drop(m, {room[i]}, {self.layout.banks[i].under})")
        with self._under("def next_event(m):"):
            self._line("best = 0")
            for left, there in self._running(live=True):
                with self._under(f"if {there} and (best == 0 or {left} < best):"):
                    self._line(f"best = {left}")
            self._line("return best")
        with self._under("def last_end(m):"):
            self._line("most = 1")
            for left, there in self._running(live=False):
                with self._under(f"if {there} and {left} > most:"):
                    self._line(f"most = {left}")
            self._line("return most")
        with self._under("def copy(m, into):"):
            with self._under(f"for j in range({rooms.head}, {rooms.middle}):"):
                self._line("into[j] = m[j]")
            for i in compiled.banks:
                with self._under(f"for j in range({room[i]}, {room[i] + 1} + m[{room[i]}]):"):
                    self._line("into[j] = m[j]")

    def _running(self, *, live: bool) -> Iterator[tuple[str, str]]:
        """Ticks that are left of each timer and bank, and whether it runs."""
        room = self.rooms.places
        for i in (*self.compiled.timers, *self.compiled.banks):
            if (i in self.compiled.restraints) is live:
                continue
            if i in self.layout.banks:
                under = self.layout.banks[i].under
                entry = f"{room[i] + 1}" if live else f"{room[i]} + m[{room[i]}]"
                yield f"(m[{entry}] >> {under})", f"m[{room[i]}] > 0"
            else:
                yield f"m[{room[i]}]", f"m[{room[i]}] > 0"

    def _expire(self, i: int) -> str:
        k = self.compiled.timers.index(i)
        at = self.rooms.expired[k // _FLAGS]
        return f"m[{at}] = m[{at}] | {1 << k % _FLAGS}"

    def _wake(self, machines: Sequence[int]) -> None:
        for word, at in enumerate(self.rooms.woken):
            flags = sum(1 << k % _FLAGS for k in machines if k // _FLAGS == word)
            if flags:
                self._line(f"m[{at}] = m[{at}] | {flags}")

    # -- offers and machines ----------------------------------------------------

    def _offers(self) -> None:
        offers, first = self.compiled.system.offers, 0
        opened: list[tuple[int, int, str]] = []
        doing: list[tuple[int, int, int]] = []
        for k, offer in enumerate(offers):
            if len(offer.signal.fields) != 1:
                raise UnpackableError(f"{offer.signal.name!r} of an offer without a number")
            with self._binding(offer.name, "v", offer.signal):
                allowed = self._bool(offer.allowed)
                with self._under(f"def take{k}(m, v0):"):
                    self._line(f"happen{self._number(offer.signal)}(m, v0)")
                    self._block(offer.do)
            opened.append((first, first + offer.count, allowed))
            doing.append((k, first, first + offer.count))
            first += offer.count
        with self._under("def is_open(m, index):"):
            for start, end, allowed in opened:
                with self._under(f"if index < {end}:"):
                    self._line(f"v0 = index - {start}")
                    self._line(f"return {allowed}")
            self._line("return False")
        with self._under("def any_open(m):"):
            for start, end, allowed in opened:
                with self._under(f"for v0 in range({end - start}):"), self._under(f"if {allowed}:"):
                    self._line("return True")
            self._line("return False")
        with self._under("def take(m, index):"):
            for k, start, end in doing:
                with self._under(f"{'if' if k == 0 else 'elif'} index < {end}:"):
                    self._line(f"take{k}(m, index - {start})")

    def _machines(self) -> None:
        signals = self.compiled.system.signals
        for n, signal in enumerate(signals):
            self._happen(n, signal)
        names = []
        for k, machine in enumerate(self.compiled.system.machines):
            if not machine.body:
                continue
            with self._under(f"def machine{k}(m):"):
                self._block(machine.body)
            names.append(k)
        with self._under("def bodies(m):"):
            for k in names:
                at, flag = self.rooms.woken[k // _FLAGS], 1 << k % _FLAGS
                with self._under(f"if m[{at}] & {flag} != 0:"):
                    self._line(f"machine{k}(m)")

    def _results(self) -> None:
        """``failed``; ``delivery``: how many, or of number k the input and the ticks."""
        signals = self.compiled.system.signals
        fails = failure(0)
        with self._under("def failed(m):"):
            told = f"m[{self.rooms.signals[self._number(fails)]}] > 0"
            self._line(f"return {told if fails in signals else 'False'}")
        deliveries = delivered(0)
        with self._under("def delivery(m, k):"):
            if deliveries not in signals:
                self._line("return 0")
                return
            n = self._number(deliveries)
            with self._under("if k < 0:"):
                self._line(f"return m[{self.rooms.signals[n]}]")
            self._line(f"return m[{self.rooms.occurrences[n]} + k]")

    def _number(self, signal: Signal) -> int:
        return self.compiled._signal.get(signal, -1)

    def _happen(self, n: int, signal: Signal) -> None:
        """Occurrences are kept in the order of their numbers, each once."""
        fields = range(len(signal.fields))
        at, size = self.rooms.occurrences[n], len(signal.fields)
        there = self.rooms.signals[n]
        values = "".join(f", v{k}" for k in fields)
        with self._under(f"def happen{n}(m{values}):"):
            if not size:
                with self._under(f"if m[{there}] == 0:"):
                    self._line(f"m[{there}] = 1")
                    self._wake(self.compiled._woken_by_signal[n])
                return
            self._line(f"n = m[{there}]")
            self._line("j = n")
            with self._under("while j > 0:"):
                for k in fields:
                    self._line(f"w{k} = m[{at + k} + (j - 1) * {size}]")
                same = " and ".join(f"w{k} == v{k}" for k in fields)
                with self._under(f"if {same}:"):
                    self._line("return")
                self._line("j -= 1")
            with self._under(f"if n >= {MOST_ENTRIES}:"):
                self._line(f"m[0] = {STUCK}")
                self._line("return")
            self._line("j = n")
            with self._under("while j > 0:"):
                for k in fields:
                    self._line(f"w{k} = m[{at + k} + (j - 1) * {size}]")
                larger = "False"
                for k in reversed(fields):
                    larger = f"(w{k} > v{k} or (w{k} == v{k} and {larger}))"
                with self._under(f"if not {larger}:"):
                    self._line("break")
                for k in fields:
                    self._line(f"m[{at + k} + j * {size}] = w{k}")
                self._line("j -= 1")
            for k in fields:
                self._line(f"m[{at + k} + j * {size}] = v{k}")
            self._line(f"m[{there}] = n + 1")
            self._wake(self.compiled._woken_by_signal[n])

    # -- statements -------------------------------------------------------------

    @contextmanager
    def _binding(self, name: str, variable: str, source: int | Signal) -> Iterator[None]:
        before = self.scope.get(name)
        self.scope[name] = (variable, source)
        yield
        if before is None:
            del self.scope[name]
        else:
            self.scope[name] = before

    def _block(self, statements: Sequence[Statement]) -> None:
        for statement in statements:
            self._statement(statement)

    def _statement(self, statement: Statement) -> None:
        match statement:
            case Set(number, value):
                self._assign(number, value, number.least, number.most)
            case Start(timer, length):
                self._assign(timer, length, 0, timer.most)
            case Put(bank, length, values):
                self._put(bank, length, values)
            case Emit(signal, values):
                told = "".join(f", {self._int(value)}" for value in values)
                self._line(f"happen{self._number(signal)}(m{told})")
            case Rule():
                self._first((statement,))
            case First(rules):
                self._first(rules)
            case Each(source=Signal() as signal):
                self._each_signal(signal, statement)
            case Each(source=Bank() as bank):
                self._each_entry(bank, statement)
            case Earliest():
                self._earliest(statement)
            case Take(name):
                variable, source = self._bound(name)
                if isinstance(source, Signal):
                    raise UnpackableError(f"{name!r} is taken from a signal")
                self._line(f"bank_take(m, {self.rooms.places[source]}, {variable})")

    def _bound(self, name: str) -> tuple[str, int | Signal]:
        if name not in self.scope:
            raise UnpackableError(f"{name!r} outside the statement that binds it")
        return self.scope[name]

    def _assign(self, item: Number | Timer, value: ex.Int, least: int, most: int) -> None:
        at = self.rooms.places[self.compiled.where[item]]
        if isinstance(value, ex.Constant) and least <= value.value <= most:
            self._line(f"m[{at}] = {int(value.value)}")
            return
        new = f"s{next(self.names)}"
        self._line(f"{new} = {self._int(value)}")
        with self._under(f"if {new} < {least} or {new} > {most}:"):
            self._line(f"m[0] = {STUCK}")
        with self._under("else:"):
            self._line(f"m[{at}] = {new}")

    def _put(self, bank: Bank, length: ex.Int, values: Sequence[ex.Int]) -> None:
        i = self.compiled.where[bank]
        packed = self.layout.banks[i]
        turn = next(self.names)
        names = [f"f{turn}_{k}" for k in range(len(values) + 1)]
        kept = (
            value if ranked is None else rank_of(value, ranked)
            for value, ranked in zip(values, packed.values, strict=True)
        )
        for name, value in zip(names, (length, *kept), strict=True):
            self._line(f"{name} = {self._int(value)}")
        spans = (packed.left, *packed.fields)
        outside = " or ".join(
            f"{name} < {span.least} or {name} > {span.most}"
            for name, span in zip(names, spans, strict=True)
        )
        with self._under(f"if {outside}:"):
            self._line(f"m[0] = {STUCK}")
        with self._under("else:"):
            shifts = (packed.under, *packed.shifts)
            entry = " | ".join(
                f"(({name} - {span.least}) << {shift})"
                for name, span, shift in zip(names, spans, shifts, strict=True)
            )
            self._line(f"bank_put(m, {self.rooms.places[i]}, {entry})")
            wakes = self.compiled._woken_by_place[i]
            if wakes:
                with self._under(f"if {names[0]} == 0:"):
                    self._wake(wakes)

    def _first(self, rules: Sequence[Rule]) -> None:
        word = "if"
        for rule in rules:
            with self._under(f"{word} {self._bool(rule.when)}:"):
                self._block(rule.do)
            word = "elif"

    def _each_signal(self, signal: Signal, statement: Each) -> None:
        n = self._number(signal)
        if n < 0:
            return
        if any(isinstance(s, Emit) and s.signal == signal for s in walk(statement.do)):
            raise UnpackableError(f"{signal.name!r} is emitted while it is looked at")
        turn = next(self.names)
        at, size = self.rooms.occurrences[n], len(signal.fields)
        with self._under(f"for i{turn} in range(m[{self.rooms.signals[n]}]):"):
            for k in range(size):
                self._line(f"o{turn}_{k} = m[{at + k} + i{turn} * {size}]")
            with self._binding(statement.name, f"o{turn}_", signal):
                self._block(statement.do)

    def _each_entry(self, bank: Bank, statement: Each) -> None:
        i, turn = self.compiled.where[bank], next(self.names)
        at, under = self.rooms.places[i], self.layout.banks[i].under
        self._line(f"c{turn} = m[{at}]")
        first = at + 1
        if any(isinstance(s, (Put, Take)) for s in walk(statement.do)):
            first = self.rooms.more()
            with self._under(f"for j in range(c{turn}):"):
                self._line(f"m[{first} + j] = m[{at + 1} + j]")
        with self._under(f"for i{turn} in range(c{turn}):"):
            self._line(f"e{turn} = m[{first} + i{turn}]")
            if statement.expired:
                with self._under(f"if (e{turn} >> {under}) > 0:"):
                    self._line("break")
            with self._binding(statement.name, f"e{turn}", i):
                self._block(statement.do)

    def _earliest(self, statement: Earliest) -> None:
        i, turn = self.compiled.where[statement.bank], next(self.names)
        at = self.rooms.places[i]
        self._line(f"e{turn} = 0")
        self._line(f"h{turn} = False")
        with self._binding(statement.name, f"e{turn}", i):
            with self._under(f"for i{turn} in range(m[{at}]):"):
                self._line(f"e{turn} = m[{at + 1} + i{turn}]")
                with self._under(f"if {self._bool(statement.where)}:"):
                    self._line(f"h{turn} = True")
                    self._line("break")
            with self._under(f"if h{turn}:"):
                self._block(statement.do)
        with self._under("else:"):
            self._block(statement.otherwise)

    # -- expressions ------------------------------------------------------------

    def _int(self, e: ex.Int) -> str:
        match e:
            case ex.Constant(value):
                return str(int(value)) if value >= 0 else f"({int(value)})"
            case ex.Read(number):
                return f"m[{self.rooms.places[self.compiled.where[number]]}]"
            case ex.Left(timer):
                return f"m[{self.rooms.places[self.compiled.where[timer]]}]"
            case ex.Field(name, index):
                return self._field(name, index)
            case ex.EntryLeft(name):
                variable, source = self._bound(name)
                if isinstance(source, Signal):
                    return "0"
                return f"({variable} >> {self.layout.banks[source].under})"
            case ex.Plus(a, b):
                return f"({self._int(a)} + {self._int(b)})"
            case ex.Minus(a, b):
                return f"({self._int(a)} - {self._int(b)})"
            case ex.Times(factor, unit):
                place = self.rooms.places[self.compiled.where[unit]]
                return f"({self._int(factor)} * m[{place}])"
            case ex.Lookup(table, index_of):
                return f"{self._look(tuple(int(x) for x in table))}(m, {self._int(index_of)})"
            case ex.Find(windows, searched):
                return f"{self._find(windows)}({self._int(searched)})"
            case ex.Size(bank):
                k = self.compiled.where[bank]
                under = self.layout.banks[k].under
                return f"bank_size(m, {self.rooms.places[k]}, {under})"
            case ex.Pick(_, least, most):
                return f"pick(m, {least}, {most})"
        raise UnpackableError(f"no such number expression: {e!r}")

    def _field(self, name: str, index: int) -> str:
        variable, source = self._bound(name)
        if isinstance(source, Signal):
            return f"{variable}{index}"
        bank = self.layout.banks[source]
        span, shift = bank.fields[index], bank.shifts[index]
        values = bank.values[index]
        if values is not None:
            rank = f"(({variable} >> {shift}) & {(1 << span.width) - 1})"
            return f"{self._look(values)}(m, {rank})"
        if not span.width:
            return str(span.least) if span.least >= 0 else f"({span.least})"
        read = f"(({variable} >> {shift}) & {(1 << span.width) - 1})"
        return f"({read} + {span.least})" if span.least else read

    def _table(self, numbers: Sequence[int]) -> str:
        name = f"T{len(self.tables)}"
        self.tables[name] = tuple(numbers)
        return name

    def _look(self, table: tuple[int, ...]) -> str:
        name = f"look{next(self.names)}"
        step = table[1] - table[0] if len(table) > 1 else 0
        if all(b - a == step for a, b in pairwise(table)):
            value = f"{table[0]} + {step} * index"
        else:
            value = f"{self._table(table)}[index]"
        self.helpers.append(
            f"def {name}(m, index):\n"
            f"    if index < 0 or index >= {len(table)}:\n"
            f"        m[0] = {STUCK}\n"
            f"        return 0\n"
            f"    return {value}\n"
        )
        return name

    def _find(self, windows: tuple[tuple[int, int], ...]) -> str:
        order = sorted(range(len(windows)), key=lambda k: windows[k][0])
        starts = self._table([windows[k][0] for k in order])
        ends = self._table([windows[k][1] for k in order])
        numbers = self._table(order)
        name = f"find{next(self.names)}"
        self.helpers.append(
            f"def {name}(value):\n"
            f"    low = 0\n"
            f"    high = {len(windows)}\n"
            f"    while low < high:\n"
            f"        middle = (low + high) >> 1\n"
            f"        if {starts}[middle] <= value:\n"
            f"            low = middle + 1\n"
            f"        else:\n"
            f"            high = middle\n"
            f"    if low > 0 and value <= {ends}[low - 1]:\n"
            f"        return {numbers}[low - 1]\n"
            f"    return -1\n"
        )
        return name

    def _bool(self, e: ex.Bool) -> str:
        match e:
            case ex.Truth(value):
                return str(value)
            case ex.Equal(a, b):
                return f"({self._int(a)} == {self._int(b)})"
            case ex.Less(a, b):
                return f"({self._int(a)} < {self._int(b)})"
            case ex.And(ex.Truth(True), p) | ex.And(p, ex.Truth(True)):
                return self._bool(p)
            case ex.And(p, q):
                return f"({self._bool(p)} and {self._bool(q)})"
            case ex.Or(p, q):
                return f"({self._bool(p)} or {self._bool(q)})"
            case ex.Not(p):
                return f"(not {self._bool(p)})"
            case ex.Happens(signal):
                n = self._number(signal)
                return f"(m[{self.rooms.signals[n]}] > 0)" if n >= 0 else "False"
            case ex.Expires(timer):
                k = self.compiled.timers.index(self.compiled.where[timer])
                return f"(m[{self.rooms.expired[k // _FLAGS]}] & {1 << k % _FLAGS} != 0)"
            case ex.Exists():
                return self._exists(e)
        raise UnpackableError(f"no such truth expression: {e!r}")

    def _exists(self, e: ex.Exists) -> str:
        """A function of its own, told everything that is bound."""
        i, turn = self.compiled.where[e.bank], next(self.names)
        at = self.rooms.places[i]
        told = [name for v, source in self.scope.values() for name in _variables(v, source)]
        arguments = ", ".join(["m", *told])
        lines, depth = self.lines, self.depth
        self.lines, self.depth = [], 0
        with self._binding(e.name, f"e{turn}", i), self._under(f"def exists{turn}({arguments}):"):
            with self._under(f"for i{turn} in range(m[{at}]):"):
                self._line(f"e{turn} = m[{at + 1} + i{turn}]")
                with self._under(f"if {self._bool(e.where)}:"):
                    self._line("return True")
            self._line("return False")
        self.helpers.append("\n".join(self.lines))
        self.lines, self.depth = lines, depth
        return f"exists{turn}({arguments})"


def _variables(variable: str, source: int | Signal) -> list[str]:
    if isinstance(source, Signal):
        return [f"{variable}{k}" for k in range(len(source.fields))]
    return [variable]


__all__ = ["FINE", "FUNCTIONS", "NARROW", "STUCK", "StepCode"]
