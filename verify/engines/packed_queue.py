"""The queue of the search over packed states: lists of blocks per tick, for sequences of as many
presses as now and of one more.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from verify.engines.packed_room import (
    ALL_BLOCKS,
    ALL_NODES,
    ALL_RUNS,
    AT,
    BASE0,
    BASE1,
    BLOCK,
    BLOCK_SIZE,
    BLOCKS,
    COSTS,
    CROWDED,
    DONE_AT_ONCE,
    DONE_THEN,
    FAR,
    FIRST,
    FREE_BLOCK,
    HEADROOM,
    KIND,
    LEAST0,
    LEVEL,
    LEVELS,
    LONGEST,
    MANY,
    MASK,
    MOST0,
    MOST_MANY,
    NEXT_BLOCK,
    NODES,
    NOW,
    PLACE,
    QUEUED,
    RUN_AT,
    RUNS,
    SIDE,
    STATES,
    TABLE,
    TICKS,
    USED,
    WHY,
    WIDE,
)


def build_queue(_: dict[str, Any]) -> Sequence[Any]:
    """The functions of the queue, those that others use returned: see ``packed_search``."""

    def push(r: Any, up: Any, tick: Any, visit: Any) -> None:
        """Queue a visit; ``up``: of a sequence with one more press than now."""
        if visit >> MANY > 0:
            queue_up(r, up, tick, (DONE_AT_ONCE << KIND) | (visit >> MANY))
        queue_up(r, up, tick, visit & PLACE)

    def queue_up(r: Any, up: Any, tick: Any, queued: Any) -> None:
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

    def taken_off(r: Any) -> Any:
        """The next that is queued for now."""
        c, blocks, tails = r.c, r.blocks, r.tails
        block, at = c[BLOCK], c[AT]
        queued = blocks[block * BLOCK_SIZE + at]
        at += 1
        side = c[SIDE]
        k = side * c[WIDE] + c[NOW] - c[BASE0 + side]
        c[AT] = at
        ended = block * BLOCK_SIZE + at == tails[k]
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
        c, heads, tails = r.c, r.heads, r.tails
        if c[BLOCK] >= 0:
            side = c[SIDE]
            tail = tails[side * c[WIDE] + c[NOW] - c[BASE0 + side]]
            if not list_sound(r, c[BLOCK], tail, c[NOW]):
                return False
        for side in range(2):
            for k in range(c[WIDE]):
                at = side * c[WIDE] + k
                tick = c[BASE0 + side] + k
                if heads[at] >= 0 and not list_sound(r, heads[at], tails[at], tick):
                    return False
        return True

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
        if c[NEXT_BLOCK] + 4 * more > c[ALL_BLOCKS]:
            return BLOCKS
        if c[RUNS] + 4 > c[ALL_RUNS]:
            return COSTS
        least = c[BASE0] if c[BASE0] < c[BASE1] else c[BASE1]
        if c[NOW] + c[LONGEST] + 4 - least > c[WIDE]:
            return TICKS
        return 0

    return push, taken_off, ticks_since, lists_sound, next_tick, short_of
