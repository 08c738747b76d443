"""The search over packed states, kept in a file and taken up again.

Compiled code checks no bounds, so nothing of a file is believed: every number lies where a search
of this system could have it, every state is one that the system can hold, every state came from
one before it. The hash table is made anew, the queue is filled anew.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from verify.engines import packed_room as ps
from verify.engines.packing import WORD
from verify.engines.search_file import Reading

if TYPE_CHECKING:
    from verify.engines.packed import PackedSearch

# Of ``c``, as they are; what else is in it follows from these, or from the rows.
_NUMBERS = {
    "words": ps.WORDS, "nodes": ps.NODES, "evaluated": ps.EVALUATED, "level": ps.LEVEL,
    "now": ps.NOW, "runs": ps.RUNS, "levels": ps.LEVELS, "failed_at": ps.FAILED_AT,
    "failed_after": ps.FAILED_AFTER, "failed_many": ps.FAILED_MANY,
}  # fmt: skip
_ALL = (1 << WORD) - 1


def kept(search: PackedSearch) -> tuple[dict[str, int], list[Any]]:
    """The numbers and rows of a search between two turns."""
    c, room = search.c, search.room
    nodes, runs, levels = int(c[ps.NODES]), int(c[ps.RUNS]), int(c[ps.LEVELS])
    where, visits = array("q"), array("I")
    for key, chain in _chains(search):
        before = len(visits)
        for piece in chain:
            visits.extend(piece)
        where.extend((key, len(visits) - before))
    head = {name: int(c[place]) for name, place in _NUMBERS.items()}
    head |= {"starts": len(search.starts), "current": int(c[ps.BLOCK] >= 0)}
    rows = [
        _shown(room.states, nodes * search.words, "q"),
        _shown(room.parents, nodes, "i"),
        _shown(room.run_states, runs, "i"),
        _shown(room.run_ticks, runs, "q"),
        _shown(room.levels, 2 * levels, "q"),
        _shown(room.notes, len(room.notes), "q"),
        where,
        visits,
    ]
    return head, rows


def _shown(row: Any, many: int, code: str) -> Any:
    """The first numbers of a row, as something that shows its bytes."""
    if isinstance(row, memoryview):
        return row[:many]
    return array(code, [n - (1 << WORD) if n >> WORD - 1 > 0 else n for n in row[:many]])


def _chains(search: PackedSearch) -> Iterator[tuple[int, Iterator[Any]]]:
    """Key of every list of visits, the one under way first, and its pieces."""
    c, room = search.c, search.room
    blocks, size = room.blocks, ps.BLOCK_SIZE

    def pieces(block: int, at: int, tail: int) -> Iterator[Any]:
        while block != tail // size:
            yield blocks[block * size + at : block * size + size - 1]
            block, at = int(blocks[block * size + size - 1]) - 1, 0
        yield blocks[block * size + at : tail]

    if c[ps.BLOCK] >= 0:
        now = int(c[ps.LEVEL]) << ps.TICK_BITS | int(c[ps.NOW])
        yield now, pieces(int(c[ps.BLOCK]), int(c[ps.AT]), int(c[ps.TAIL]))
    keys = ((int(room.keys[k]), k) for k in range(int(c[ps.NEXT_LIST])))
    for key, k in sorted((key, k) for key, k in keys if key >= 0):
        yield key, pieces(int(room.heads[k]), 0, int(room.tails[k]))


class Restored:
    """A search as it was. Raises UsageError for what is none of this system."""

    def __init__(self, search: PackedSearch, reading: Reading) -> None:
        self.search, self.reading = search, reading
        longest = search.layout.longest
        number = reading.number
        search.words = number("words", search.words, ps.MOST_WORDS)
        self.nodes = number("nodes", 1, ps.MOST_STATES)
        self.starts = number("starts", 1, self.nodes)
        self.runs = number("runs", 1, ps.MOST_STATES)
        self.levels = number("levels", 1, self.runs + 1)
        self.far = number("evaluated", 0, ps.FAR)
        self.level = number("level", 0, ps.MOST_LEVEL)
        self.now = number("now", -1, ps.MOST_TICKS)
        failed = number("failed_at", -1, self.nodes - 1)
        after, many = number("failed_after", 0, longest), number("failed_many", 0, ps.MOST_MANY)
        current = number("current", 0, 1)
        self._need(len(reading.sizes) == 8 and not reading.sizes[6] % 16)
        self._need(not reading.sizes[7] % 4)
        self._sizes(inputs=max(search.compiled.inputs, search.compiled.count))
        where, visits = self._numbers(6, "q"), self._numbers(7, "I")
        self._need(sum(where[1::2]) == len(visits) and min(where[1::2], default=1) > 0)
        blocks = sum(-(-many // (ps.BLOCK_SIZE - 1)) for many in where[1::2])
        search.prepare(self.nodes, blocks, self.runs, len(where) // 2)
        c, room = search.c, search.room
        c[ps.NODES], c[ps.EVALUATED], c[ps.LEVEL] = self.nodes, self.far, self.level
        c[ps.NOW] = self.now
        c[ps.RUNS], c[ps.LEVELS] = self.runs, self.levels
        c[ps.FAILED_AT], c[ps.FAILED_AFTER], c[ps.FAILED_MANY] = failed, after, many
        for row, into in enumerate((room.states, room.parents, room.run_states, room.run_ticks)):
            self._fill(into, row)
        self._fill(room.levels, 4)
        self._fill(room.notes, 5)
        self._costs()
        self._notes()
        self._queue(where, visits, current == 1)
        c[ps.VISITS] = self.starts
        self._need(int(search.functions["checked"](search.told())) == 0)
        search.functions["rehash"](search.told())
        search.starts = [search.state(node) for node in range(self.starts)]
        possible = set(search.compiled.starts())
        self._need(possible.issuperset(search.starts))

    def _need(self, good: bool) -> None:
        if not good:
            raise self.reading.file.refused("a search that this link cannot be in")

    def _sizes(self, inputs: int) -> None:
        states = 8 * self.nodes * self.search.words
        wanted = (states, 4 * self.nodes, 4 * self.runs, 8 * self.runs, 16 * self.levels)
        self._need(self.reading.sizes[:5] == wanted)
        self._need(self.reading.sizes[5] == 16 * ps.NOTE * (inputs + 1))

    def _numbers(self, row: int, code: str) -> array[int]:
        found = array(code)
        for chunk in self.reading.row(row):
            found.frombytes(chunk)
        return found

    def _fill(self, into: Any, row: int) -> None:
        if isinstance(into, memoryview):
            at, pages = 0, into.cast("B")
            for chunk in self.reading.row(row):
                pages[at : at + len(chunk)] = chunk
                at += len(chunk)
            return
        found = array("i" if row in (1, 2) else "q")
        for chunk in self.reading.row(row):
            found.frombytes(chunk)
        unsigned = row == 0
        into[: len(found)] = [n & _ALL for n in found] if unsigned else list(found)

    def _costs(self) -> None:
        """First states of ticks, and first ticks of numbers of presses, in order."""
        room = self.search.room
        states = [int(n) for n in room.run_states[: self.runs]]
        ticks = [int(n) for n in room.run_ticks[: self.runs]]
        firsts = [int(n) for n in room.levels[0 : 2 * self.levels : 2]]
        presses = [int(n) for n in room.levels[1 : 2 * self.levels : 2]]
        self._need(states == sorted(states) and firsts == sorted(firsts))
        self._need(presses == sorted(presses) and presses[0] >= 0)
        self._need(0 <= states[0] <= states[-1] <= self.nodes and min(ticks) >= 0)
        self._need(firsts[0] == 0 and firsts[-1] <= self.runs)
        for first, after in pairwise([*firsts, self.runs]):
            level = ticks[first:after]
            self._need(all(a < b for a, b in pairwise(level)))

    def _notes(self) -> None:
        notes = [int(n) for n in self.search.room.notes]
        longest = self.search.layout.longest
        for k in range(0, len(notes), ps.NOTE):
            node, passed, many, _ = notes[k : k + ps.NOTE]
            self._need(-1 <= node < self.nodes)
            self._need(node < 0 or (0 <= passed <= longest and 0 <= many <= ps.MOST_MANY))

    def _queue(self, where: array[int], visits: array[int], current: bool) -> None:
        """Fill the blocks, list by list."""
        c, room = self.search.c, self.search.room
        fast = isinstance(room.blocks, memoryview)
        keys, many = list(where[0::2]), list(where[1::2])
        under_way = self.level << ps.TICK_BITS | self.now
        self._need(not current or keys[:1] == [under_way])
        coming = keys[1:] if current else keys
        self._need(all(a < b for a, b in pairwise([under_way, *coming])))
        self._need(not coming or coming[-1] >> ps.TICK_BITS <= self.level + 1)
        size, block, at = ps.BLOCK_SIZE - 1, 0, 0
        for k in range(len(keys)):
            first = block
            for begin in range(at, at + many[k], size):
                piece = visits[begin : min(begin + size, at + many[k])]
                start = block * ps.BLOCK_SIZE
                room.blocks[start : start + len(piece)] = piece if fast else list(piece)
                room.blocks[start + size] = block + 2
                tail = start + len(piece)
                block += 1
            room.blocks[(block - 1) * ps.BLOCK_SIZE + size] = 0
            at += many[k]
            if current and k == 0:
                c[ps.BLOCK], c[ps.AT], c[ps.TAIL] = first, 0, tail
                continue
            # In order they are a heap.
            here = int(c[ps.NEXT_LIST])
            room.keys[here] = room.heap[here] = keys[k]
            room.heads[here], room.tails[here] = first, tail
            c[ps.NEXT_LIST] = c[ps.COMING] = here + 1
        c[ps.NEXT_BLOCK] = block
        self.search.functions["more_lists"](self.search.told())
