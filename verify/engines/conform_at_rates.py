"""Does a recording agree with a link at any rate of its clock? At which?

As ``conform``, of all rates at once and, where a link never rests, all moments of a period: a way
that the model may run goes on in a region of the plane (``regions``) of x, by how much a period
of the transmitter is too long, and y, how much later than a given tick the recording begins;
both in parts of a tick. A region in which the model contradicts the recording is gone with its
way. Those that are left are all that agree: between them there is none.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import product
from typing import TypeAlias

from verify.engines.concrete import Compiled, State
from verify.engines.conform import MOST_KNOWN, MOST_WAYS, Follower, TooManyWaysError, _Way
from verify.engines.regions import Linear, Plane, Region, inside, written
from verify.language.state import Number, Timer
from verify.parts.clock import PERIOD
from verify.units import Ticks

_Name: TypeAlias = tuple[object, ...]
"""A way in a region, as it is written."""


class RatesFollower(Follower):
    """Follows one recording at all rates. ``regions``: where each way is open, and the way."""

    regions: list[tuple[Region, _Way]]
    named: dict[_Name, tuple[Region, _Way]]

    def begin_at_rates(
        self,
        lead: int,
        height: int,
        errors: Sequence[int],
        own: Mapping[str, int],
        up: Sequence[int],
        levels: int | None,
        look: Callable[[], None],
    ) -> None:
        """Power-up is from ``lead`` ticks to ``height`` parts of a tick more before the
        recording; periods are off by more than 0 and up to one of ``errors``, parts of a tick.
        ``own``: ticks until timers on that clock first run out. A ``height`` of 0: what comes
        before the recording does not depend on when it was; with no ``lead`` nothing does."""
        self.plane, self.look = Plane(), look
        self.look()
        self._after: dict[_Name, dict[_Name, tuple[Region, _Way]]] = {}
        places = [region for error in errors for region in inside(0, error, height)]
        self.plane.region = places[0]
        self.now, self.comparing = -1 - lead, False
        starts = [
            _Way(k, state, 0)
            for k, compiled in enumerate(self.compiled)
            for state in self._starts(compiled, own)
        ]
        self._all(product(places, starts))
        if not lead:
            self.comparing = True
            if levels:
                self._keep({})
            return
        self._advance(-lead, self.scale, up, ())
        # As much later as the recording may begin, with the last step before it.
        later = self.plane.number((lead - 1) * self.scale, 0, 1 if height else 0)
        self._advance(-1, later, (), ())
        self.comparing = True
        self._all(
            (region, _Way(way.system, way.state, 0))
            for region, way in self.regions
            if levels is None or way.levels == levels
        )

    def advance(self, to: Ticks, played: Sequence[int], recorded: Sequence[int]) -> bool:
        """On to tick ``to``; False if no way is left."""
        return self._advance(to, int((to - self.now) * self.scale), played, recorded)

    def _advance(
        self, to: Ticks, passed: int, played: Sequence[int], recorded: Sequence[int]
    ) -> bool:
        found: dict[_Name, tuple[Region, _Way]] = {}
        for name, (region, way) in self.named.items():
            if self.look is not None:
                self.look()
            # A long recording does the same again and again.
            key = name, passed, (*played,), (*recorded,), self.tolerance
            after = self._after.get(key)
            if after is None:
                if len(self._after) >= MOST_KNOWN:
                    self._after.clear()
                after = self._after[key] = self._stepped(region, way, passed, played, recorded, to)
            found.update(after)
            if len(found) > MOST_WAYS:
                raise TooManyWaysError
        self.now = to
        self._keep(found)
        return bool(found)

    def _stepped(
        self,
        region: Region,
        way: _Way,
        passed: int,
        played: Sequence[int],
        recorded: Sequence[int],
        to: Ticks,
    ) -> dict[_Name, tuple[Region, _Way]]:
        def step() -> list[_Way]:
            return [w for w, _ in self._walk(way, passed, played, recorded, to, [])]

        return {
            _name(part, one): (part, one)
            for part, after in self.plane.each(region, step)
            for one in after
        }

    def _keep(self, found: dict[_Name, tuple[Region, _Way]]) -> None:
        self.named = found
        self.regions = list(found.values())
        self.ways = [way for _, way in self.regions]

    def _all(self, found: Iterable[tuple[Region, _Way]]) -> None:
        self._keep({_name(*place): place for place in found})

    def _note(self, *told: object) -> None:
        """Why a way is gone nobody asks."""

    def _starts(self, compiled: Compiled, own: Mapping[str, int]) -> Iterator[State]:
        """Every state at power-up, its period open; a receiver's clock is set in whole ticks."""
        period = Linear(self.plane, self.scale, 1, 0)
        choices: list[Sequence[object]] = []
        for item in compiled.memory:
            if isinstance(item, Number) and item.name == PERIOD:
                choices.append([period])
            elif item.name in own:
                # Counted from power-up, one tick before the first.
                choices.append([period * (own[item.name] - 1) + self.scale])
            elif isinstance(item, Timer) and isinstance(item.begin, tuple):
                least, most = item.begin
                whole = range(-(-least // self.scale), most // self.scale + 1)
                choices.append([self.scale * ticks for ticks in whole])
            else:
                choices.append(compiled.starts_of(item))
        for places in product(*choices):
            if compiled.possible(places):
                yield compiled.linked(places)


def _name(region: Region, way: _Way) -> _Name:
    return region, way.system, way.levels, written((way.state, way.model, way.recorded))
