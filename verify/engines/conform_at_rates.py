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

from verify.engines.concrete import Compiled, State
from verify.engines.conform import MOST_WAYS, Follower, Reason, TooManyWaysError, _Way
from verify.engines.regions import Linear, Plane, Region, inside, written
from verify.language.state import Number, Timer
from verify.parts.clock import PERIOD
from verify.units import Ticks


class RatesFollower(Follower):
    """Follows one recording at all rates. ``regions``: where each way is open, and the way."""

    regions: list[tuple[Region, _Way]]

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
        places = [region for error in errors for region in inside(0, error, height)]
        self.plane.region = places[0]
        self.now, self.comparing = -1 - lead, False
        starts = [
            _Way(k, state, 0)
            for k, compiled in enumerate(self.compiled)
            for state in self._starts(compiled, own)
        ]
        self._keep(product(places, starts))
        if not lead:
            self.comparing = True
            if levels:
                self._keep([])
            return
        self._advance(-lead, self.scale, up, ())
        # As much later as the recording may begin, with the last step before it.
        later = self.plane.number((lead - 1) * self.scale, 0, 1 if height else 0)
        self._advance(-1, later, (), ())
        self.comparing = True
        self._keep(
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
        found: dict[object, tuple[Region, _Way]] = {}
        nothing: list[Reason] = []
        for region, way in self.regions:
            self.look()

            def step(way: _Way = way) -> list[_Way]:
                return [w for w, _ in self._walk(way, passed, played, recorded, to, nothing)]

            for part, after in self.plane.each(region, step):
                for one in after:
                    key = (
                        part,
                        one.system,
                        one.levels,
                        written((one.state, one.model, one.recorded)),
                    )
                    found[key] = part, one
            if len(found) > MOST_WAYS:
                raise TooManyWaysError
        self.now = to
        self._keep(found.values())
        return bool(found)

    def _keep(self, found: Iterable[tuple[Region, _Way]]) -> None:
        self.regions = list(found)
        self.ways = [way for _, way in self.regions]

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
