"""Why a run failed: exact sentences for every scheme and kind of failure, and true ones always."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st

from models.framed_serial import FramedSerial
from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from models.scan import Scan
from models.wire_per_input import WirePerInput
from tests.links import even_gaps, links, make_link, owns, schemes, scripts
from verify.engines.answer import Budget, Progress
from verify.engines.observed import observed
from verify.engines.simulator import NotAllowedError, Simulator
from verify.engines.trace import Chosen, Press, Script, Trace
from verify.language.state import Mode
from verify.linkfile import parse
from verify.parts.clock import Clock
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.pause import Pause
from verify.parts.signals import MISSED
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, judge
from verify.questions.why import Why
from verify.reports import words
from verify.reports.finer import measured
from verify.reports.words import failure_sentence

HELD = Operator(hold=(3, 3))
FRAMES = FramedSerial((1, 2, 3), 2, 2, 3)
# The length of a pulse says which: the receiver measures from rise to fall.
LENGTHS = """
tick = "50 ms"
[inputs]
names = ["short", "long"]
[link]
scheme = "own"
tables.length = [2, 4]
[transmitter]
timers.left = 4
[[transmitter.rules]]
each = "press"
when = "not left.runs"
do = ["line.up()", "left.start(length[input])"]
[[transmitter.rules]]
when = "left.ends"
do = ["line.down()"]
[receiver]
timers.since = 5
modes.state = ["idle", "timing"]
[[receiver.rules]]
name = "begins"
when = "line.rises"
do = ["since.start(5)", "state.set(timing)"]
[[receiver.rules]]
name = "ends"
when = "line.falls"
do = ["strike(find(length, 5 - since.left))", "since.stop()", "state.set(idle)"]
"""


@dataclass(frozen=True)
class Case:
    """A link, what the world does to it, the kind of failure and the sentence, without its tick."""

    name: str
    link: Callable[[], Link]
    presses: tuple[tuple[int, int], ...]
    kind: str
    told: str
    picks: tuple[Chosen, ...] = ()
    constants: tuple[tuple[str, int], ...] = ()
    resolution: int = 1


def own(**rest: object) -> Link:
    return replace(parse(LENGTHS, "lengths.toml"), **rest)  # type: ignore[arg-type]


def gaps(*times: int, **rest: object) -> Link:
    return make_link(
        PulseGap(times, 1, (0,) * len(times)), Operator(spacing=2 * max(times)), **rest
    )


CASES = [
    Case(
        "wires: ghost",
        lambda: make_link(WirePerInput(2), within=(3, 3)),
        ((0, 1),),
        "ghost",
        (
            "the press of 'k2' at tick 0 raised line.2: read as 'k2', so it struck, though "
            "its press at tick 0 is due only at tick 3"
        ),
    ),
    Case(
        "wires: lost",
        lambda: make_link(WirePerInput(2), delay=(2, 2), faults=Faults(shortest=2)),
        ((0, 0),),
        "lost",
        (
            "line.1 rose at tick 0 for the press of 'k1' at tick 0 (let go at tick 1), but "
            "that did not arrive; so 'k1' did not strike, though its press at tick 0 was "
            "due at tick 1"
        ),
    ),
    Case(
        "timer: ghost early",
        lambda: make_link(even_gaps(7)),
        ((0, 1), (2, 0)),
        "ghost",
        (
            "the press of 'k1' at tick 2 raised the line while the receiver was still armed"
            " by the press of 'k2' at tick 0, 2 ticks after it: read as 'k1', so it struck,"
            " though its press at tick 2 is due only at tick 4"
        ),
    ),
    Case(
        "timer: ghost of no press",
        lambda: make_link(even_gaps(7), delay=(2, 4), branches=(0, 3)),
        ((0, 5), (10, 0)),
        "ghost",
        (
            "the far end of the line rose at tick 12 for the press of 'k1' at tick 10 while"
            " the receiver was still armed since tick 2 by the press of 'k6' at tick 0, 10 "
            "ticks earlier: read as 'k5', so it struck on branch 1, though it was not "
            "pressed"
        ),
    ),
    Case(
        "timer: ghost struck already",
        lambda: make_link(even_gaps(7)),
        ((0, 0), (4, 1), (6, 1)),
        "ghost",
        (
            "the press of 'k2' at tick 6 raised the line while the receiver was still armed"
            " by the press of 'k2' at tick 4, 2 ticks after it: read as 'k1', so it struck,"
            " though its press at tick 0 had brought its strike at tick 2 already"
        ),
    ),
    Case(
        "timer: wrong output",
        lambda: make_link(even_gaps(7)),
        ((0, 0), (2, 1), (4, 1)),
        "wrong-output",
        (
            "the line rose at tick 6 for the press of 'k2' at tick 2 while the receiver was"
            " still armed by the press of 'k2' at tick 4, 2 ticks after it: read as 'k1', "
            "so it struck, where 'k2', pressed at tick 2, was due"
        ),
    ),
    Case(
        "timer: lost in another pulse",
        lambda: make_link(even_gaps(7)),
        ((0, 6), (15, 0)),
        "lost",
        (
            "the line had been high since tick 14 for the press of 'k7' at tick 0 and could"
            " not rise at tick 15 for the press of 'k1' at tick 15: the transmitter's rule "
            "'pulse joins pulse' acted in place of 'rise'; so 'k1' did not strike, though "
            "its press at tick 15 was due at tick 17"
        ),
    ),
    Case(
        "timer: lost to a press between",
        lambda: make_link(even_gaps(7)),
        ((0, 6), (5, 0)),
        "lost",
        (
            "the press of 'k1' at tick 5 raised the line while the receiver was still armed"
            " by the press of 'k7' at tick 0, 5 ticks after it: it became disarmed (rule "
            "'miss'); so 'k1' did not strike, though its press at tick 5 was due at tick 7"
        ),
    ),
    Case(
        "timer: lost while armed",
        lambda: make_link(even_gaps(7)),
        ((0, 6), (9, 0)),
        "lost",
        (
            "the press of 'k1' at tick 9 raised the line while the receiver was still armed"
            " by the press of 'k7' at tick 0, 9 ticks after it: it became disarmed (rule "
            "'miss'); so 'k1' did not strike, though its press at tick 9 was due at tick 11"
        ),
    ),
    Case(
        "timer: lost, armed anew",
        lambda: make_link(even_gaps(7, on_miss="rearm")),
        ((0, 6), (9, 0)),
        "lost",
        (
            "the press of 'k1' at tick 9 raised the line while the receiver was still armed"
            " by the press of 'k7' at tick 0, 9 ticks after it: the receiver's rule 'miss' "
            "acted; at tick 14 the receiver was disarmed; so 'k7' did not strike, though "
            "its press at tick 0 was due at tick 14"
        ),
    ),
    Case(
        "timer: lost, busy",
        lambda: make_link(even_gaps(7, busy="ignore")),
        ((0, 3), (5, 0)),
        "lost",
        (
            "the press of 'k1' at tick 5 found the transmitter with its timer 'busy', "
            "started at tick 0 for the press of 'k4' at tick 0, at 5 ticks left: its rule "
            "'send' did not act; so 'k1' did not strike, though its press at tick 5 was due"
            " at tick 7"
        ),
    ),
    Case(
        "timer: lost, no place",
        lambda: make_link(even_gaps(7, busy="queue")),
        ((0, 5), (5, 0), (10, 0)),
        "lost",
        (
            "the press of 'k1' at tick 10 found the transmitter with its timer 'busy', "
            "started at tick 0 for the press of 'k6' at tick 0, at 4 ticks left: its rule "
            "'send' did not act; so 'k1' did not strike, though its press at tick 10 was "
            "due at tick 12"
        ),
    ),
    Case(
        "timer: late",
        lambda: make_link(even_gaps(7), within=(0, 13)),
        ((0, 6),),
        "late",
        (
            "the press of 'k7' at tick 0 does not come through by then by itself: the line "
            "rose at tick 0 for it and the receiver was armed at tick 13; so 'k7' did not "
            "strike in time, though its press at tick 0 was due from tick 0 to tick 13; it "
            "struck at tick 14, 1 tick (50 ms) too late"
        ),
    ),
    Case(
        "timer: paused receiver",
        lambda: make_link(even_gaps(2), pause=Pause(2), within=(2, 4)),
        ((0, 1),),
        "lost",
        (
            "the receiver stopped for 1 tick at tick 1; the line rose at tick 4 for the "
            "press of 'k2' at tick 0 while the receiver was armed by the press of 'k2', 4 "
            "ticks after it: it became disarmed (rule 'miss'); so 'k2' did not strike, "
            "though its press at tick 0 was due from tick 2 to tick 4"
        ),
        picks=(Chosen(1, "pause.receiver", 0),),
    ),
    Case(
        "timer: found armed",
        lambda: make_link(even_gaps(2), any_start=True),
        ((0, 1),),
        "ghost",
        (
            "the press of 'k2' at tick 0 raised the line while the receiver was armed from "
            "power-up on: read as 'k1', so it struck, though it was not pressed"
        ),
        constants=(("receiver0.mode", 1), ("receiver0.clock", 4)),
    ),
    Case(
        "taps: ghost",
        lambda: make_link(even_gaps(3, receiver_kind="taps")),
        ((0, 0), (2, 0)),
        "ghost",
        (
            "the line rose at tick 4 for the press of 'k1' at tick 2, 4 ticks after its "
            "rise for the press of 'k1' at tick 0: read as 'k2', so it struck, though it "
            "was not pressed"
        ),
    ),
    Case(
        "taps: lost",
        lambda: make_link(even_gaps(3, receiver_kind="taps")),
        ((0, 1), (1, 0)),
        "lost",
        (
            "the line had been high since tick 0 for the press of 'k2' at tick 0 and could "
            "not rise at tick 1 for the press of 'k1' at tick 1: the transmitter's rule "
            "'pulse joins pulse' acted in place of 'rise'; so 'k1' did not strike, though "
            "its press at tick 1 was due at tick 3"
        ),
    ),
    Case(
        "parallel: wrong output",
        lambda: make_link(ParallelCode((1, 2, 3), 2), HELD),
        ((0, 0), (1, 1)),
        "wrong-output",
        (
            "the press of 'k2' at tick 1 raised line.2 while line.1 was high for the press "
            "of 'k1' at tick 0: read as 'k3', so it struck, where 'k2', pressed at tick 1, "
            "was due"
        ),
    ),
    Case(
        "parallel: lost, not settled",
        lambda: make_link(ParallelCode((1, 2, 3), 2, 2), HELD),
        ((0, 0), (1, 1)),
        "lost",
        (
            "the press of 'k2' at tick 1 raised line.2, and the receiver's timer 'steady' "
            "started anew; so 'k1' did not strike, though its press at tick 0 was due at "
            "tick 2"
        ),
    ),
    Case(
        "parallel: late after another code",
        lambda: make_link(ParallelCode((1, 2, 4), 3), HELD),
        ((0, 0), (1, 1)),
        "late",
        (
            "the press of 'k2' at tick 1 raised line.2 while line.1 was high for the press "
            "of 'k1' at tick 0: no longer read as 'k1'; so 'k2' did not strike in time, "
            "though its press at tick 1 was due at tick 1; it struck at tick 3, 2 ticks "
            "(100 ms) too late"
        ),
    ),
    Case(
        "parallel: skew",
        lambda: make_link(ParallelCode((1, 2, 3), 2), HELD, faults=Faults(skew=1), within=(0, 1)),
        ((0, 2),),
        "wrong-output",
        (
            "line.2 brings every edge 1 tick late; the press of 'k3' at tick 0 raised "
            "line.1: read as 'k1', so it struck, where 'k3', pressed at tick 0, was due"
        ),
        constants=(("line1.late", 1),),
    ),
    Case(
        "parallel: lever goes down",
        lambda: make_link(ParallelCode((1, 2, 3), 2), kind="level"),
        ((0, 0), (2, 1)),
        "ghost",
        (
            "the move of 'k2' at tick 2 raised line.2 while line.1 was high for the move of"
            " 'k1' at tick 0: no longer read as 'k1', so it went down, though its lever had"
            " been up since tick 0"
        ),
    ),
    Case(
        "parallel: lever goes down at a third",
        lambda: make_link(ParallelCode((1, 2, 3), 2), kind="level"),
        ((0, 0), (2, 1), (2, 2)),
        "ghost",
        (
            "the move of 'k3' at tick 2 raised line.2 while line.1 was high for the move of"
            " 'k1' at tick 0 and the move of 'k3': no longer read as 'k1', so it went down,"
            " though its lever had been up since tick 0"
        ),
    ),
    Case(
        "frames: wrong output",
        lambda: make_link(FRAMES),
        ((0, 0), (2, 0)),
        "wrong-output",
        (
            "the receiver, reading for the press of 'k1' at tick 0, found the line high at "
            "tick 3 for the presses of 'k1' at ticks 0 and 2 and at tick 5 for the press of"
            " 'k1' at tick 2: read as 'k3', so it struck, where 'k1', pressed at tick 0, "
            "was due"
        ),
    ),
    Case(
        "frames: lost in another frame",
        lambda: make_link(FRAMES),
        ((0, 2), (5, 0)),
        "lost",
        (
            "the line had been high since tick 0 for the press of 'k3' at tick 0 and could "
            "not rise at tick 5 for the press of 'k1' at tick 5: the transmitter's rule "
            "'line 0 rises' did not act; so 'k1' did not strike, though its press at tick 5"
            " was due at tick 10"
        ),
    ),
    Case(
        "frames: wrong output by bits of another",
        lambda: make_link(FRAMES),
        ((0, 1), (3, 0)),
        "wrong-output",
        (
            "the receiver, reading for the press of 'k2' at tick 0, found the line high at "
            "tick 3 for the press of 'k1' at tick 3 and at tick 5 for the press of 'k2' and"
            " the press of 'k1': read as 'k3', so it struck, where 'k2', pressed at tick 0,"
            " was due"
        ),
    ),
    Case(
        "frames: lost under another frame",
        lambda: make_link(FRAMES),
        ((0, 0), (3, 1)),
        "lost",
        (
            "the line had been high since tick 0 for the press of 'k1' at tick 0 and could "
            "not rise at tick 3 for the press of 'k2' at tick 3: the transmitter's rule "
            "'line 0 rises' did not act; so 'k2' did not strike, though its press at tick 3"
            " was due at tick 8"
        ),
    ),
    Case(
        "frames: framing",
        lambda: make_link(replace(FRAMES, framing=True)),
        ((0, 0), (5, 0)),
        "framing",
        (
            "the receiver, reading for the press of 'k1' at tick 0, found the line high at "
            "tick 7 for the press of 'k1' at tick 5: it became waiting (rule 'no stop "
            "bit'); so 'k1' did not strike, though its press at tick 0 was due at tick 7: a"
            " frame was dropped at tick 7, for the line was not idle in the stop bit"
        ),
    ),
    Case(
        "frames: busy",
        lambda: make_link(replace(FRAMES, busy="ignore")),
        ((0, 0), (3, 1)),
        "lost",
        (
            "the press of 'k2' at tick 3 found the transmitter with its timer 'busy', "
            "started at tick 0 for the press of 'k1' at tick 0, at 5 ticks left: its rule "
            "'send' did not act; so 'k2' did not strike, though its press at tick 3 was due"
            " at tick 8"
        ),
    ),
    Case(
        "frames: no place",
        lambda: make_link(replace(FRAMES, busy="queue")),
        ((0, 0), (1, 1), (2, 2)),
        "lost",
        (
            "the press of 'k3' at tick 2 found the transmitter with its timer 'busy', "
            "started at tick 0 for the press of 'k1' at tick 0, at 6 ticks left: its rule "
            "'send' did not act; so 'k3' did not strike, though its press at tick 2 was due"
            " at tick 7"
        ),
    ),
    Case(
        "free scan: lost",
        lambda: make_link(Scan(3, 2, 1), Operator(hold=(3, 3)), within=(0, 9)),
        ((4, 0),),
        "lost",
        (
            "the press of 'k1' at tick 4 (let go at tick 7) does not come through by then "
            "by itself: the line rose at tick 6 for it, the receiver looked at ticks 5 "
            "(slot 2), 7 (slot 0), 9 (slot 1), 11 (slot 2) and 13 (slot 0) and the "
            "transmitter's slot was 0 at tick 13; so 'k1' did not strike, though its press "
            "at tick 4 was due from tick 4 to tick 13"
        ),
    ),
    Case(
        "free scan: lever goes up",
        lambda: make_link(Scan(3, 2, 1, late=1), kind="level"),
        ((4, 0),),
        "ghost",
        (
            "the receiver found the line high at tick 8 (slot 2) for the move of 'k1' at "
            "tick 4, sent at tick 8 in slot 0: read as 'k3', so it went up, though its "
            "lever had not moved"
        ),
        constants=(("sender.slot", 2),),
    ),
    Case(
        "free scan: lever goes up, of the slot before",
        lambda: make_link(Scan(3, 2, 1, late=1), kind="level", within=(0, 9)),
        ((6, 1),),
        "ghost",
        (
            "the receiver found the line high at tick 8 (slot 0) for the move of 'k2' at "
            "tick 6, sent at tick 8 in slot 1: read as 'k1', so it went up, though its "
            "lever had not moved"
        ),
    ),
    Case(
        "free scan: paused",
        lambda: make_link(Scan(3, 2, 1), kind="level", pause=Pause(2)),
        ((5, 0),),
        "ghost",
        (
            "the transmitter stopped for 2 ticks at tick 3; the receiver found the line "
            "high at tick 7 (slot 1) for the move of 'k1' at tick 5, sent at tick 7 in slot"
            " 0: read as 'k2', so it went up, though its lever had not moved"
        ),
        picks=(Chosen(3, "pause.transmitter", 1),),
        constants=(("sender.slot", 1),),
    ),
    Case(
        "synced scan: lever goes up",
        lambda: make_link(Scan(3, 2, 1, late=1, synced=True), kind="level"),
        ((4, 0),),
        "ghost",
        (
            "the receiver found line.1 high at tick 6 (slot 2) for the move of 'k1' at tick"
            " 4, sent at tick 6 in slot 0: read as 'k3', so it went up, though its lever "
            "had not moved"
        ),
    ),
    Case(
        "synced scan: wrong output",
        lambda: make_link(Scan(3, 2, 1, late=1, synced=True), Operator(hold=(7, 7)), within=(0, 9)),
        ((4, 0),),
        "wrong-output",
        (
            "the receiver found line.1 high at tick 6 (slot 2) for the press of 'k1' at "
            "tick 4, sent at tick 6 in slot 0: read as 'k3', so it struck, where 'k1', "
            "pressed at tick 4, was due"
        ),
    ),
    Case(
        "own: lost",
        lambda: own(),
        ((0, 0), (1, 1)),
        "lost",
        (
            "the press of 'long' at tick 1 found the transmitter with its timer 'left', "
            "started at tick 0 for the press of 'short' at tick 0, at 1 tick left: its "
            "'rule 1: not left.runs' did not act; so 'long' did not strike, though its "
            "press at tick 1 was due at tick 5"
        ),
    ),
    Case(
        "own: lost in another pulse",
        lambda: own(),
        ((0, 0), (2, 1)),
        "lost",
        (
            "the line did not rise at tick 2 for the press of 'long' at tick 2, with "
            "'line0.drive' at 0 since tick 2 for the press of 'short' at tick 0: the "
            "transmitter's rule 'line 0 rises' did not act; so 'long' did not strike, "
            "though its press at tick 2 was due at tick 6"
        ),
    ),
    Case(
        "own: ghost",
        lambda: own(within=(5, 5)),
        ((0, 0),),
        "ghost",
        (
            "the line fell at tick 2 for the press of 'short' at tick 0 while the receiver "
            "was timing by the press of 'short', 2 ticks after it: read as 'short', so it "
            "struck, though its press at tick 0 is due only at tick 5"
        ),
    ),
    Case(
        "timer: late edge",
        lambda: gaps(4, 6, faults=Faults(jitter=1)),
        ((0, 0),),
        "lost",
        (
            "the line brought the rise due at tick 4 for the press of 'k1' at tick 0 only "
            "at tick 5, 1 tick late; so 'k1' did not strike, though its press at tick 0 was"
            " due from tick 4 to tick 6"
        ),
        picks=(Chosen(4, "line0.branch0.jitter.rise", 1),),
    ),
    Case(
        "timer: wandering clock",
        lambda: gaps(4, 6, clock=Clock(wander=1)),
        ((0, 0),),
        "lost",
        (
            "the transmitter did at tick 3 for the press of 'k1' at tick 0 what it does at "
            "tick 4 when nothing is off; so 'k1' did not strike, though its press at tick 0"
            " was due from tick 4 to tick 7"
        ),
        picks=(Chosen(0, "clock.sender.second", -1),),
    ),
    Case(
        "timer: fast clock",
        lambda: gaps(40, 60, clock=Clock(rate=(Fraction(0), Fraction(1, 50)))),
        ((0, 0),),
        "lost",
        (
            "the transmitter did at tick 2040 for the press of 'k1' at tick 0 what it does "
            "at tick 2000 when nothing is off; so 'k1' did not strike, though its press at "
            "tick 0 was due from tick 2000 to tick 2100"
        ),
        constants=(("clock.period", 51),),
        resolution=50,
    ),
    Case(
        "parallel: lever still down, no code",
        lambda: make_link(ParallelCode((1, 2), 2), kind="level"),
        ((0, 0), (0, 1)),
        "lost",
        (
            "the move of 'k1' at tick 0 raised line.1 while line.2 was high for the move of"
            " 'k2' at tick 0: the receiver's rule 'a new code' did not act; so 'k1' was "
            "still down, though its lever had been up since tick 0"
        ),
    ),
    Case(
        "free scan: late",
        lambda: make_link(Scan(3, 2, 1), Operator(hold=(7, 7)), within=(0, 1)),
        ((4, 0),),
        "late",
        (
            "the press of 'k1' at tick 4 does not come through by then by itself: the line "
            "did not rise for it, the receiver looked at tick 5 (slot 2) and the "
            "transmitter's slot was 2 at tick 5; so 'k1' did not strike in time, though its"
            " press at tick 4 was due from tick 4 to tick 5; it struck at tick 7, 2 ticks "
            "(100 ms) too late"
        ),
    ),
    Case(
        "frames: wrong output, two of its own",
        lambda: make_link(FRAMES),
        ((0, 0), (4, 0), (8, 0)),
        "wrong-output",
        (
            "the receiver, reading for the press of 'k1' at tick 0, found the line high at "
            "tick 3 for the press of 'k1' and at tick 5 for the press of 'k1' at tick 4: "
            "read as 'k3', so it struck, where 'k1', pressed at tick 0, was due"
        ),
    ),
    Case(
        "taps: wrong output",
        lambda: make_link(even_gaps(3, receiver_kind="taps")),
        ((1, 2), (2, 1), (4, 1)),
        "wrong-output",
        (
            "the line rose at tick 6 for the press of 'k2' at tick 2, 2 ticks after its "
            "rise for the press of 'k2' at tick 4: read as 'k1', so it struck, where 'k2', "
            "pressed at tick 2, was due"
        ),
    ),
    Case(
        "taps: late",
        lambda: make_link(even_gaps(3, receiver_kind="taps"), within=(0, 5)),
        ((0, 2),),
        "late",
        (
            "the press of 'k3' at tick 0 does not come through by then by itself: the line "
            "rose at tick 0 for it; so 'k3' did not strike in time, though its press at "
            "tick 0 was due from tick 0 to tick 5; it struck at tick 6, 1 tick (50 ms) too "
            "late"
        ),
    ),
    Case(
        "parallel: ghost",
        lambda: make_link(ParallelCode((1, 3), 2), HELD, faults=Faults(skew=1)),
        ((0, 1),),
        "ghost",
        (
            "line.1 brings every edge 1 tick late; line.2 fell at tick 3 for the press of "
            "'k2' at tick 0 while line.1 was high for the press of 'k2': read as 'k1', so "
            "it struck, though it was not pressed"
        ),
        constants=(("line0.late", 1),),
    ),
    Case(
        "timer: late edge, after a delay",
        lambda: gaps(4, 6, faults=Faults(jitter=2), delay=(1, 1)),
        ((0, 0),),
        "wrong-output",
        (
            "the line brought the rise due at tick 5 for the press of 'k1' at tick 0 only "
            "at tick 7, 2 ticks late; the far end of the line rose at tick 7 for the press "
            "of 'k1' while the receiver was armed since tick 1 by the press of 'k1', 6 "
            "ticks earlier: read as 'k2', so it struck, where 'k1', pressed at tick 0, was "
            "due"
        ),
        picks=(Chosen(4, "line0.branch0.jitter.rise", 2),),
    ),
    Case(
        "own: late",
        lambda: own(within=(0, 3)),
        ((0, 1),),
        "late",
        (
            "the press of 'long' at tick 0 does not come through by then by itself: the "
            "line rose at tick 0 for it and the receiver was timing at tick 3; so 'long' "
            "did not strike in time, though its press at tick 0 was due from tick 0 to tick"
            " 3; it struck at tick 4, 1 tick (50 ms) too late"
        ),
    ),
    Case(
        "free scan: lever still down",
        lambda: make_link(Scan(3, 2, 1, late=1), kind="level"),
        ((4, 2), (7, 1)),
        "lost",
        (
            "the move of 'k3' at tick 4 does not come through by then by itself: the line "
            "rose at tick 8 for it, the receiver looked at ticks 4 (slot 2), 6 (slot 0), 8 "
            "(slot 1) and 10 (slot 2) and the transmitter's slot was 0 at tick 11; so 'k3' "
            "was still down, though its lever had been up since tick 4"
        ),
        constants=(("sender.slot", 1),),
    ),
    Case(
        "synced scan: lost",
        lambda: make_link(Scan(3, 2, 1, synced=True), HELD, within=(0, 9)),
        ((3, 1),),
        "lost",
        (
            "the press of 'k2' at tick 3 (let go at tick 6) does not come through by then "
            "by itself: no line rose for it, the receiver looked at ticks 3 (slot 2), 5 "
            "(slot 0), 7 (slot 1), 9 (slot 2) and 11 (slot 0) and the transmitter's slot "
            "was 1 at tick 12; so 'k2' did not strike, though its press at tick 3 was due "
            "from tick 3 to tick 12"
        ),
        constants=(("sender.slot", 1),),
    ),
    Case(
        "synced scan: late",
        lambda: make_link(Scan(3, 2, 1, synced=True), Operator(hold=(9, 9)), within=(0, 2)),
        ((3, 2),),
        "late",
        (
            "the press of 'k3' at tick 3 does not come through by then by itself: no line "
            "rose for it, the receiver looked at ticks 3 (slot 0) and 5 (slot 1) and the "
            "transmitter's slot was 1 at tick 5; so 'k3' did not strike in time, though its"
            " press at tick 3 was due from tick 3 to tick 5; it struck at tick 7, 2 ticks "
            "(100 ms) too late"
        ),
        constants=(("sender.slot", 2),),
    ),
    Case(
        "frames: lost by three votes",
        lambda: make_link(FramedSerial((1, 2), 2, 3, 4, votes=3)),
        ((0, 1), (2, 0)),
        "lost",
        (
            "the receiver, reading for the press of 'k2' at tick 0, found the line high at "
            "ticks 3, 4 and 5 for the press of 'k1' at tick 2: the receiver's rule 'a one' "
            "acted; so 'k2' did not strike, though its press at tick 0 was due at tick 8"
        ),
    ),
]


def replayed(case: Case) -> tuple[Trace, str]:
    link = case.link()
    presses = tuple(Press(*press) for press in case.presses)
    script = Script(
        presses,
        link.delay[0] * case.resolution,
        case.picks,
        case.constants,
        case.resolution,
    )
    subject = Subject(link)
    trace = subject.replay(script)
    windows = subject.windows if link.kind == "press" else None
    return trace, failure_sentence(trace, *measured(link, windows, script))


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_the_sentence_says_what_led_to_it(case: Case) -> None:
    trace, told = replayed(case)

    assert trace.failure is not None
    assert trace.failure.kind == case.kind
    assert told.startswith(f"tick {trace.failure.tick} (")
    assert told.partition("): ")[2] == case.told


# -- any run ---------------------------------------------------------------------


@st.composite
def failing(draw: st.DrawFn) -> tuple[Subject, Trace]:
    """Links of every scheme, their operators set free so that much goes wrong, and a run."""
    link = draw(links(st.one_of(schemes, owns())))
    subject = Subject(link.with_operator(spacing=0, repeat=0, overlap=None))
    try:
        trace = subject.replay(draw(scripts(subject.link)))
    except NotAllowedError:
        reject()
    if trace.failure is None:
        reject()
    return subject, trace


@st.composite
def failing_scans(draw: st.DrawFn) -> tuple[Subject, Trace]:
    """Scans of levers and of presses, their samples often in wrong slots, and a run."""
    slot = draw(st.integers(2, 4))
    scheme = Scan(
        draw(st.integers(2, 3)),
        slot,
        draw(st.integers(1, slot - 1)),
        late=draw(st.integers(0, 2)),
        synced=draw(st.booleans()),
    )
    hold = draw(st.integers(1, 12))
    kind = draw(st.sampled_from(["press", "level"]))
    link = make_link(scheme, Operator(hold=(hold, hold)), kind=kind)
    now, presses = link.cold, []
    for _ in range(draw(st.integers(1, 4))):
        now += draw(st.integers(1, 7))
        presses.append(Press(now, draw(st.integers(0, link.inputs - 1))))
    subject = Subject(link)
    begun = ("sender.slot", draw(st.integers(0, scheme.slots - 1)))
    try:
        trace = subject.replay(Script(tuple(presses), 0, (), (begun,)))
    except NotAllowedError:
        reject()
    if trace.failure is None:
        reject()
    return subject, trace


@settings(max_examples=50)
@given(st.one_of(failing(), failing_scans()))
def test_every_sentence_names_the_press_or_output_its_tick_and_a_true_state(
    drawn: tuple[Subject, Trace],
) -> None:
    subject, trace = drawn
    failure = trace.failure
    assert failure is not None
    found: list[Why] = []
    with pytest.MonkeyPatch.context() as patch:
        for name in ("why_struck", "why_missed"):
            asked = getattr(words, name)
            patch.setattr(words, name, noting(asked, found))
        windows = subject.windows if subject.link.kind == "press" else None
        told = failure_sentence(trace, subject.link, windows)

    assert told.startswith(f"tick {failure.tick} (")
    assert f"'{failure.output}'" in told
    assert "went before" not in told  # something is known of these machines
    why = found[-1]
    if failure.kind in MISSED and subject.link.kind == "press":
        assert any(f"press at tick {p.tick} was due" in told for p in trace.script.presses)
    seen = why.reading
    if seen is not None:
        by_strike = failure.kind not in MISSED and subject.link.kind == "press"
        assert not by_strike or seen.tick == failure.tick
        if seen.mode is not None:
            modes = modes_before(subject, trace.script, seen.tick, failure.branch)
            assert seen.mode.word in modes
            assert seen.mode.at_rest or seen.mode.word in told
        rises = rises_at(trace, subject.link, failure.branch, seen.tick)
        assert all(not edge.up or edge.line in rises for edge in seen.edges)
        pressed = set(trace.script.presses)
        assert all(p in pressed and p.tick <= seen.tick for e in seen.edges for p in e.presses)
    if why.kept is not None:
        assert f"tick {why.kept.tick}" in told


def noting(asked: Callable[..., Why], found: list[Why]) -> Callable[..., Why]:
    def noted(*given: object) -> Why:
        found.append(asked(*given))
        return found[-1]

    return noted


def modes_before(subject: Subject, script: Script, tick: int, branch: int) -> list[str]:
    """The modes of the receiver just before a tick, by the plain simulator."""
    simulator = Simulator(subject.link, script.delay, None, script.resolution)
    state = simulator.compiled.start_with(dict(script.constants))
    for moment in simulator.run(script, until=tick - 1, every=True):
        state = moment.state
    return [
        item.modes[state[i]]
        for item, i in simulator.compiled.where.items()
        if isinstance(item, Mode) and item.name.startswith(f"receiver{branch}")
    ]


def rises_at(trace: Trace, link: Link, branch: int, tick: int) -> set[int]:
    """The lines whose end at the receiver rose in a tick."""
    found = set()
    travel = trace.script.delay + link.branches[branch]
    for k in range(link.scheme.lines):
        near = "line" if link.scheme.lines == 1 else f"line.{k + 1}"
        far = f"{near}.far" + (f".{branch + 1}" if len(link.branches) > 1 else "")
        name = far if travel else near
        if any(e.signal == name and e.value and e.tick == tick for e in trace.events):
            found.add(k)
    return found


@settings(max_examples=40, suppress_health_check=[HealthCheck.filter_too_much])
@given(failing())
def test_observed_runs_are_the_runs(drawn: tuple[Subject, Trace]) -> None:
    """The step function with a record does what the plain one does."""
    subject, trace = drawn
    plain = Simulator(subject.link, trace.script.delay, None, trace.script.resolution)
    end = max((e.tick for e in trace.events), default=0)
    watched = Simulator(subject.link, trace.script.delay, None, trace.script.resolution)
    watched.compiled = observed(subject.link, trace.script)

    assert list(watched.run(trace.script, until=end)) == list(plain.run(trace.script, until=end))


def test_where_the_transmitter_was_after_a_long_time_that_was_reckoned() -> None:
    """The ends drift apart for hours; each is in the slot that it is in, not that of power-up."""
    off = Clock((Fraction(0), Fraction(1, 5000)))
    link = make_link(Scan(3, 20, 10), kind="level", delay=(1, 1))
    subject = Subject(replace(link, clock=off))

    def found(engine: EngineName) -> tuple[Press, str]:
        judged = judge(subject, engine, Progress(), budget=Budget(20))
        assert judged.trace is not None
        (move,) = judged.trace.script.presses
        watched = measured(subject.link, None, judged.trace.script)[0]
        return move, failure_sentence(judged.trace, watched)

    move, told = found("zones")  # of two levers
    assert f"for the move of 'k{move.input + 1}' at tick {move.tick}" in told
    assert f" in slot {move.input}: read as 'k" in told
    # Of one that is up. The transmitter is late: still in the slot before.
    move, told = found("auto")
    assert f" in slot {(move.input - 1) % 3}: no longer read as 'k{move.input + 1}'" in told
