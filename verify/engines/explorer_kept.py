"""What of a search by the explorer is kept: states and runs as lists and numbers, and read again
with care."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from verify.engines.answer import Delivery
from verify.engines.checkpoint import DamagedError
from verify.engines.concrete import State
from verify.engines.trace import Chosen, Press, Script
from verify.engines.zones_kept import listed, number
from verify.language.state import Bank, Number, Timer


def state_of(found: Any, memory: Sequence[Number | Timer | Bank]) -> State:
    """A state of this memory. Raises DamagedError."""
    return tuple(
        _place(item, place) for item, place in zip(memory, listed(found, len(memory)), strict=True)
    )


def _place(item: Number | Timer | Bank, place: Any) -> Any:
    if isinstance(item, Number):
        return number(place, range(item.least, item.most + 1))
    if isinstance(item, Timer):
        begin = item.begin if isinstance(item.begin, int) else item.begin[1]
        return number(place, range(max(item.most, begin) + 1))
    entries = [listed(entry, 1 + len(item.fields)) for entry in listed(place)]
    return tuple(tuple(map(number, entry)) for entry in entries)


def picked_of(found: Any) -> tuple[tuple[str, int], ...]:
    """Picks by name. Raises DamagedError."""
    pairs = [listed(pair, 2) for pair in listed(found)]
    return tuple((_text(name), number(value)) for name, value in pairs)


def listed_script(script: Script | None) -> list[Any] | None:
    """A run."""
    if script is None:
        return None
    return [
        [[p.tick, p.input] for p in script.presses],
        script.delay,
        [[c.tick, c.name, c.value] for c in script.picks],
        script.constants,
        script.resolution,
    ]


def script_of(found: Any) -> Script | None:
    """A run. Raises DamagedError."""
    if found is None:
        return None
    presses, delay, picks, constants, parts = listed(found, 5)
    return Script(
        tuple(Press(*map(number, listed(press, 2))) for press in listed(presses)),
        number(delay),
        tuple(
            Chosen(number(tick), _text(name), number(value))
            for tick, name, value in (listed(pick, 3) for pick in listed(picks))
        ),
        picked_of(constants),
        number(parts, range(1, 1 << 62)),
    )


def listed_deliveries(found: dict[int, Delivery]) -> list[Any]:
    """Latencies."""
    return [[i, int(d.ticks), listed_script(d.script)] for i, d in found.items()]


def deliveries_of(found: Any) -> dict[int, Delivery]:
    """Latencies. Raises DamagedError."""
    made: dict[int, Delivery] = {}
    for i, ticks, run in (listed(each, 3) for each in listed(found)):
        script = script_of(run)
        if script is None:
            raise DamagedError
        made[number(i)] = Delivery(number(ticks), script)
    return made


def _text(found: Any) -> str:
    if not isinstance(found, str):
        raise DamagedError
    return found
