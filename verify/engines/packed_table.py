"""The states that were visited, and the hash table that finds them.

A state stays in ``states``; ``table`` (open addressing) has, by the hash of what must be the same
for one state to stand for another, its number and a few more bits of the hash.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from verify.engines.packed_room import (
    BATCH,
    FIRST,
    GONE,
    INDEX_BITS,
    MASK,
    NODES,
    USED,
    WORDS,
    prefetch,
)


def build_table(step: dict[str, Any]) -> Sequence[Any]:
    """``hashed``, ``covered`` and ``rehash`` on the functions of a ``StepCode``: see ``search``."""
    free_bits, weaker, all_bits = step["free_bits"], step["weaker"], step["ALL"]

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

    def covered(r: Any, words: Any, begin: Any, free: Any, h: Any) -> Any:
        """A visited state stands for the one at ``begin``; else that is noted as the next."""
        c, table, states, parents = r.c, r.table, r.states, r.parents
        size, mask, bits = c[WORDS], c[MASK], c[INDEX_BITS]
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
                at = ((slot & some) - FIRST) * size
                if alike(states, at, words, begin, free):
                    if weaker(states, at, words, begin, free):
                        return True
                    if weaker(words, begin, states, at, free):
                        stronger += 1
            i = (i + 1) & mask
        if stronger > 0:
            i = h & mask
            while stronger > 0:
                slot = table[i]
                if slot > 1 and (slot >> bits) == tag:
                    node = (slot & some) - FIRST
                    at = node * size
                    if alike(states, at, words, begin, free) and weaker(
                        words, begin, states, at, free
                    ):
                        table[i] = 1
                        parents[node] = GONE - parents[node]
                        stronger -= 1
                        if place < 0:
                            place = i
                i = (i + 1) & mask
        elif place < 0:
            place = i
            c[USED] += 1
        node = c[NODES]
        table[place] = (tag << bits) | (node + FIRST)
        at = node * size
        for k in range(size):
            states[at + k] = words[begin + k]
        return False

    def rehash(r: Any) -> None:
        """Fill an empty table with the states that no other stands for."""
        c, table, states, parents, hashes = r.c, r.table, r.states, r.parents, r.hashes
        words, mask, bits, nodes = c[WORDS], c[MASK], c[INDEX_BITS], c[NODES]
        used = 0
        first = 0
        while first < nodes:
            many = nodes - first
            if many > BATCH:
                many = BATCH
            for k in range(many):
                at = (first + k) * words
                h = hashed(states, at, free_bits(states, at))
                hashes[k] = h
                prefetch(table, h & mask)
            for k in range(many):
                if parents[first + k] > GONE + 1:
                    h = hashes[k]
                    i = h & mask
                    while table[i] != 0:
                        i = (i + 1) & mask
                    tag = (h >> 32) & ((1 << (32 - bits)) - 1)
                    table[i] = (tag << bits) | (first + k + FIRST)
                    used += 1
            first += many
        c[USED] = used

    return hashed, covered, rehash
