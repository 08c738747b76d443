"""The queue of the search over packed states: lists of visits, one per tick and number of presses.

There are only lists that have a visit, however far apart their ticks are: a heap says which comes
next, a hash table where one is.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from verify.engines.packed_room import (
    ALL_BLOCKS,
    ALL_LISTS,
    ALL_NODES,
    ALL_RUNS,
    AT,
    BLOCK,
    BLOCK_SIZE,
    BLOCKS,
    COMING,
    COSTS,
    CROWDED,
    DONE_AT_ONCE,
    DONE_THEN,
    FIRST,
    FREE_BLOCK,
    FREE_LIST,
    HEADROOM,
    KIND,
    LEVEL,
    LEVELS,
    LISTS,
    LONGEST,
    MANY,
    MASK,
    MOST_LEVEL,
    MOST_MANY,
    MOST_TICKS,
    NEXT_BLOCK,
    NEXT_LIST,
    NODES,
    NOW,
    PLACE,
    QUEUED,
    RUN_AT,
    RUNS,
    STATES,
    TABLE,
    TAIL,
    TICK_BITS,
    USED,
    WHY,
)
from verify.engines.stepcode import STUCK


def build_queue(step: dict[str, Any]) -> Sequence[Any]:
    """The functions of the queue, those that others use returned: see ``packed_search``."""
    all_bits = step["ALL"]

    def push(r: Any, up: Any, tick: Any, visit: Any) -> None:
        """Queue a visit; ``up``: of a sequence with one more press than now."""
        if visit >> MANY > 0:
            queue_up(r, up, tick, (DONE_AT_ONCE << KIND) | (visit >> MANY))
        queue_up(r, up, tick, visit & PLACE)

    def queue_up(r: Any, up: Any, tick: Any, queued: Any) -> None:
        c, blocks, heads, tails = r.c, r.blocks, r.heads, r.tails
        if tick > MOST_TICKS or c[LEVEL] >= MOST_LEVEL:
            c[WHY] = STUCK
            return
        key = ((c[LEVEL] + up) << TICK_BITS) | tick
        k = list_of(r, key)
        if k < 0:
            k = new_list(r, key)
            if k < 0:
                return
        tail = tails[k]
        if heads[k] < 0 or tail & (BLOCK_SIZE - 1) == BLOCK_SIZE - 1:
            block = c[FREE_BLOCK]
            if block >= 0:
                c[FREE_BLOCK] = blocks[block * BLOCK_SIZE + BLOCK_SIZE - 1] - 1
            else:
                block = c[NEXT_BLOCK]
                if block >= c[ALL_BLOCKS]:
                    c[WHY] = CROWDED
                    return
                c[NEXT_BLOCK] += 1
            blocks[block * BLOCK_SIZE + BLOCK_SIZE - 1] = 0
            if heads[k] < 0:
                heads[k] = block
            else:
                blocks[tail] = block + 1
            tail = block * BLOCK_SIZE
        blocks[tail] = queued
        tails[k] = tail + 1

    def bucket_of(r: Any, key: Any) -> Any:
        mask = (r.c[ALL_LISTS] >> 1) - 1
        return (((key * 0x1D8E4E27C47D124F) & all_bits) >> 24) & mask

    def list_of(r: Any, key: Any) -> Any:
        """Which list has the key; -1: none."""
        keys, nexts, buckets = r.keys, r.nexts, r.buckets
        k = buckets[bucket_of(r, key)] - 1
        while k >= 0 and keys[k] != key:
            k = nexts[k] - 1
        return k

    def new_list(r: Any, key: Any) -> Any:
        c, keys, heads, nexts, heap = r.c, r.keys, r.heads, r.nexts, r.heap
        k = c[FREE_LIST]
        if k >= 0:
            c[FREE_LIST] = nexts[k] - 1
        else:
            k = c[NEXT_LIST]
            if k >= c[ALL_LISTS]:
                c[WHY] = CROWDED
                return -1
            c[NEXT_LIST] += 1
        keys[k] = key
        heads[k] = -1
        to_bucket(r, k)
        i = c[COMING]
        c[COMING] = i + 1
        while i > 0 and heap[(i - 1) >> 1] > key:
            heap[i] = heap[(i - 1) >> 1]
            i = (i - 1) >> 1
        heap[i] = key
        return k

    def to_bucket(r: Any, k: Any) -> None:
        bucket = bucket_of(r, r.keys[k])
        r.nexts[k] = r.buckets[bucket]
        r.buckets[bucket] = k + 1

    def more_lists(r: Any) -> None:
        """All lists go to empty buckets."""
        keys = r.keys
        for k in range(r.c[NEXT_LIST]):
            if keys[k] >= 0:
                to_bucket(r, k)

    def next_key(r: Any) -> Any:
        """The least of all, which is taken off."""
        c, heap = r.c, r.heap
        least = heap[0]
        many = c[COMING] - 1
        c[COMING] = many
        last = heap[many]
        i = 0
        while 2 * i + 1 < many:
            k = 2 * i + 1
            if k + 1 < many and heap[k + 1] < heap[k]:
                k += 1
            if heap[k] >= last:
                break
            heap[i] = heap[k]
            i = k
        heap[i] = last
        return least

    def open_list(r: Any, key: Any) -> None:
        """Its visits come now. Another may have its place."""
        c, nexts, buckets = r.c, r.nexts, r.buckets
        k = list_of(r, key)
        c[BLOCK] = r.heads[k]
        c[TAIL] = r.tails[k]
        c[AT] = 0
        bucket = bucket_of(r, key)
        if buckets[bucket] == k + 1:
            buckets[bucket] = nexts[k]
        else:
            before = buckets[bucket] - 1
            while nexts[before] != k + 1:
                before = nexts[before] - 1
            nexts[before] = nexts[k]
        r.keys[k] = -1
        nexts[k] = c[FREE_LIST] + 1
        c[FREE_LIST] = k

    def taken_off(r: Any) -> Any:
        """The next that is queued for now."""
        c, blocks = r.c, r.blocks
        block, at = c[BLOCK], c[AT]
        queued = blocks[block * BLOCK_SIZE + at]
        at += 1
        c[AT] = at
        ended = block * BLOCK_SIZE + at == c[TAIL]
        if ended or at == BLOCK_SIZE - 1:
            c[BLOCK] = -1 if ended else blocks[block * BLOCK_SIZE + BLOCK_SIZE - 1] - 1
            c[AT] = 0
            blocks[block * BLOCK_SIZE + BLOCK_SIZE - 1] = c[FREE_BLOCK] + 1
            c[FREE_BLOCK] = block
        return queued

    def ticks_since(r: Any, node: Any, tick: Any) -> Any:
        """From a state to a tick. States of a tick were mostly reached one after another, so the
        run is mostly the one of the last that was asked for."""
        c, firsts = r.c, r.run_states
        runs, k = c[RUNS], c[RUN_AT]
        if runs == 0 or node < firsts[0]:
            return tick  # at power-up
        if k >= runs or firsts[k] > node or (k + 1 < runs and firsts[k + 1] <= node):
            low, high = 0, runs
            while high - low > 1:
                middle = (low + high) >> 1
                if firsts[middle] <= node:
                    low = middle
                else:
                    high = middle
            k = low
            c[RUN_AT] = k
        return tick - r.run_ticks[k]

    def list_sound(r: Any, block: Any, tail: Any, tick: Any) -> Any:
        """Every visit of a list is one that a search can have."""
        c, blocks = r.c, r.blocks
        at, begun = block * BLOCK_SIZE, False
        while True:
            kind, node = blocks[at] >> KIND, blocks[at] & QUEUED
            if kind == DONE_AT_ONCE:
                if begun or node < 2 or node > MOST_MANY:
                    return False
                begun = True
            else:
                if kind > DONE_AT_ONCE or node >= c[NODES] or (begun and kind != DONE_THEN):
                    return False
                passed = ticks_since(r, node, tick)
                if passed < 1 or passed > c[LONGEST]:
                    return False
                begun = False
            at += 1
            if at == tail:
                return not begun
            if at & (BLOCK_SIZE - 1) == BLOCK_SIZE - 1:
                at = (blocks[at] - 1) * BLOCK_SIZE

    def lists_sound(r: Any) -> Any:
        """All visits that are queued are such."""
        c, heads, tails, heap = r.c, r.heads, r.tails, r.heap
        if c[BLOCK] >= 0 and not list_sound(r, c[BLOCK], c[TAIL], c[NOW]):
            return False
        for i in range(c[COMING]):
            k = list_of(r, heap[i])
            if not list_sound(r, heads[k], tails[k], heap[i] & MOST_TICKS):
                return False
        return True

    def next_tick(r: Any) -> Any:
        """Go to the next tick with a visit, perhaps of the next level; False if there is none."""
        c = r.c
        if c[COMING] == 0:
            return False
        key = next_key(r)
        if key >> TICK_BITS != c[LEVEL]:
            c[LEVEL] = key >> TICK_BITS
            if r.levels[2 * c[LEVELS] - 2] != c[RUNS]:
                c[LEVELS] += 1
            r.levels[2 * c[LEVELS] - 2] = c[RUNS]
            r.levels[2 * c[LEVELS] - 1] = c[LEVEL]
        now = key & MOST_TICKS
        c[NOW] = now
        open_list(r, key)
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
        if c[NEXT_BLOCK] + 4 * more > c[ALL_BLOCKS]:
            return BLOCKS
        if c[RUNS] + 4 > c[ALL_RUNS]:
            return COSTS
        if c[NEXT_LIST] + 4 * more > c[ALL_LISTS]:
            return LISTS
        return 0

    return push, taken_off, ticks_since, lists_sound, next_tick, short_of, more_lists
