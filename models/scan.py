"""free-scan and synced-scan: both ends step through the slots, one input per slot on one line."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Literal

from models.levels import Driver, Listener
from verify.language.expressions import Lookup, Pick, Truth
from verify.language.machine import Each, First, Machine, Rule, Statement
from verify.language.state import Number, Timer, flag
from verify.parts.clock import ON_TIME, PERIOD, Clock
from verify.parts.scheme import Scheme
from verify.parts.script import Script
from verify.parts.signals import (
    PRESS,
    RELEASE,
    cleared,
    decoded,
    far_rise,
    line_fall,
    line_rise,
)
from verify.units import Ticks, whole

DATA, SYNC = 0, 1
TURN = "sender.turn"
RECEIVER = "receiver0"


@dataclass(frozen=True)
class Scan(Scheme):
    """Times in ticks. ``slots`` of ``slot`` ticks make a frame; input i has slot i.

    The line shows, during a slot, the present level of its input. The receiver takes the
    line ``sample`` ticks into its own slot. Its slots lag the transmitter's by the line's
    delay and ``late`` more, and by its clock's ``offset``, unknown within ``(least, most)``.
    ``synced``: a second line is high during slot 0 and starts the receiver's frame.
    ``present``: the slots of the inputs that are there, all by default; a slot without
    input is low. ``roaming``: a part of a link, too, may be in any slot at power-up.
    ``others``: what the slots of absent inputs show: nothing, as if down; or that all are up;
    or anything.
    ``turned``: by how many slots this part of a link was renumbered.
    """

    slots: int
    slot: int
    sample: int
    late: int = 0
    offset: tuple[int, int] = (0, 0)
    synced: bool = False
    present: tuple[int, ...] | None = None
    roaming: bool = False
    others: Literal["down", "up", "any"] = "down"
    turned: int = field(default=0, compare=False)

    @property
    def watches_release(self) -> bool:
        """A slot shows its input's level."""
        return True

    @property
    def places(self) -> tuple[int, ...]:
        """The slot of each input."""
        return self.present if self.present is not None else tuple(range(self.slots))

    @property
    def inputs(self) -> int:
        """Those that are there."""
        return self.slots if self.present is None else len(self.present)

    @property
    def clock_offset(self) -> tuple[int, int]:
        """As given."""
        return self.offset

    @property
    def offset_reach(self) -> int:
        """The largest offset, ticks, that can be asked about: the receiver must have begun."""
        return self.slot + self.sample + self.late

    @property
    def warm_up(self) -> int:
        """The receiver has begun with its samples; both ends may then be anywhere."""
        return self.slot + self.sample + max(0, self.late + self.offset[1])

    @property
    def lines(self) -> int:
        """Data, and frame mark."""
        return 2 if self.synced else 1

    @property
    def step(self) -> int:
        """A slot."""
        return self.slot

    @property
    def steps(self) -> int:
        """Slots."""
        return self.slots

    @property
    def at_any_step(self) -> Scan:
        """In any slot: it settles when the samples of a part come."""
        return replace(self, roaming=True)

    def drifts_away(self, clock: Clock) -> bool:
        """Nothing brings a free one back. With one slot, a sample can meet no other."""
        return not clock.steady and not self.synced and self.slots > 1

    def stretch(self, clock: Clock) -> Ticks:
        """From sample to sample: a frame of whoever begins the frames. A move may come a moment
        after a sample, which is no tick where time is dense."""
        moment = 1 if any(clock.rate) else 0
        if not self.synced:
            return moment
        longest = max(Fraction(0), clock.rate[1])
        return whole(self._frame * longest + self.slots * clock.wander + moment)

    @property
    def _frame(self) -> int:
        return self.slots * self.slot

    def per_input(self) -> dict[str, tuple[int, ...]]:
        """Slots count from 0."""
        return {"slot": self.places}

    def settings(self) -> dict[str, str | int]:
        """Everything else: words, or numbers of ticks."""
        return {
            "slot": self.slot,
            "frame": self.slots * self.slot,
            "sample": self.sample,
            "align": "the line's delay" + (f" and {self.late} ticks" if self.late else ""),
            "clock offset": f"{self.offset[0]} to {self.offset[1]} ticks",
        }

    def alone(
        self, index: int, unrest: int = 0, clock: Clock = ON_TIME, clash: bool = True
    ) -> tuple[tuple[Scan, tuple[int, ...]], ...]:
        """The last sample decides about an output: its own input, and one other that was sampled.

        The clocks decide which others can be: those whose slot a sample can meet.
        """
        places = range(self.slots) if self.present is None else self.present
        own = places[index]
        parts = []
        for other in self._met(own, unrest, clock):
            place = (own + other) % self.slots
            if place != own and place in places:
                parts.append((self._with(own, place), (index, places.index(place))))
        return tuple(parts) or ((self._with(own), (index,)),)

    def amid_any(self, index: int) -> tuple[Scan, tuple[int, ...]]:
        """One input, and the others as noise: a level anew in each slot, and at each move.

        Nothing more can come of them, for no slot is sampled twice for one output; but where
        faults of the line move edges, how many edges there are matters too.
        """
        return replace(self._with(self.places[index]), others="any"), (index,)

    def one_move(self, index: int) -> tuple[Scan, Scan]:
        """Which slot is sampled when does not depend on the levers, and an output is what its
        last sample was.

        Say an output is wrong, its lever up and still for long enough: its last sample was
        taken before the lever's last move, or in the slot of one that was down. Be all others
        down all the time, and all earlier moves left out: the same samples make it wrong. With
        its lever down the same goes for up and down changed about, if so much time is over
        since power-up that it might have gone up; or else it has never moved, and its last
        sample was taken in the slot of one that was up. Be all others up all the time.
        """
        alone = self._with(self.places[index])
        return alone, replace(alone, others="up")

    def _with(self, own: int, *others: int) -> Scan:
        """This scan with few inputs. A free one is renumbered so that the first has slot 0:
        it may be in any slot when the link is switched on, so one output is like another."""
        turned = 0 if self.synced else own
        present = tuple((place - turned) % self.slots for place in (own, *others))
        return replace(self, present=present, turned=turned)

    def _met(self, own: int, unrest: int, clock: Clock) -> range:
        """By how many slots a sample can miss, where edges of the line may move by ``unrest``.

        Of a free scan that drifts, by one at first: a wrong sample, and that decides. In a
        synced one the ends drift apart until the next mark; the receiver's slot 0 may come
        before it.
        """
        early, late = self.late + self.offset[0] - unrest, self.late + self.offset[1] + unrest
        if self.synced and not clock.steady:
            # From the second mark on neither alignment nor offset matters.
            early, late = min(early, -unrest), max(late, unrest)
            longest = self.slot * (1 + clock.rate[1]) + clock.wander
            shortest = self.slot * (1 + clock.rate[0]) - clock.wander
            sampled = {own: own * self.slot + self.sample}
            again = self._frame + self.sample
            if own == 0 and again + early <= longest * self.slots:
                sampled[self.slots] = again
            least = min((tick + early) // longest - k for k, tick in sampled.items())
            most = max((tick + late) // shortest - k for k, tick in sampled.items())
        else:
            drift = 0 if clock.steady else self.slot
            least = (self.sample + early - drift) // self.slot
            most = (self.sample + late + drift) // self.slot
        return range(max(least, 1 - self.slots), min(most, self.slots - 1) + 1)

    def on_whole(self, script: Script, later: int, cold: int) -> Script:
        """Slot 0 of this part is another one of the whole, and a part starts in slot 0: it waits
        longer for a slot than a link has to that was switched on later."""
        constants = dict(script.constants)
        parts, period = script.resolution, constants.get(PERIOD)
        constants[f"{RECEIVER}.clock"] += later
        if period is not None:
            constants.setdefault(TURN, self.slot * period + parts)
        script = self._slot_by_slot(script)
        drifting = period is not None or any(c.name == f"clock.{TURN}" for c in script.picks)
        other = f"{RECEIVER}.slot"  # where the two may be found in different slots
        if other in constants:
            constants[other] = (constants[other] + self.turned) % self.slots
            drifting = True
        skipped = 0 if drifting or self.present is None else self._needless(script, cold)
        constants["sender.slot"] = (constants["sender.slot"] + skipped + self.turned) % self.slots
        return script.sooner(skipped * self.slot, tuple(constants.items()))

    def _slot_by_slot(self, script: Script) -> Script:
        """What the clock wanders while slots are skipped, shared out among them."""
        if self.present is None:
            return script
        constants, ahead = dict(script.constants), self._ahead(self._shown_stops())
        length = self.slot * constants.get(PERIOD, script.resolution)
        slot, picks = constants["sender.slot"], []
        for chosen in script.picks:
            if chosen.name != f"clock.{TURN}":
                picks.append(chosen)
                continue
            slots = ahead[(slot + 1) % self.slots]
            each, more = divmod(chosen.value, slots)
            tick = chosen.tick
            for k in range(slots):
                picks.append(replace(chosen, tick=tick, value=each + (k < more)))
                tick += length + picks[-1].value
            slot = (slot + slots) % self.slots
        return replace(script, picks=tuple(picks))

    def _needless(self, script: Script, cold: int) -> int:
        """Slots before the first press that can be left out, by starting in a later one."""
        first = min(script.ticks, default=0) + 1
        slots = max(0, (first - cold) // self.slot)
        if self.synced and first // self.slot >= self.slots:
            # A frame mark went before: keep one, in the first slot to come.
            slots = max(0, (slots + 1) // self.slots * self.slots - 1)
        return slots

    # -- machines -------------------------------------------------------------

    def transmitter(self) -> tuple[Machine, ...]:
        """Steps through the slots and drives the line by the level of each one's input."""
        stops = self._shown_stops()
        slot = self._slot()
        turn = Timer(TURN, self._longest(stops) + 1, begin=self.slot + 1, found=self.slot)
        driver = Driver("sender", DATA, 1, high=self._high_at_first)
        levels = [flag(f"sender.level{i}", wire=True) for i in range(self.inputs)]
        pressed, gone = PRESS.occurrence("p")["input"], RELEASE.occurrence("r")["input"]
        ups, downs, shows = [], [], [driver.driven.set(0)]
        follow: list[Statement] = []
        for i, (place, level) in enumerate(zip(self.places, levels, strict=True)):
            ups.append(Rule(f"input {i} up", pressed.eq(i), (level.put_up(),)))
            downs.append(Rule(f"input {i} down", gone.eq(i), (level.put_down(),)))
            shown = slot.read().eq(place) & level.up()
            follow.append(Rule(f"slot {place} shows a one", shown, (driver.driven.set(1),)))
        moved = turn.expires() | PRESS.happens() | RELEASE.happens()
        if self.others != "down":
            others = slot.read().ne(self.places[0])
            if self.others == "any":
                others &= Pick("sender.others", 0, 1).eq(1)
            follow.append(Rule("others show a one", others, (driver.driven.set(1),)))
        body: list[Statement] = [
            self._next(slot, turn, "next slot"),
            Each(RELEASE, "r", tuple(downs)),
            Each(PRESS, "p", tuple(ups)),
            Rule("the line follows", moved, (*shows, *follow)),
            *driver.edges(moved),
        ]
        memory: list[Number | Timer] = [slot, turn, *driver.memory, *levels]
        if self.synced:
            mark = flag("sender.mark", wire=True)
            memory.append(mark)
            first = turn.expires() & slot.read().eq(0)
            body += [
                Rule("frame begins", first, (mark.put_up(), line_rise(SYNC).emit())),
                Rule(
                    "mark ends",
                    turn.expires() & slot.read().ne(0) & mark.up(),
                    (mark.put_down(), line_fall(SYNC).emit()),
                ),
            ]
        body.append(self._skip(slot, turn, stops))
        return (Machine("sender", tuple(memory), tuple(body)),)

    def receiver(self, branch: int, delay: int = 0) -> tuple[Machine, ...]:
        """Steps through the slots on its own clock and takes the line once in each."""
        name = f"receiver{branch}"
        line = Listener(name, DATA, branch, high=self._high_at_first)
        # As the transmitter at power-up; the first sample comes in the slot after that one.
        slot = Number(f"{name}.slot", 0, self.slots - 1, self._slot())
        first = self.slot + delay + self.late + self.sample + 1
        clock = Timer(
            f"{name}.clock",
            max(first + self.offset[1], self._longest(self.places), self._frame + self.sample),
            begin=(first + self.offset[0], first + self.offset[1]),
            found=self.slot,
        )
        outputs = [flag(f"{name}.output{i}", wire=True) for i in range(self.inputs)]
        takes: list[Statement] = []
        for i, (place, output) in enumerate(zip(self.places, outputs, strict=True)):
            here = slot.read().eq(place)
            on = (output.put_up(), decoded(branch).emit(i))
            off = (output.put_down(), cleared(branch).emit(i))
            takes.append(Rule(f"output {i} on", here & line.high.up() & ~output.up(), on))
            takes.append(Rule(f"output {i} off", here & ~line.high.up() & output.up(), off))
        body: list[Statement] = [
            *line.follow(),
            self._next(slot, clock, "next slot"),
            Rule("sample", clock.expires(), tuple(takes)),
            self._skip(slot, clock, self.places),
        ]
        if self.synced:
            # The next sample is that of the first input that is there.
            to = min(self.places)
            before = (to - 1) % self.slots
            again = (slot.set(before), clock.start(to * self.slot + self.sample))
            body.append(Rule("frame begins", far_rise(SYNC, branch).happens(), again))
        memory: list[Number | Timer] = [line.high, slot, clock, *outputs]
        return (Machine(name, tuple(memory), tuple(body)),)

    @property
    def _high_at_first(self) -> bool:
        """In the slot in which a part is found at power-up."""
        return self.others == "up" and self.places[0] != 0

    def _slot(self) -> Number:
        """The transmitter's slot, any at power-up: the link may have been running.

        Where only some inputs are there, they may as well wait for their slots.
        """
        last = self.slots - 1 if self.present is None or self.roaming else 0
        return Number("sender.slot", 0, self.slots - 1, (0, last))

    def _next(self, slot: Number, timer: Timer, name: str) -> Rule:
        wrap = Rule("again from 0", slot.read().eq(self.slots - 1), (slot.set(0),))
        step = Rule(name, Truth(True), (slot.set(slot.read() + 1),))
        return Rule(name, timer.expires(), (First((wrap, step)),))

    # A part of a link has few inputs: between their slots nothing happens, and a slot number
    # stands for all slots up to the next at which something does.

    def _shown_stops(self) -> tuple[int, ...]:
        """The slots at whose beginning the transmitter may have something to do."""
        if self.others == "any":
            return tuple(self._all)
        first = (0,) if self.synced else ()
        begun = (*first, *self.places)
        return tuple(sorted({*begun, *((place + 1) % self.slots for place in begun)}))

    def _ahead(self, stops: tuple[int, ...]) -> tuple[int, ...]:
        """Per slot, how many slots on at once: to the next stop, or less.

        Only from a stop, and from the slot after power-up, it pays to go all the way: a length
        that occurs costs a rule.
        """
        found, to, at = [0] * self.slots, min(stops) + self.slots, frozenset(stops)
        for slot in reversed(self._all):
            distance = to - slot
            whole_way = slot in at or slot == 1
            found[slot] = distance if whole_way else 1 << (distance.bit_length() - 1)
            to = slot if slot in at else to
        return tuple(found)

    def _longest(self, stops: tuple[int, ...]) -> int:
        return self.slot * max(self._ahead(stops))

    @property
    def _all(self) -> range:
        return range(self.slots)

    def _skip(self, slot: Number, timer: Timer, stops: tuple[int, ...]) -> Rule:
        """On to the slot before the next stop, and as long as it takes to that stop."""
        ahead = self._ahead(stops)
        before = tuple((slot + by - 1) % self.slots for slot, by in enumerate(ahead))
        far = Lookup(ahead, slot.read())
        # A rule per length: how far a length may be off depends on how many slots it is of.
        start = First(
            tuple(
                Rule(f"{by} on", far.eq(by), (timer.start(self.slot * by),))
                for by in sorted(set(ahead))
            )
        )
        skip = slot.set(Lookup(before, slot.read()))
        return Rule("to the next stop", timer.expires(), (start, skip))
