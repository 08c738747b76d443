"""Where the compiled explorer's time and memory go: ``python -m tests.bench.explorer_profile``.

One search per link, up to a number of states. *States a second*: outcomes of a step, new or not.
Then the parts of the search by themselves, compiled into the same module, over all states that
were kept, in the order in which they were found: each line does what the one before it does, and
one thing more. All of them take the event that comes next, where the search also takes presses.

*Bytes*: what the process has at the end, and what it had at most, more than before the search,
over states that were kept (Linux).
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from time import process_time
from typing import Any

import click

from tests.test_packed import system_of
from verify.engines import packed
from verify.engines.answer import Budget, Progress
from verify.engines.concrete import Compiled
from verify.engines.memory import used
from verify.engines.packed import PackedSearch
from verify.engines.packed_room import BATCH, MASK, NODES, WORDS, prefetch
from verify.files import write_whole
from verify.linkfile import load, parse
from verify.parts.link import Link

from .measuring import as_csv, markdown, measured_on, out_option
from .subjects import Kind, subject_link

SAMPLE, ROUNDS = 8_000_000, 3
SCAN = """
tick = "1 ms"
[inputs]
count = 2
kind = "level"
[link]
scheme = "synced-scan"
slot = 48
[clock]
rate = "8 %"
"""
# Of that so many times as many states.
SCANNED = 15
SPEED = (
    "link", "words of a state", "states", "kept", "states/s, millions", "kept/s, millions",
    "ns per state kept", "bytes at the end", "bytes at most", "four times packed",
)  # fmt: skip
PARTS = {
    "unpacked": "unpack",
    "begun": "begin the tick",
    "stepped": "copy, machines, settle",
    "repacked": "pack",
    "found": "hash, and find in the table",
    "refilled": "fill a table anew (by itself)",
}


def build_parts(step: dict[str, Any]) -> Sequence[Any]:
    """What is measured, and what a search needs. Only ever compiled, never run as Python."""
    start, search, rehash = (step[n] for n in ("start", "search", "rehash"))
    unpack, begin, next_event = (step[n] for n in ("unpack", "begin", "next_event"))
    bodies, settle, pack, copy = (step[n] for n in ("bodies", "settle", "pack", "copy"))
    hashed = step["hashed"]

    def unpacked(r: Any) -> None:
        c, states, base = r.c, r.states, r.base
        for node in range(c[NODES]):
            unpack(states, node * c[WORDS], base)

    def begun(r: Any) -> None:
        c, states, base = r.c, r.states, r.base
        for node in range(c[NODES]):
            unpack(states, node * c[WORDS], base)
            begin(base, next_event(base))

    def stepped(r: Any) -> None:
        c, states, base = r.c, r.states, r.base
        for node in range(c[NODES]):
            unpack(states, node * c[WORDS], base)
            begin(base, next_event(base))
            copy(base, r.m)
            bodies(r.m)
            settle(r.m)

    def repacked(r: Any) -> None:
        c, states, base = r.c, r.states, r.base
        for node in range(c[NODES]):
            unpack(states, node * c[WORDS], base)
            begin(base, next_event(base))
            copy(base, r.m)
            bodies(r.m)
            settle(r.m)
            pack(r.m, r.out, c[WORDS])

    def found(r: Any) -> Any:
        c, states, base, table, hashes = r.c, r.states, r.base, r.table, r.hashes
        first = 0
        empty = 0
        while first < c[NODES]:
            many = c[NODES] - first
            if many > BATCH:
                many = BATCH
            for k in range(many):
                unpack(states, (first + k) * c[WORDS], base)
                begin(base, next_event(base))
                copy(base, r.m)
                bodies(r.m)
                settle(r.m)
                hashes[k] = hashed(r.out, 0, pack(r.m, r.out, c[WORDS]))
                prefetch(table, hashes[k] & c[MASK])
            for k in range(many):
                i = hashes[k] & c[MASK]
                while table[i] != 0:
                    i = (i + 1) & c[MASK]
                empty += i
            first += many
        return empty

    return start, search, rehash, unpacked, begun, stepped, repacked, found


@dataclass(frozen=True)
class Profile:
    """``parts``: nanoseconds per state, each line more than the one before, by name."""

    name: str
    words: int
    states: int
    kept: int
    seconds: float
    end: float
    most: float
    parts: dict[str, float]

    @property
    def each(self) -> float:
        """Nanoseconds per state kept."""
        return 1e9 * self.seconds / self.kept


@contextmanager
def with_parts() -> Iterator[None]:
    """Searches are compiled with what is measured of them."""
    before = packed._BUILDS
    packed._made.cache_clear()
    packed._BUILDS = (*before, build_parts)  # type: ignore[assignment]
    yield
    packed._BUILDS = before
    packed._made.cache_clear()


def links() -> Iterator[tuple[str, Link, bool]]:
    """Most states new, few of them new, and presses that overlap at will: these fail, so latencies
    are asked for, which keeps a search going."""
    for name in ("start_stop", "greenhouse"):
        yield name, load(f"models/links/{name}.toml"), False
    # One word, and of what is visited one in a hundred is kept.
    yield "synced-scan, 2 levers", parse(SCAN, "scan"), False
    presses = subject_link(Kind("pulse-gap", "press"), 16)
    yield "pulse-gap, 16 inputs", presses.with_operator(spacing=1), True


def measure(name: str, link: Link, latencies: bool, states: int) -> Profile:
    """The fastest of some rounds, and the largest."""
    compiled = Compiled(system_of(link))
    PackedSearch(compiled, Budget(None, 0), Progress(), latencies).run()
    rounds = []
    parts: dict[str, float] = {}
    search = None
    for _ in range(ROUNDS):
        # The room of the round before is given back first.
        search = None
        _forget_most()
        before = used()
        search = PackedSearch(compiled, Budget(None, states), Progress(), latencies)
        started = process_time()
        search.run()
        rounds.append((process_time() - started, used() - before, _most() - before))
        for part in PARTS:
            if part == "refilled":
                search.room.table[:] = search.kind.new(len(search.room.table), "uint32")
            begun = process_time()
            search.functions["rehash" if part == "refilled" else part](search.told())
            spent = 1e9 * (process_time() - begun) / search.states_packed
            parts[part] = min(spent, parts.get(part, spent))
    assert search is not None
    kept = search.states_packed
    seconds = min(row[0] for row in rounds)
    end, most = (max(row[k] for row in rounds) for k in (1, 2))
    found = (search.words, search.progress.states, kept, seconds, end / kept, most / kept, parts)
    return Profile(name, *found)


def _most() -> int:
    """Bytes that this process had at most."""
    rows = Path("/proc/self/status").read_text().splitlines()
    return 1024 * int(next(row for row in rows if row.startswith("VmHWM")).split()[1])


def _forget_most() -> None:
    Path("/proc/self/clear_refs").write_text("5")


def speed_rows(profiles: Sequence[Profile]) -> list[tuple[str, ...]]:
    """How fast, and how large."""
    return [
        (
            p.name, str(p.words), str(p.states), str(p.kept),
            f"{p.states / p.seconds / 1e6:.1f}", f"{p.kept / p.seconds / 1e6:.1f}",
            f"{p.each:.0f}", f"{p.end:.0f}", f"{p.most:.0f}", str(32 * p.words),
        )
        for p in profiles
    ]  # fmt: skip


def part_rows(profiles: Sequence[Profile]) -> list[tuple[str, ...]]:
    """What each part adds to the one before it."""
    rows = []
    for k, (part, words) in enumerate(PARTS.items()):
        before = list(PARTS)[k - 1] if k and part != "refilled" else None
        spent = [p.parts[part] - (p.parts[before] if before else 0) for p in profiles]
        rows.append((words, *(f"{nanoseconds:.0f}" for nanoseconds in spent)))
    return rows


def report(profiles: Sequence[Profile]) -> str:
    """The page."""
    return (
        "# Inside the compiled explorer\n\n"
        f"{measured_on()} Made by `python -m tests.bench.explorer_profile`, whose help says how.\n"
        f"\n{markdown(SPEED, speed_rows(profiles))}\n"
        "A state of so many words has 8 bytes of each, 4 for the one before it, 5 to 11 in the"
        " table and 4 to 8 in the queue. Where few are kept, room that is there from the start (a"
        " few MB) counts too.\n\n"
        "Nanoseconds per state that each part takes by itself:\n\n"
        f"{markdown(('part', *(p.name for p in profiles)), part_rows(profiles))}\n"
        "What is left of the time per state: presses besides events, states that were met"
        " before, the queue, pages that are touched for the first time, and tables that are"
        " filled anew as they grow (each state one to two times).\n\n"
        "All shipped links are packed. `bird_hide` is not decided all the same, where the explorer"
        " is asked for: a press may come at each of 160000 ticks of a slot, in thousands of slots"
        " until the ends have drifted apart. Zones take all these ticks together.\n"
    )


@click.command(help=__doc__)
@click.option("--states", type=int, default=SAMPLE, help="So many of each link.")
@out_option
def main(states: int, out: Path) -> None:
    """Measure, and write ``explorer.md`` and ``explorer.csv``."""
    profiles = []
    with with_parts():
        for name, link, latencies in links():
            many = SCANNED if name.startswith("synced") else 1
            profiles.append(measure(name, link, latencies, many * states))
            print(*speed_rows(profiles[-1:])[0], sep="  ", file=sys.stderr, flush=True)
    write_whole(str(out / "explorer.md"), report(profiles), overwrite=True)
    text = as_csv(SPEED, speed_rows(profiles))
    write_whole(str(out / "explorer.csv"), text, overwrite=True)


if __name__ == "__main__":
    main()
