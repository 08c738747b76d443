"""The explorer's search over packed states, written so that a compiler can take it.

The same visits in the same order as ``explorer``: by presses, then ticks, then first come. The
queue is a list of blocks per tick, for sequences of as many presses as now and of one more; a
state that was visited stays in ``states``, with the number of the one before it, and ``table``
(open addressing) finds it by its hash.

All arrays are of whole numbers. ``build`` makes the functions, compiled or not.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from verify.engines.stepcode import FINE, MOSTS, PICKS, PLANNED, PLANS, STUCK, VALUES

# What a turn of the search ended with.
HOLDS, FAILS, LIMIT, PAUSE, STATES, TABLE, BLOCKS, TICKS, GROUPS, COSTS, BAIL = range(11)

# Of the row ``c``: what the search remembers from turn to turn. ``ALL_...``: room that there is.
(
    NODES, WORDS, COUNT, EVALUATED, STOP, LIMITED, LATENCIES, LEVEL, SIDE, NOW, BLOCK, AT, BASE0,
    BASE1, LEAST0, LEAST1, MOST0, MOST1, WIDE, FREE_BLOCK, NEXT_BLOCK, ALL_BLOCKS, FREE_GROUP,
    NEXT_GROUP, ALL_GROUPS, ALL_NODES, MASK, INDEX_BITS, RUNS, USED, LONGEST, GROUP_BITS,
    FAILED_AT, FAILED_AFTER, FAILED_MANY, HEADROOM, WHY, LEVELS, ALL_RUNS, VISITS, SIZE,
) = range(41)  # fmt: skip

# Outcomes of one step: more would keep others waiting.
MOST_OUTCOMES = 1 << 22
# Why the search stops, besides what ``stepcode`` tells: a visit took more room than it may.
CROWDED = 3
# A block of the queue: so many visits and the number of the next block.
BLOCK_SIZE = 8
# A visit is a state's number, and above it how many ticks after it; or a group.
GROUP = 1 << 62
_NODE = (1 << 32) - 1
FAR = 1 << 60
# Numbers in the table begin here: 0 is an empty place, 1 one that was emptied.
FIRST = 2
# Of the notes: state, ticks after it, presses, latency; least and most per input.
NOTE = 4


class Room(NamedTuple):
    """All arrays. ``run_states``, ``run_ticks``: first state and tick of each tick that was
    visited; ``levels``: of every number of presses, the first such run, and the number."""

    c: Any
    states: Any
    parents: Any
    table: Any
    blocks: Any
    heads: Any
    tails: Any
    waits: Any
    codes: Any
    run_states: Any
    run_ticks: Any
    levels: Any
    notes: Any
    m: Any
    base: Any
    probe: Any
    out: Any
    taken: Any
    opened: Any


_HALF = {"parents": "int32", "table": "uint32", "heads": "int32", "waits": "int32"}
_HALF |= {"run_states": "int32", "run_ticks": "int32"}
ROWS = {name: _HALF.get(name, "int64") for name in Room._fields}
"""What kind of numbers each row has."""


def build(step: dict[str, Any]) -> Sequence[Any]:
    """``start``, ``search`` and ``rehash`` on the functions of a ``StepCode``.

    What is in it is also compiled: see ``machine_code`` for what it may be made of.
    """
    unpack, begin, is_open, any_open = (step[n] for n in ("unpack", "begin", "is_open", "any_open"))
    take, bodies, settle, pack = (step[n] for n in ("take", "bodies", "settle", "pack"))
    free_bits = step["free_bits"]
    weaker, next_event, last_end = (step[n] for n in ("weaker", "next_event", "last_end"))
    copy, failed, delivery = (step[n] for n in ("copy", "failed", "delivery"))
    all_bits = step["ALL"]

    def hashed(words: Any, at: Any, free: Any) -> Any:
        """Of the first ``free`` bits."""
        h = 0x3C6EF372FE94F82A
        whole = free >> 6
        for k in range(whole):
            h = ((h ^ words[at + k]) * 0x1D8E4E27C47D124F) & all_bits
            h ^= (h >> 31) & 0x1FFFFFFFF
        if free & 63:
            h ^= words[at + whole] & ((1 << (free & 63)) - 1)
            h = (h * 0x1D8E4E27C47D124F) & all_bits
            h ^= (h >> 31) & 0x1FFFFFFFF
        h = (h * 0x2545F4914F6CDD1D) & all_bits
        return (h >> 8) & 0xFFFFFFFFFFFFFF

    def alike(a: Any, ia: Any, b: Any, ib: Any, free: Any) -> Any:
        """The first ``free`` bits are the same."""
        whole = free >> 6
        for k in range(whole):
            if a[ia + k] != b[ib + k]:
                return False
        rest = free & 63
        if rest:
            return ((a[ia + whole] ^ b[ib + whole]) & ((1 << rest) - 1)) == 0
        return True

    def covered(r: Any, free: Any) -> Any:
        """A visited state stands for ``out``; else that is noted as the next."""
        c, table, states, out = r.c, r.table, r.states, r.out
        words, mask, bits = c[WORDS], c[MASK], c[INDEX_BITS]
        h = hashed(out, 0, free)
        tag = (h >> 32) & ((1 << (32 - bits)) - 1)
        some = (1 << bits) - 1
        i = h & mask
        place = -1
        stronger = 0
        while True:
            slot = table[i]
            if slot == 0:
                break
            if slot == 1:
                if place < 0:
                    place = i
            elif (slot >> bits) == tag:
                at = ((slot & some) - FIRST) * words
                if alike(states, at, out, 0, free):
                    if weaker(states, at, out, 0, free):
                        return True
                    if weaker(out, 0, states, at, free):
                        stronger += 1
            i = (i + 1) & mask
        if stronger > 0:
            i = h & mask
            while stronger > 0:
                slot = table[i]
                if slot > 1 and (slot >> bits) == tag:
                    at = ((slot & some) - FIRST) * words
                    if alike(states, at, out, 0, free) and weaker(out, 0, states, at, free):
                        table[i] = 1
                        stronger -= 1
                        if place < 0:
                            place = i
                i = (i + 1) & mask
        elif place < 0:
            place = i
            c[USED] += 1
        node = c[NODES]
        table[place] = (tag << bits) | (node + FIRST)
        at = node * words
        for k in range(words):
            states[at + k] = out[k]
        return False

    def rehash(r: Any, was: Any, many: Any) -> None:
        """Fill an empty table from the one that ``was``, of ``many`` places."""
        c, table, states, old = r.c, r.table, r.states, was.table
        words, mask, bits = c[WORDS], c[MASK], c[INDEX_BITS]
        old_some = many - 1
        used = 0
        for k in range(many):
            slot = old[k]
            if slot > 1:
                node = (slot & old_some) - FIRST
                h = hashed(states, node * words, free_bits(states, node * words))
                i = h & mask
                while table[i] != 0:
                    i = (i + 1) & mask
                tag = (h >> 32) & ((1 << (32 - bits)) - 1)
                table[i] = (tag << bits) | (node + FIRST)
                used += 1
        c[USED] = used

    def push(r: Any, up: Any, tick: Any, visit: Any) -> None:
        """Queue a visit; ``up``: of a sequence with one more press than now."""
        c, blocks, heads, tails = r.c, r.blocks, r.heads, r.tails
        side = c[SIDE] ^ up
        k = side * c[WIDE] + tick - c[BASE0 + side]
        if tick < c[LEAST0 + side]:
            c[LEAST0 + side] = tick
        if tick > c[MOST0 + side]:
            c[MOST0 + side] = tick
        tail = tails[k]
        if heads[k] < 0 or tail & (BLOCK_SIZE - 1) == BLOCK_SIZE - 1:
            block = c[FREE_BLOCK]
            if block >= 0:
                c[FREE_BLOCK] = blocks[block * BLOCK_SIZE + BLOCK_SIZE - 1]
            else:
                block = c[NEXT_BLOCK]
                if block >= c[ALL_BLOCKS]:
                    c[WHY] = CROWDED
                    return
                c[NEXT_BLOCK] += 1
            blocks[block * BLOCK_SIZE + BLOCK_SIZE - 1] = -1
            if heads[k] < 0:
                heads[k] = block
            else:
                blocks[tail] = block
            tail = block * BLOCK_SIZE
        blocks[tail] = visit
        tails[k] = tail + 1

    def push_group(r: Any, tick: Any, node: Any, passed: Any, code: Any) -> None:
        c, codes = r.c, r.codes
        group = c[FREE_GROUP]
        if group >= 0:
            c[FREE_GROUP] = codes[group]
        else:
            group = c[NEXT_GROUP]
            if group >= c[ALL_GROUPS]:
                c[WHY] = CROWDED
                return
            c[NEXT_GROUP] += 1
        r.waits[group] = passed
        codes[group] = code
        push(r, 1, tick, GROUP | (group << 32) | node)

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

    def reach(r: Any, free: Any, event: Any, last: Any, tick: Any, parent: Any) -> None:
        """``out`` was reached."""
        c = r.c
        if covered(r, free):
            return
        node = c[NODES]
        r.parents[node] = parent
        c[NODES] = node + 1
        if event > 0:
            push(r, 0, tick + event, node)
        first = press_time(r, r.out, 0, event, last, 1)
        if first > 0:
            push(r, 1, tick + first, (first << 32) | node)
        if r.probe[0] != FINE:
            c[WHY] = r.probe[0]

    def start(r: Any) -> None:
        """``out`` is a state at power-up."""
        unpack(r.out, 0, r.m)
        free = free_bits(r.out, 0)
        reach(r, free, next_event(r.m), last_end(r.m), 0, -1)

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

    def evaluate(r: Any, node: Any, passed: Any, many: Any, tick: Any) -> Any:
        """Every outcome of ``taken`` from ``base``; True when the search is over."""
        c, m, taken = r.c, r.m, r.taken
        m[0] = FINE
        m[PLANNED] = 0
        outcomes = 0
        while True:
            copy(r.base, m)
            m[PICKS] = 0
            fits = True
            for k in range(many):
                if not is_open(m, taken[k]):
                    fits = False
                    break
                take(m, taken[k])
            if fits:
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
                        if c[NODES] >= c[ALL_NODES]:
                            c[WHY] = CROWDED
                        else:
                            reach(r, free, event, last, tick, node)
            if m[0] != FINE:
                c[WHY] = m[0]
            if c[WHY] != FINE:
                return True
            k = m[PICKS] - 1
            while k >= 0 and m[VALUES + k] >= m[MOSTS + k]:
                k -= 1
            if k < 0:
                return False
            for j in range(k):
                m[PLANS + j] = m[VALUES + j]
            m[PLANS + k] = m[VALUES + k] + 1
            m[PLANNED] = k + 1

    def visit_group(r: Any, node: Any, group: Any) -> Any:
        """Some presses were made; one more, from a certain one on."""
        c, taken, bits = r.c, r.taken, r.c[GROUP_BITS]
        tick = c[NOW]
        passed, code = r.waits[group], r.codes[group]
        r.codes[group] = c[FREE_GROUP]
        c[FREE_GROUP] = group
        many = 0
        rest = code
        while rest > 1:
            many += 1
            rest >>= bits
        rest = code
        for k in range(many - 1, -1, -1):
            taken[k] = rest & ((1 << bits) - 1)
            rest >>= bits
        unpack(r.states, node * c[WORDS], r.base)
        begin(r.base, passed)
        stem = code >> bits
        for index in range(taken[many - 1], c[COUNT]):
            taken[many - 1] = index
            before = c[EVALUATED]
            if evaluate(r, node, passed, many, tick):
                return True
            if c[EVALUATED] > before and index + 1 < c[COUNT]:
                longer = (((stem << bits) | index) << bits) | (index + 1)
                if longer >= 1 << (60 - bits):
                    c[WHY] = STUCK
                    return True
                push_group(r, tick, node, passed, longer)
        return False

    def visit(r: Any, coming: Any) -> Any:
        """Carry out a pending visit; True when the search is over."""
        c, states, base, taken, opened = r.c, r.states, r.base, r.taken, r.opened
        node = coming & _NODE
        passed = (coming >> 32) & 0x3FFFFFFF
        if coming & GROUP:
            return visit_group(r, node, passed)
        tick, at, bits = c[NOW], node * c[WORDS], c[GROUP_BITS]
        unpack(states, at, base)
        event = next_event(base)
        if passed == 0:
            begin(base, event)
            return evaluate(r, node, event, 0, tick)
        following = press_time(r, states, at, event, last_end(base), passed + 1)
        if following > 0:
            push(r, 0, tick - passed + following, (following << 32) | node)
        begin(base, passed)
        many = 0
        for index in range(c[COUNT]):
            if is_open(base, index):
                opened[many] = index
                many += 1
        for k in range(many):
            index = opened[k]
            taken[0] = index
            before = c[EVALUATED]
            if evaluate(r, node, passed, 1, tick):
                return True
            if c[EVALUATED] > before and index + 1 < c[COUNT]:
                push_group(r, tick, node, passed, (((1 << bits) | index) << bits) | (index + 1))
        return False

    def next_tick(r: Any) -> Any:
        """Go to the next tick with a visit, perhaps of the next level; False if there is none."""
        c, heads = r.c, r.heads
        while True:
            side = c[SIDE]
            now, most = c[NOW] + 1, c[MOST0 + side]
            k = side * c[WIDE] - c[BASE0 + side]
            while now <= most and heads[k + now] < 0:
                now += 1
            if now <= most:
                break
            if c[MOST0 + 1 - side] < 0:
                return False
            c[LEAST0 + side] = FAR
            c[MOST0 + side] = -1
            c[BASE0 + side] = c[LEAST0 + 1 - side]
            c[NOW] = c[LEAST0 + 1 - side] - 1
            c[SIDE] = 1 - side
            c[LEVEL] += 1
            if r.levels[2 * c[LEVELS] - 2] != c[RUNS]:
                c[LEVELS] += 1
            r.levels[2 * c[LEVELS] - 2] = c[RUNS]
            r.levels[2 * c[LEVELS] - 1] = c[LEVEL]
        c[NOW] = now
        c[BLOCK] = heads[k + now]
        c[AT] = 0
        heads[k + now] = -1
        last = c[RUNS] - 1
        if last < r.levels[2 * c[LEVELS] - 2] or r.run_states[last] != c[NODES]:
            last = c[RUNS]
            c[RUNS] += 1
        r.run_states[last] = c[NODES]
        r.run_ticks[last] = now
        return True

    def short_of(r: Any) -> Any:
        """What there is too little room of for another visit; 0 if of nothing."""
        c = r.c
        more = c[HEADROOM]
        if c[NODES] + more > c[ALL_NODES]:
            return STATES
        if 4 * (c[USED] + more) > 3 * (c[MASK] + 1) or c[NODES] + more + FIRST > c[MASK]:
            return TABLE
        if c[NEXT_BLOCK] + 3 * more > c[ALL_BLOCKS]:
            return BLOCKS
        if c[NEXT_GROUP] + more > c[ALL_GROUPS]:
            return GROUPS
        if c[RUNS] + 4 > c[ALL_RUNS]:
            return COSTS
        least = c[BASE0] if c[BASE0] < c[BASE1] else c[BASE1]
        if c[NOW] + c[LONGEST] + 4 - least > c[WIDE]:
            return TICKS
        return 0

    def search(r: Any) -> Any:
        """Go on until something is found, or room is short, or it is time to look up."""
        c, blocks, tails = r.c, r.blocks, r.tails
        visits = 0
        while True:
            if c[BLOCK] < 0:
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
            block, at = c[BLOCK], c[AT]
            coming = blocks[block * BLOCK_SIZE + at]
            at += 1
            side = c[SIDE]
            k = side * c[WIDE] + c[NOW] - c[BASE0 + side]
            c[AT] = at
            ended = block * BLOCK_SIZE + at == tails[k]
            if ended or at == BLOCK_SIZE - 1:
                c[BLOCK] = -1 if ended else blocks[block * BLOCK_SIZE + BLOCK_SIZE - 1]
                c[AT] = 0
                blocks[block * BLOCK_SIZE + BLOCK_SIZE - 1] = c[FREE_BLOCK]
                c[FREE_BLOCK] = block
            over = visit(r, coming)
            if c[WHY] != FINE:
                return BAIL
            if over and (c[LATENCIES] == 0 and c[FAILED_AT] >= 0):
                return FAILS
            if c[LIMITED] >= 0 and c[EVALUATED] > c[LIMITED]:
                return LIMIT

    return start, search, rehash
