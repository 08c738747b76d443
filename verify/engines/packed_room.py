"""What the search over packed states has: all in rows of whole numbers, so that a compiler can
take what works on them. States that were visited and their hash table, the queue, and what is
remembered from turn to turn.
"""

from __future__ import annotations

from typing import Any, NamedTuple

# What a turn of the search ended with.
HOLDS, FAILS, LIMIT, PAUSE, STATES, TABLE, BLOCKS, LISTS, COSTS, BAIL = range(10)

# Of the row ``c``: what the search remembers from turn to turn. ``ALL_...``: room that there is.
(
    NODES, WORDS, COUNT, EVALUATED, STOP, LIMITED, LATENCIES, LEVEL, NOW, BLOCK, AT, TAIL,
    FREE_BLOCK, NEXT_BLOCK, ALL_BLOCKS, ALL_NODES, MASK, INDEX_BITS, RUNS, USED, LONGEST, FAILED_AT,
    FAILED_AFTER, FAILED_MANY, HEADROOM, WHY, LEVELS, ALL_RUNS, VISITS, LATE, SIZE, RUN_AT,
    FREE_LIST, NEXT_LIST, ALL_LISTS, COMING,
) = range(36)  # fmt: skip

# Outcomes of one step: more would keep others waiting.
MOST_OUTCOMES = 1 << 22
# Why the search stops, besides what ``stepcode`` tells: a visit took more room than it may.
CROWDED = 3
# A block of the queue: so many places for visits, less one for the next block, counted from 1.
BLOCK_SIZE = 16
# A visit is a state's number and, above it, whether something is done or an event comes; how many
# ticks after it follows from the tick of the list. How many things the world does at once, if more
# than one (all sets of so many, one after another), is above these, and queued in a place before.
KIND, MANY = 30, 32
QUEUED, PLACE = (1 << KIND) - 1, (1 << MANY) - 1
AT_EVENT, DONE_THEN, DONE_AT_ONCE = range(3)
MOST_MANY = 60
# Visits that are due in the same tick, of sequences of as many presses, are in one list: its key is
# the presses and, in so many bits below, the tick.
TICK_BITS = 42
# Words of a state; states; presses and ticks of a sequence. More is not packed.
MOST_WORDS = 64
MOST_STATES = (1 << 30) - (1 << 13)
MOST_TICKS = (1 << TICK_BITS) - 1
MOST_LEVEL = (1 << 63 - TICK_BITS) - 2
FAR = 1 << 60
# Numbers in the table begin here: 0 is an empty place, 1 one that was emptied.
FIRST = 2
# States that are looked up together: where they belong in the table is fetched while others are
# worked out. What is known of each, besides its words.
BATCH = 16
FREE, EVENT, LAST, TICK, PARENT, HASH, TOLD = range(7)
# Parents of states that a later one stands for are told from others: ``GONE`` less the parent.
GONE = -3
# Of the notes: state, ticks after it, presses, latency; least and most per input.
NOTE = 4


class Room(NamedTuple):
    """All arrays. ``run_states``, ``run_ticks``: first state and tick of each tick that was
    visited; ``levels``: of every number of presses, the first such run, and the number;
    ``keys``, ``heads``, ``tails``: of lists of visits; ``heap``: all keys, the least first;
    ``buckets``, ``nexts``: which list has a key; ``late``, ``told``: states that are yet to be
    looked up; ``hashes``: for ``rehash``."""

    c: Any
    states: Any
    parents: Any
    table: Any
    blocks: Any
    keys: Any
    heads: Any
    tails: Any
    nexts: Any
    buckets: Any
    heap: Any
    run_states: Any
    run_ticks: Any
    levels: Any
    notes: Any
    m: Any
    base: Any
    probe: Any
    out: Any
    taken: Any
    late: Any
    told: Any
    hashes: Any


_HALF = {"parents": "int32", "table": "uint32", "heads": "int32", "blocks": "uint32"}
_HALF |= {"run_states": "int32", "nexts": "int32", "buckets": "int32"}
ROWS = {name: _HALF.get(name, "int64") for name in Room._fields}
"""What kind of numbers each row has."""


def prefetch(row: Any, index: Any) -> None:
    """Compiled, the processor is told that it will need this place."""
