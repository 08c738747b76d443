"""framed-serial: a start pulse, then the code of the input bit by bit on one line."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from models.levels import Driver, Listener
from models.sending import one_by_one
from verify.language import expressions as ex
from verify.language.machine import Each, First, Machine, Rule, Statement
from verify.language.state import Bank, Signal, Timer, mode, number
from verify.parts.monitor import Queue
from verify.parts.scheme import Scheme
from verify.parts.signals import PRESS, decoded, misframed

LINE = 0
BEGIN = Signal("begin", ("input",))


@dataclass(frozen=True)
class _Bits:
    """Of all frames, place by place: the bit, the one after it (0: none), whether there is one.

    ``starts``: the place where each frame begins.
    """

    bits: tuple[int, ...]
    after: tuple[int, ...]
    goes_on: tuple[int, ...]
    starts: tuple[int, ...]


@dataclass(frozen=True)
class FramedSerial(Scheme):
    """Times in ticks. ``codes[i]``: the code of input i, sent in ``width`` bits, least first.

    Sent: ``leader``, length of the start pulse, by default a bit; ``bit``, length of the others;
    ``stop``, bits of idle line that end a frame; ``busy``, ``depth``, as for pulse-gap.

    Received: ``sample``, from the start edge to the first sample, the others each a bit later.
    ``edge``: the receiver takes the start edge to be later than it was by something from this
    range (below 0: earlier), anew for each frame. ``votes``: samples of each bit, 1, or 3 of
    which the majority counts: a ``clock`` of the receiver apart, the middle one as said before.
    ``framing``: the first stop bit is sampled too, and a frame without idle line there dropped.
    """

    codes: tuple[int, ...]
    width: int
    bit: int
    sample: int
    stop: int = 1
    busy: Literal["overlay", "ignore", "queue"] = "overlay"
    depth: int = 1
    leader: int | None = None
    edge: tuple[int, int] = (0, 0)
    votes: Literal[1, 3] = 1
    clock: int = 1
    framing: bool = False

    @property
    def inputs(self) -> int:
        """One per code."""
        return len(self.codes)

    @property
    def frame(self) -> int:
        """Ticks of a frame: start, code, and idle line after it (at least the tick of its fall)."""
        return self.start_pulse + self.width * self.bit + max(self.stop * self.bit, 1)

    @property
    def start_pulse(self) -> int:
        """Ticks of the pulse that begins a frame."""
        return self.bit if self.leader is None else self.leader

    @property
    def queue(self) -> Queue | None:
        """Presses wait only if ``busy`` says so."""
        return Queue((self.frame,) * self.inputs, self.depth) if self.busy == "queue" else None

    @property
    def drops_when(self) -> str:
        """The stop bit is checked."""
        return "the line was not idle in the stop bit"

    def unqueued(self) -> Scheme | None:
        """A press while another is sent is dropped."""
        return replace(self, busy="ignore") if self.busy == "queue" else None

    def per_input(self) -> dict[str, tuple[int, ...]]:
        """The codes, as numbers."""
        return {"code": self.codes}

    def wiring(self) -> dict[str, tuple[str, ...]]:
        """The bits of the codes, as they are sent."""
        places = range(self.width)
        sent = ("".join(str(code >> k & 1) for k in places) for code in self.codes)
        return {"bits as sent": tuple(sent)}

    def settings(self) -> dict[str, str | int]:
        """Everything else: words, or numbers of ticks."""
        found: dict[str, str | int] = {
            "bit": self.bit,
            "sample": self.sample,
            "frame": self.frame,
            "code": f"{self.width} bits, stop {self.stop}",
            "busy": self.busy,
        }
        if self.busy == "queue":
            found["depth"] = str(self.depth)
        if self.leader is not None:
            found["leader"] = self.leader
        if self.clock > 1:
            found["oversample"] = str(self.bit // self.clock)
        if self.edge != (0, 0):
            found["edge"] = f"{self.edge[0]} to {self.edge[1]} ticks late"
        if self.votes > 1:
            found["votes"] = str(self.votes)
        if self.framing:
            found["framing"] = "the first stop bit must be idle"
        return found

    # -- transmitter ----------------------------------------------------------

    def transmitter(self) -> tuple[Machine, ...]:
        """The sender, which decides when frames start, and the shaper, which makes them."""
        pressed = PRESS.occurrence("p")["input"]
        if self.busy == "overlay":
            sender = Machine("sender", (), (Each(PRESS, "p", (BEGIN.emit(pressed),)),))
        else:
            places = self.depth if self.busy == "queue" else 0
            times = (self.frame,) * self.inputs
            sender = one_by_one(times, places, lambda index: (BEGIN.emit(index),), (), ())
        return sender, self._shaper()

    def _shaper(self) -> Machine:
        """Every frame under way drives the line by its present bit; overlaid frames overlap."""
        # The bits of all frames in one table; a frame under way is a place in it.
        length = 1 + self.width
        bits = tuple(
            b for code in self.codes for b in (1, *(code >> k & 1 for k in range(self.width)))
        )
        goes_on = tuple(int((at + 1) % length > 0) for at in range(len(bits)))
        after = tuple(bits[at + 1] if goes_on[at] else 0 for at in range(len(bits)))
        table = _Bits(bits, after, goes_on, tuple(range(0, len(bits), length)))
        return self._overlaid(table) if self.busy == "overlay" else self._in_turn(table)

    def _overlaid(self, table: _Bits) -> Machine:
        """Any number of frames at once."""
        sending = Bank("shaper.sending", ("at",))
        driver = Driver("shaper", LINE, 10**6)
        at = sending.entry("s")["at"]
        begun = BEGIN.occurrence("b")["input"]
        driven = driver.driven
        stepped = Signal("shaper.stepped")
        more = ex.Lookup(table.goes_on, at).eq(1)
        body: list[Statement] = [
            Each(
                sending,
                "s",
                (
                    driven.set(
                        driven.read() - ex.Lookup(table.bits, at) + ex.Lookup(table.after, at)
                    ),
                    Rule("next bit", more, (sending.put(self.bit, at + 1),)),
                    stepped.emit(),
                ),
                expired=True,
            ),
            Each(
                BEGIN,
                "b",
                (
                    driven.set(driven.read() + 1),
                    sending.put(self.start_pulse, ex.Lookup(table.starts, begun)),
                ),
            ),
        ]
        moved = BEGIN.happens() | stepped.happens()
        body += driver.edges(moved)
        return Machine("shaper", (sending, *driver.memory), tuple(body))

    def _in_turn(self, table: _Bits) -> Machine:
        """One frame at a time: a timer will do, which costs engines less than a bank."""
        at = number("shaper.at", 0, len(table.bits) - 1)
        left = Timer("shaper.left", max(self.start_pulse, self.bit))
        driver = Driver("shaper", LINE, 1)
        begun = BEGIN.occurrence("b")["input"]
        follow = driver.driven.set(ex.Lookup(table.after, at.read()))
        more = ex.Lookup(table.goes_on, at.read()).eq(1)
        begin = (
            driver.driven.set(1),
            at.set(ex.Lookup(table.starts, begun)),
            left.start(self.start_pulse),
        )
        body: tuple[Statement, ...] = (
            First(
                (
                    Rule(
                        "next bit",
                        left.expires() & more,
                        (follow, at.set(at.read() + 1), left.start(self.bit)),
                    ),
                    Rule("last bit over", left.expires(), (follow, at.set(0))),
                )
            ),
            Each(BEGIN, "b", begin),
            *driver.edges(BEGIN.happens() | left.expires()),
        )
        return Machine("shaper", (at, left, *driver.memory), body)

    # -- receiver -------------------------------------------------------------

    def receiver(self, branch: int, delay: int = 0) -> tuple[Machine, ...]:
        """A rise at rest starts a frame; each sample, or each majority of three, is a bit."""
        name = f"receiver{branch}"
        line = Listener(name, LINE, branch)
        spread = (self.votes - 1) // 2 * self.clock  # from the middle sample to its neighbours
        state = mode(f"{name}.mode", "waiting", "reading")
        clock = Timer(f"{name}.clock", max(self.sample - spread + self.edge[1], self.bit))
        place = number(f"{name}.place", 0, self.width)
        code = number(f"{name}.code", 0, (1 << self.width) - 1)
        votes = number(f"{name}.votes", 0, self.votes - 1)
        ones = number(f"{name}.ones", 0, self.votes - 1)

        late: ex.Int = ex.Constant(self.sample - spread)
        if self.edge != (0, 0):
            late = late + ex.Pick(f"{name}.edge", *self.edge)
        counted = ones.read() + line.high.read()
        one = counted > 1 if self.votes > 1 else line.high.up()
        afresh = (votes.set(0), ones.set(0)) if self.votes > 1 else ()
        # A frame dropped for its stop bit leaves the line high, so that the next rise, which
        # starts a frame, is after idle line.
        rest = (state.go("waiting"), place.set(0), code.set(0), *afresh)
        known = ex.Find(tuple((c, c) for c in self.codes), code.read())
        take = (
            Rule("a code", known >= 0, (decoded(branch).emit(known), *rest)),
            Rule("no code", ex.Truth(True), rest),
        )
        following = clock.start(self.bit - 2 * spread)
        more = Rule("next bit", place.read() < self.width + self.framing, (following,))
        weights = tuple(1 << k for k in range(self.width))
        chosen = [
            Rule(
                "bit",
                ex.Truth(True),
                (
                    Rule(
                        "a one",
                        one,
                        (code.set(code.read() + ex.Lookup(weights, place.read())),),
                    ),
                    place.set(place.read() + 1),
                    *afresh,
                    First((more,) if self.framing else (more, *take)),
                ),
            )
        ]
        if self.framing:
            stop = place.read().eq(self.width)
            chosen.insert(0, Rule("stop bit", stop, (First(take),)))
            chosen.insert(0, Rule("no stop bit", stop & one, (misframed(branch).emit(), *rest)))
        if self.votes > 1:
            vote = (ones.set(counted), votes.set(votes.read() + 1), clock.start(self.clock))
            chosen.insert(0, Rule("vote", votes.read() < self.votes - 1, vote))
        body: tuple[Statement, ...] = (
            *line.follow(),
            First(
                (
                    Rule("sample", clock.expires(), (First(tuple(chosen)),)),
                    Rule(
                        "start edge",
                        line.rises & state.at("waiting"),
                        (state.go("reading"), clock.start(late)),
                    ),
                )
            ),
        )
        polled = (votes, ones) if self.votes > 1 else ()
        heard = ex.Lookup(
            tuple(1 << min(k, self.width) for k in range(self.width + 1)), place.read()
        )
        places = self.width + self.framing
        underway = state.at("reading") & clock.running() & (place.read() < places)
        underway &= code.read() < heard
        idle = state.at("waiting") & ~clock.running() & place.read().eq(0) & code.read().eq(0)
        if polled:
            underway &= ones.read() <= votes.read()
            idle &= votes.read().eq(0) & ones.read().eq(0)
        memory = (line.high, state, clock, place, code, *polled)
        return (Machine(name, memory, body, possible=underway | idle),)
