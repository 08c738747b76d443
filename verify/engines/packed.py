"""The explorer on packed states: the same answers as ``explorer``, from generated code.

``llvmlite`` (extra ``fewwire[fast]``) compiles it. Nothing is left out and nothing is forgotten: a
state takes its words, the number of the one before it and a place in a hash table. What does not
fit (numbers without bounds, too many things in one tick) raises ``UnpackableError``, and the
search is then done without packing. How a state was reached is worked out afterwards by
``Compiled``, step by step from its forerunner: a check of the generated code, too.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache
from time import monotonic
from typing import Any

from verify.engines import alarm, native
from verify.engines import packed_room as ps
from verify.engines.answer import Answer, Budget, Delivery, Progress, Verdict, explored
from verify.engines.checkpoint import Checkpoint, DamagedError
from verify.engines.concrete import Compiled, Occurrence, State
from verify.engines.packed_queue import build_queue
from verify.engines.packed_search import build_search
from verify.engines.packed_table import build_table
from verify.engines.packing import WORD, Layout, UnpackableError
from verify.engines.stepcode import NARROW, StepCode
from verify.engines.trace import Chosen, Press, Script
from verify.errors import DisagreementError
from verify.parts.signals import delivered, failure

# Room at the beginning, room that a visit must have.
_BEGIN, _HEADROOM, _MOST_HEADROOM = 1 << 15, 1 << 12, 1 << 22

# Seconds of a turn, after which the clock is looked at, and states of one at least.
_LONG_TURN, _LEAST_TURN = 0.2, 64

# Each is made on the functions of those before.
_BUILDS = (build_table, build_queue, build_search)

Taken = tuple[int, ...]


@lru_cache(maxsize=8)
def _made(
    text: str, tables: tuple[tuple[str, tuple[int, ...]], ...], fast: bool
) -> Mapping[str, Any]:
    kind: native.Native = native.Compiled() if fast else native.Plain()
    return kind.functions(text, dict(tables), _BUILDS, ps.ROWS)


class _NarrowError(Exception):
    """A state took more words than there were."""


class _CrowdedError(Exception):
    """A visit took more room than it may."""


class PackedSearch:
    """One search. Raises UnpackableError if the system cannot be packed."""

    def __init__(
        self,
        compiled: Compiled,
        budget: Budget,
        progress: Progress,
        latencies: bool,
        *,
        fast: bool = True,
        checkpoint: Checkpoint | None = None,
    ) -> None:
        self.compiled, self.budget, self.progress = compiled, budget, progress
        self.latencies, self.checkpoint = latencies, checkpoint
        self.layout = Layout(compiled)
        self.code = StepCode(compiled, self.layout)
        self.kind: native.Native = native.Compiled() if fast else native.Plain()
        tables = tuple(self.code.tables.items())
        self.functions = _made(self.code.text, tables, fast)
        one_each = sum(bank.width for bank in self.layout.banks.values())
        bits = self.layout.fixed + min(one_each, WORD)
        self.words = max(1, -(-bits // WORD))
        self.headroom = max(_HEADROOM, 64 * self.compiled.count)
        self.states_packed, self.anew, self.restored = 0, False, False

    def run(self) -> Answer:
        """The answer of ``explorer``."""
        while self.words <= ps.MOST_WORDS:
            try:
                return self._run()
            except DisagreementError:
                if self.restored:
                    raise DamagedError from None
                raise
            except _NarrowError:
                self.words, self.anew = self.words + 1, True
                self.restored = False
            except _CrowdedError:
                self.anew, self.restored = True, False
                self.headroom *= 16
                if self.headroom > _MOST_HEADROOM:
                    raise UnpackableError("too much in one tick") from None
        raise UnpackableError("states of too many bits")

    # -- room -------------------------------------------------------------------

    def prepare(self, nodes: int = 0, blocks: int = 0, runs: int = 0, lists: int = 0) -> None:
        """Make room for so much, and more."""
        new, code, words = self.kind.new, self.code, self.words
        c = new(64, "int64")
        inputs = max(self.compiled.inputs, self.compiled.count)
        for k in (ps.BLOCK, ps.FREE_BLOCK, ps.FREE_LIST, ps.FAILED_AT):
            c[k] = -1
        c[ps.NOW] = -1
        c[ps.WORDS], c[ps.COUNT] = words, self.compiled.count
        c[ps.LATENCIES] = int(self.latencies)
        c[ps.LIMITED] = -1 if self.budget.states is None else self.budget.states
        c[ps.LONGEST] = self.layout.longest
        c[ps.HEADROOM] = self.headroom
        c[ps.LEVELS] = 1
        many = max(_BEGIN, 4 * int(c[ps.HEADROOM]))
        # A whole number of doublings: the table's size follows from it.
        many <<= max(0, (nodes // many).bit_length())
        many_blocks, many_runs = max(many, 2 * blocks), max(_BEGIN, 2 * runs)
        c[ps.ALL_NODES] = many
        c[ps.ALL_BLOCKS] = many_blocks
        c[ps.ALL_RUNS] = many_runs
        c[ps.INDEX_BITS] = int(2 * many - 1).bit_length()
        c[ps.MASK] = (1 << int(c[ps.INDEX_BITS])) - 1
        many_lists = 8 * int(c[ps.HEADROOM])
        many_lists <<= max(0, (lists // many_lists).bit_length())
        # The buckets are half as many, and a power of two.
        many_lists = 1 << (many_lists - 1).bit_length()
        c[ps.ALL_LISTS] = many_lists
        self.c = c
        sizes = {
            "states": many * words, "parents": many, "table": int(c[ps.MASK]) + 1,
            "blocks": many_blocks * ps.BLOCK_SIZE, "keys": many_lists, "heads": many_lists,
            "tails": many_lists, "nexts": many_lists, "buckets": many_lists // 2,
            "heap": many_lists, "run_states": many_runs,
            "run_ticks": many_runs, "levels": 2 * many_runs + 8,
            "notes": 2 * ps.NOTE * (inputs + 1),
            "m": code.size, "base": code.size, "probe": code.size, "out": words + 1,
            "taken": WORD, "late": ps.BATCH * words,
            "told": ps.BATCH * ps.TOLD, "hashes": ps.BATCH,
        }  # fmt: skip
        rows = {
            name: new(size, ps.ROWS[name], -1 if name == "notes" else 0)
            for name, size in sizes.items()
        }
        self.room = ps.Room(c=c, **rows)

    def _wider(self, name: str, size: int) -> None:
        wider = self.kind.wider(getattr(self.room, name), size, ps.ROWS[name])
        self.room = self.room._replace(**{name: wider})

    def _more(self, short: int) -> None:
        """Make twice the room of what there was too little of."""
        c = self.c
        if short == ps.STATES:
            many = 2 * int(c[ps.ALL_NODES])
            if many > ps.MOST_STATES:
                raise UnpackableError("too many states")
            self._wider("states", many * self.words)
            self._wider("parents", many)
            c[ps.ALL_NODES] = many
        elif short == ps.TABLE:
            size = 2 * (int(c[ps.MASK]) + 1)
            # The states are all that is needed to fill the new one: never are there two.
            self.room = self.room._replace(table=None)
            self.room = self.room._replace(table=self.kind.new(size, "uint32"))
            c[ps.MASK] = size - 1
            c[ps.INDEX_BITS] += 1
            self.functions["rehash"](self.told())
        elif short == ps.BLOCKS:
            many = 2 * int(c[ps.ALL_BLOCKS])
            self._wider("blocks", many * ps.BLOCK_SIZE)
            c[ps.ALL_BLOCKS] = many
        elif short == ps.COSTS:
            many = 2 * int(c[ps.ALL_RUNS])
            self._wider("run_states", many)
            self._wider("run_ticks", many)
            self._wider("levels", 2 * many + 8)
            c[ps.ALL_RUNS] = many
        else:
            many = 2 * int(c[ps.ALL_LISTS])
            for name in ("keys", "heads", "tails", "nexts", "heap"):
                self._wider(name, many)
            self.room = self.room._replace(buckets=self.kind.new(many // 2, "int32"))
            c[ps.ALL_LISTS] = many
            self.functions["more_lists"](self.told())

    def told(self) -> Any:
        """All rows, as functions get them."""
        return self.kind.told(self.room)

    # -- the search -------------------------------------------------------------

    def _run(self) -> Answer:
        c = self._begun()
        if c is None:
            return self._answer(Verdict.UNDECIDED, complete=False)
        turn = self.kind.turn
        while True:
            c[ps.STOP] = int(c[ps.EVALUATED]) + turn
            c[ps.VISITS] = 2 * turn
            begun = monotonic()
            ended = int(self.functions["search"](self.told()))
            # Some states take longer than others, and the clock is to be looked at often.
            took = monotonic() - begun
            if took > _LONG_TURN:
                turn = max(_LEAST_TURN, turn // 2)
            elif took < _LONG_TURN / 4:
                turn = min(self.kind.turn, 2 * turn)
            self.progress.states = max(self.progress.states, int(c[ps.EVALUATED]))
            self.progress.presses = int(c[ps.LEVEL])
            if ended == ps.BAIL:
                self._check()
            if ended in (ps.HOLDS, ps.FAILS, ps.LIMIT):
                verdict = {ps.HOLDS: Verdict.HOLDS, ps.FAILS: Verdict.FAILS}.get(
                    ended, Verdict.UNDECIDED
                )
                return self._answer(verdict, complete=ended == ps.HOLDS)
            if ended != ps.PAUSE:
                self._more(ended)
            elif self.checkpoint is not None and self.checkpoint.due():
                self._save()
            if self.budget.spent(0):
                self._save()
                return self._answer(Verdict.UNDECIDED, complete=False)

    def _save(self) -> None:
        """Between two turns; a turn may leave states that are yet to be looked up."""
        if self.checkpoint is None or self.checkpoint.rows is None:
            return
        from verify.engines.packed_kept import kept

        with alarm.unbroken():
            self.functions["look_up"](self.told())
            self._check()
            self.checkpoint.save_rows(*kept(self))

    def _begun(self) -> Any:
        """Where the search begins, or was cut; None if the time is up."""
        rows = None if self.checkpoint is None or self.anew else self.checkpoint.rows
        found = None if rows is None else rows.open()
        if found is not None:
            from verify.engines.packed_kept import Restored

            self.restored = True
            with alarm.unbroken():
                Restored(self, found)
            return self.c
        self.prepare()
        self.starts: list[State] = []
        c = self.c
        for number, state in enumerate(self.compiled.starts()):
            while self._short():
                self._more(self._short())
            self._put(state)
            known = int(c[ps.NODES])
            self.functions["start"](self.told())
            self._check()
            if int(c[ps.NODES]) > known:
                self.starts.append(state)
            if self.budget.spent(number):
                return None
        return c

    def _short(self) -> int:
        c = self.c
        if c[ps.NODES] + c[ps.HEADROOM] > c[ps.ALL_NODES]:
            return ps.STATES
        if 2 * (c[ps.NODES] + c[ps.HEADROOM]) > c[ps.MASK]:
            return ps.TABLE
        if c[ps.NEXT_BLOCK] + 4 * c[ps.HEADROOM] > c[ps.ALL_BLOCKS]:
            return ps.BLOCKS
        return 0

    def _put(self, state: State) -> None:
        if self.layout.bits(state) > WORD * self.words:
            raise _NarrowError
        for k, word in enumerate(self.layout.words(state, self.words)):
            self.room.out[k] = self.kind.word(word)

    def _check(self) -> None:
        why = int(self.c[ps.WHY])
        if why == NARROW:
            raise _NarrowError
        if why == ps.CROWDED:
            raise _CrowdedError
        if why:
            raise UnpackableError("a tick in which too much happens")

    def _answer(self, verdict: Verdict, *, complete: bool) -> Answer:
        c, progress = self.c, self.progress
        progress.states, progress.presses = int(c[ps.EVALUATED]), int(c[ps.LEVEL])
        self.states_packed = int(c[ps.NODES])
        script = self._failure()
        best, worst = self._latencies()
        return explored(verdict, script, progress, complete, self.latencies, best, worst)

    # -- how a state was reached ------------------------------------------------

    def state(self, node: int) -> State:
        """A visited state."""
        words = self.room.states[node * self.words : (node + 1) * self.words]
        return self.layout.state([int(word) for word in words])

    def _parent(self, node: int) -> int:
        parent = int(self.room.parents[node])
        return ps.GONE - parent if parent < ps.GONE + 2 else parent

    def _cost(self, node: int) -> tuple[int, int]:
        """Presses and ticks of a state."""
        if node < len(self.starts):
            return 0, 0
        c = self.c
        runs, levels = int(c[ps.RUNS]), int(c[ps.LEVELS])
        run = bisect_right(self.room.run_states, node, 0, runs) - 1
        firsts = [int(self.room.levels[2 * k]) for k in range(levels)]
        level = bisect_right(firsts, run) - 1
        return int(self.room.levels[2 * level + 1]), int(self.room.run_ticks[run])

    def _steps(
        self, state: State, passed: int, many: int
    ) -> Iterator[tuple[Taken, State, list[Occurrence], tuple[tuple[str, int], ...]]]:
        """Every outcome of ``many`` things that the world does at once, in the explorer's order."""
        groups: list[Taken] = [()]
        for size in range(many + 1):
            longer: list[Taken] = []
            for taken in groups:
                fits = False
                for after, log, picked in self.compiled.outcomes(state, passed, taken):
                    fits = True
                    if size == many:
                        yield taken, after, log, picked
                if fits and size < many:
                    start = taken[-1] + 1 if taken else 0
                    longer += [(*taken, index) for index in range(start, self.compiled.count)]
            groups = longer

    def _script(
        self, node: int, passed: int, many: int, wanted: Callable[[State, list[Occurrence]], bool]
    ) -> Script:
        """Up to a state, and from there the first step that is ``wanted``."""
        presses: list[Press] = []
        picks: list[Chosen] = []

        def step(at: State, ticks: int, passed: int, many: int, wanted: Any) -> None:
            for taken, after, log, picked in self._steps(at, passed, many):
                if wanted(after, log):
                    # Ticks are counted from one before the first.
                    tick = ticks + passed - 1
                    presses.extend(reversed(self.compiled.pressed(tick, taken)))
                    picks.extend(Chosen(tick, name, value) for name, value in reversed(picked))
                    picks.extend(reversed(self.compiled.disturbed(tick, taken)))
                    return
            raise DisagreementError(
                "the explorer's generated code takes a step that the model does not allow"
            )

        step(self.state(node), self._cost(node)[1], passed, many, wanted)
        while node >= len(self.starts):
            before, after = self._parent(node), self.state(node)
            (p0, t0), (p1, t1) = self._cost(before), self._cost(node)

            def reached(state: State, log: list[Occurrence], after: State = after) -> bool:
                failed = any(signal == failure(0) for signal, _ in log)
                return state == after and not failed

            step(self.state(before), t0, t1 - t0, p1 - p0, reached)
            node = before
        constants = self.compiled.constants(self.starts[node])
        return Script(tuple(reversed(presses)), 0, tuple(reversed(picks)), constants)

    def _failure(self) -> Script | None:
        c = self.c
        if c[ps.FAILED_AT] < 0:
            return None

        def fails(state: State, log: list[Occurrence]) -> bool:
            return any(signal == failure(0) for signal, _ in log)

        node, passed, many = (int(c[k]) for k in (ps.FAILED_AT, ps.FAILED_AFTER, ps.FAILED_MANY))
        return self._script(node, passed, many, fails)

    def _latencies(self) -> tuple[dict[int, Delivery], dict[int, Delivery]]:
        found: tuple[dict[int, Delivery], dict[int, Delivery]] = ({}, {})
        if not self.latencies:
            return found
        for index in range(self.compiled.inputs):
            for kind in range(2):
                noted = self._noted(2 * index + kind)
                if noted[0] < 0:
                    continue
                told = (delivered(0), (index, noted[3]))

                def tells(state: State, log: list[Occurrence], told: Occurrence = told) -> bool:
                    failed = any(signal == failure(0) for signal, _ in log)
                    return told in log and not failed

                script = self._script(noted[0], noted[1], noted[2], tells)
                found[kind][index] = Delivery(noted[3], script)
        return found

    def _noted(self, place: int) -> Sequence[int]:
        at = ps.NOTE * place
        return [int(value) for value in self.room.notes[at : at + ps.NOTE]]


__all__ = ["PackedSearch"]
