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
    FAR,
    FIRST,
    FREE_BLOCK,
    HEADROOM,
    LEAST0,
    LEVEL,
    LEVELS,
    LONGEST,
    MASK,
    MOST0,
    NEXT_BLOCK,
    NODES,
    NOW,
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
    """``push``, ``next_tick`` and ``short_of``: see ``packed_search``."""

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
        if c[RUNS] + 4 > c[ALL_RUNS]:
            return COSTS
        least = c[BASE0] if c[BASE0] < c[BASE1] else c[BASE1]
        if c[NOW] + c[LONGEST] + 4 - least > c[WIDE]:
            return TICKS
        return 0

    return push, next_tick, short_of
