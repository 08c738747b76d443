"""The explorer's search over packed states, written so that a compiler can take it.

The same visits in the same order as ``explorer``: by presses, then ticks, then first come.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from verify.engines.packed_room import (
    ALL_NODES,
    AT_EVENT,
    BAIL,
    BATCH,
    BLOCK,
    COUNT,
    CROWDED,
    DONE_AT_ONCE,
    DONE_THEN,
    EVALUATED,
    EVENT,
    FAILED_AFTER,
    FAILED_AT,
    FAILED_MANY,
    FAILS,
    FREE,
    GONE,
    HASH,
    HOLDS,
    KIND,
    LAST,
    LATE,
    LATENCIES,
    LIMIT,
    LIMITED,
    MANY,
    MASK,
    MOST_MANY,
    MOST_OUTCOMES,
    NODES,
    NOTE,
    NOW,
    PARENT,
    PAUSE,
    QUEUED,
    STOP,
    TICK,
    TOLD,
    VISITS,
    WHY,
    WORDS,
    prefetch,
)
from verify.engines.stepcode import FINE, MOSTS, PICKS, PLANNED, PLANS, STUCK, VALUES


def build_search(step: dict[str, Any]) -> Sequence[Any]:
    """``start``, ``search``, ``rehash``, ``look_up``, ``checked`` and ``more_lists`` on the
    functions of a ``StepCode``, table and queue.

    What is in it is also compiled: see ``machine_code`` for what it may be made of.
    """
    unpack, begin, is_open, any_open = (step[n] for n in ("unpack", "begin", "is_open", "any_open"))
    take, bodies, settle, pack = (step[n] for n in ("take", "bodies", "settle", "pack"))
    free_bits, next_event, last_end = (step[n] for n in ("free_bits", "next_event", "last_end"))
    copy, failed, delivery = (step[n] for n in ("copy", "failed", "delivery"))
    sound = step["sound"]
    hashed, covered, rehash = (step[n] for n in ("hashed", "covered", "rehash"))
    push = step["push"]
    next_tick, short_of, taken_off = step["next_tick"], step["short_of"], step["taken_off"]
    ticks_since, lists_sound = step["ticks_since"], step["lists_sound"]
    more_lists = step["more_lists"]

    def opens_at(r: Any, words: Any, at: Any, passed: Any, index: Any) -> Any:
        """The offer (-1: any) is open, ``passed`` ticks after a state."""
        unpack(words, at, r.probe)
        begin(r.probe, passed)
        if index < 0:
            return any_open(r.probe)
        return is_open(r.probe, index)

    def first_open(r: Any, words: Any, at: Any, index: Any, most: Any) -> Any:
        """As in ``Compiled``; 0 if there is none."""
        if most < 1 or not opens_at(r, words, at, most, index):
            return 0
        if most == 1 or opens_at(r, words, at, 1, index):
            return 1
        shut, opened = 1, most
        while opened - shut > 1:
            middle = (shut + opened) >> 1
            if opens_at(r, words, at, middle, index):
                opened = middle
            else:
                shut = middle
        return opened

    def press_time(r: Any, words: Any, at: Any, event: Any, last: Any, start: Any) -> Any:
        """The first tick from ``start`` on at which a press may make a difference; 0: none."""
        if event > 0:
            if start > 1:
                # One was made before: from then on all are open.
                return start if start <= event else 0
            return first_open(r, words, at, -1, event)
        best = last if last >= start else 0
        if last > 1:
            for index in range(r.c[COUNT]):
                first = first_open(r, words, at, index, last)
                if first >= start and first > 0 and (best == 0 or first < best):
                    best = first
        return best

    def look_up(r: Any) -> None:
        """Those that were reached: what is new goes to the queue."""
        c, late, told = r.c, r.late, r.told
        words = c[WORDS]
        for k in range(c[LATE]):
            if c[NODES] >= c[ALL_NODES]:
                c[WHY] = CROWDED
                break
            at, of = k * words, k * TOLD
            if told[of + FREE] < 0:
                push(r, told[of + EVENT], told[of + TICK], told[of + PARENT])
            elif not covered(r, late, at, told[of + FREE], told[of + HASH]):
                node = c[NODES]
                event, tick = told[of + EVENT], told[of + TICK]
                r.parents[node] = told[of + PARENT]
                c[NODES] = node + 1
                if event > 0:
                    push(r, 0, tick + event, (AT_EVENT << KIND) | node)
                first = press_time(r, late, at, event, told[of + LAST], 1)
                if first > 0:
                    push(r, 1, tick + first, (DONE_THEN << KIND) | node)
                if r.probe[0] != FINE:
                    c[WHY] = r.probe[0]
        c[LATE] = 0

    def reach(r: Any, free: Any, event: Any, last: Any, tick: Any, parent: Any) -> None:
        """``out`` was reached: it is looked up with some others, in this order."""
        c, out, late, told = r.c, r.out, r.late, r.told
        words, many = c[WORDS], c[LATE]
        h = hashed(out, 0, free)
        prefetch(r.table, h & c[MASK])
        at, of = many * words, many * TOLD
        for k in range(words):
            late[at + k] = out[k]
        told[of + FREE] = free
        told[of + EVENT] = event
        told[of + LAST] = last
        told[of + TICK] = tick
        told[of + PARENT] = parent
        told[of + HASH] = h
        c[LATE] = many + 1
        if many + 1 == BATCH:
            look_up(r)

    def push_next(r: Any, up: Any, tick: Any, visit: Any) -> None:
        """Queue a visit, after what was reached before."""
        c, told = r.c, r.told
        of = c[LATE] * TOLD
        told[of + FREE] = -1
        told[of + EVENT] = up
        told[of + TICK] = tick
        told[of + PARENT] = visit
        c[LATE] += 1
        if c[LATE] == BATCH:
            look_up(r)

    def start(r: Any) -> None:
        """``out`` is a state at power-up."""
        unpack(r.out, 0, r.m)
        free = free_bits(r.out, 0)
        reach(r, free, next_event(r.m), last_end(r.m), 0, -1)
        look_up(r)

    def note(r: Any, node: Any, passed: Any, many: Any) -> None:
        c, m, notes = r.c, r.m, r.notes
        for k in range(delivery(m, -1)):
            index, ticks = delivery(m, 2 * k), delivery(m, 2 * k + 1)
            for worst in range(2):
                at = (2 * index + worst) * NOTE
                known = notes[at] >= 0
                if known and worst == 0:
                    known = notes[at + 3] <= ticks
                elif known:
                    known = notes[at + 3] >= ticks
                if not known:
                    notes[at] = node
                    notes[at + 1] = passed
                    notes[at + 2] = many
                    notes[at + 3] = ticks
        if m[0] != FINE:
            c[WHY] = m[0]

    def done(r: Any, many: Any) -> Any:
        """``m`` is ``base`` with ``taken`` done; False if that is not allowed."""
        m, taken = r.m, r.taken
        copy(r.base, m)
        m[PICKS] = 0
        for k in range(many):
            if not is_open(m, taken[k]):
                return False
            take(m, taken[k])
        return True

    def next_plan(m: Any) -> Any:
        """What to pick in the next turn; False if all was picked."""
        k = m[PICKS] - 1
        while k >= 0 and m[VALUES + k] >= m[MOSTS + k]:
            k -= 1
        if k < 0:
            return False
        for j in range(k):
            m[PLANS + j] = m[VALUES + j]
        m[PLANS + k] = m[VALUES + k] + 1
        m[PLANNED] = k + 1
        return True

    def allowed(r: Any, many: Any) -> Any:
        """So many of ``taken`` may be done at once."""
        m = r.m
        m[0] = FINE
        m[PLANNED] = 0
        while not done(r, many):
            if not next_plan(m):
                return False
        return True

    def evaluate(r: Any, node: Any, passed: Any, many: Any, tick: Any) -> Any:
        """Every outcome of ``taken`` from ``base``; True when the search is over."""
        c, m = r.c, r.m
        m[0] = FINE
        m[PLANNED] = 0
        outcomes = 0
        while True:
            if done(r, many):
                bodies(m)
                settle(m)
                c[EVALUATED] += 1
                if c[EVALUATED] & 1023 == 0 and c[LIMITED] >= 0 and c[LIMITED] < c[EVALUATED]:
                    return True
                outcomes += 1
                if outcomes > MOST_OUTCOMES:
                    c[WHY] = STUCK
                if failed(m):
                    if c[FAILED_AT] < 0:
                        c[FAILED_AT] = node
                        c[FAILED_AFTER] = passed
                        c[FAILED_MANY] = many
                    if c[LATENCIES] == 0:
                        if m[0] != FINE:
                            c[WHY] = m[0]
                        return True
                else:
                    if c[LATENCIES] != 0:
                        note(r, node, passed, many)
                    event, last = next_event(m), last_end(m)
                    free = pack(m, r.out, c[WORDS])
                    if m[0] == FINE:
                        reach(r, free, event, last, tick, node)
            if m[0] != FINE:
                c[WHY] = m[0]
            if c[WHY] != FINE:
                return True
            if not next_plan(m):
                return False

    def visit_many(r: Any, node: Any, passed: Any, many: Any) -> Any:
        """All sets of ``many`` that are allowed, in order."""
        c, base, taken = r.c, r.base, r.taken
        count, tick = c[COUNT], c[NOW]
        unpack(r.states, node * c[WORDS], base)
        begin(base, passed)
        more = False
        k = 0
        taken[0] = -1
        while k >= 0:
            index = taken[k] + 1
            taken[k] = index
            if index + many - k > count:
                k -= 1
            elif k == many - 1:
                before = c[EVALUATED]
                if evaluate(r, node, passed, many, tick):
                    return True
                if c[EVALUATED] > before and index + 1 < count:
                    more = True
            elif c[LIMITED] >= 0 and c[EVALUATED] > c[LIMITED]:
                # Enough, between one set of presses to which one more is added and the next.
                return True
            elif allowed(r, k + 1):
                k += 1
                taken[k] = index
        if more:
            if many >= MOST_MANY:
                c[WHY] = STUCK
                return True
            push_next(r, 1, tick, ((many + 1) << MANY) | (DONE_THEN << KIND) | node)
        return False

    def visit(r: Any) -> Any:
        """Carry out the next pending visit; True when the search is over."""
        c, states, base, taken = r.c, r.states, r.base, r.taken
        many = 0
        queued = taken_off(r)
        if queued >> KIND == DONE_AT_ONCE:
            many = queued & QUEUED
            queued = taken_off(r)
        node = queued & QUEUED
        passed = ticks_since(r, node, c[NOW]) if queued >> KIND == DONE_THEN else 0
        if many > 0:
            return visit_many(r, node, passed, many)
        tick, at, count = c[NOW], node * c[WORDS], c[COUNT]
        unpack(states, at, base)
        event = next_event(base)
        if passed == 0:
            begin(base, event)
            return evaluate(r, node, event, 0, tick)
        following = press_time(r, states, at, event, last_end(base), passed + 1)
        if following > 0:
            push_next(r, 0, tick - passed + following, (DONE_THEN << KIND) | node)
        begin(base, passed)
        more = False
        for index in range(count):
            if is_open(base, index):
                taken[0] = index
                before = c[EVALUATED]
                if evaluate(r, node, passed, 1, tick):
                    return True
                if c[EVALUATED] > before and index + 1 < count:
                    more = True
        if more:
            push_next(r, 1, tick, (2 << MANY) | (DONE_THEN << KIND) | node)
        return False

    def search(r: Any) -> Any:
        """Go on until something is found, or room is short, or it is time to look up."""
        c = r.c
        visits = 0
        while True:
            if c[BLOCK] < 0:
                look_up(r)
                if c[WHY] != FINE:
                    return BAIL
                short = short_of(r)
                if short != 0:
                    return short
                if not next_tick(r):
                    return HOLDS
            short = short_of(r)
            if short != 0:
                return short
            if c[EVALUATED] >= c[STOP] or visits >= c[VISITS]:
                return PAUSE
            visits += 1
            over = visit(r)
            if c[WHY] != FINE:
                return BAIL
            if over and (c[LATENCIES] == 0 and c[FAILED_AT] >= 0):
                return FAILS
            if c[LIMITED] >= 0 and c[EVALUATED] > c[LIMITED]:
                return LIMIT

    def checked(r: Any) -> Any:
        """The first visited state, and one, that no search can have had, or -1 for a visit that is
        queued; 0: there is none. Of those that come from a file. ``VISITS``: how many states at
        power-up there are."""
        c, states, parents, m, out = r.c, r.states, r.parents, r.m, r.out
        words, begun = c[WORDS], c[VISITS]
        for node in range(c[NODES]):
            at = node * words
            unpack(states, at, m)
            if not sound(m):
                return node + 1
            pack(m, out, words)
            if m[0] != FINE:
                return node + 1
            for k in range(words):
                if out[k] != states[at + k]:
                    return node + 1
            parent = parents[node]
            if parent < GONE + 2:
                parent = GONE - parent
            if node < begun and parent != -1:
                return node + 1
            if node >= begun and (parent < 0 or parent >= node):
                return node + 1
        if not lists_sound(r):
            return -1
        return 0

    return start, search, rehash, look_up, checked, more_lists
