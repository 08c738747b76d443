"""The monitor: sees presses and strikes only, and says what came out wrong.

It is the same for every scheme. Each press makes its strike *due* in a window; strikes
are matched to presses of the same input, oldest first. ``judge`` then names what is left.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, lcm

from verify.language import expressions as ex
from verify.language.machine import Each, Earliest, First, Machine, Rule, Statement
from verify.language.state import Bank, Number, Signal, Timer, flag, unknown
from verify.parts.signals import PRESS, RELEASE, Kind, delivered, failure, rest, strike
from verify.units import Ticks


@dataclass(frozen=True)
class Queue:
    """A transmitter's queue: ticks that a send of each input takes, and places to wait."""

    sends: tuple[int, ...]
    places: int


@dataclass(frozen=True)
class Windows:
    """When strikes are due, in ticks after the press, per input.

    ``earliest``/``latest``: the window. ``shift``: the strike comes up to this much
    earlier in truth than the model shows (a line delay whose range was factored out),
    the same amount for the whole run. ``queue``: a press that waits in it may be later by
    the sends ahead of it. ``slopes``: per input, so much is added to ``earliest`` and
    ``latest`` for each unit of the clock's period (1: the clock is right).
    """

    earliest: tuple[Ticks, ...]
    latest: tuple[Ticks, ...]
    shift: int = 0
    queue: Queue | None = None
    slopes: tuple[tuple[Ticks, ...], tuple[Ticks, ...]] | None = None

    @property
    def resolution(self) -> int:
        """The least parts of a tick in which these windows are whole."""
        return lcm(*(Fraction(t).denominator for t in (*self.earliest, *self.latest)))


def build(
    branch: int,
    windows: Windows,
    order: tuple[int, ...],
    pace: Number | None = None,
    may_miss: bool = False,
) -> tuple[Machine, Machine]:
    """The two machines that watch the receiver of one branch: match, then judge.

    ``order[i]``: the output that a press of input i is to strike. ``pace``: the length of a
    nominal tick of the transmitter, if its clock may be off. ``may_miss``: a strike that does
    not come is no failure.

    Splitting them lets all strikes of a tick find their presses before any is blamed.
    """
    name = f"monitor{branch}"
    due = Bank(f"{name}.due", ("output", "total", "width"))
    stray = Signal(f"{name}.stray", ("output",))
    memory: list[Number | Timer | Bank] = [due]
    pressed, struck, entry = PRESS.occurrence("p"), strike(branch).occurrence("s"), due.entry("d")

    index = pressed["input"]
    latest: ex.Int = ex.Lookup(windows.latest, index)
    width = tuple(b - a for a, b in zip(windows.earliest, windows.latest, strict=True))
    wide: ex.Int = ex.Lookup(width, index)
    extra: ex.Int = ex.Constant(0)
    if windows.slopes is not None and pace is not None:
        sooner, later = windows.slopes
        wider = tuple(b - a for a, b in zip(sooner, later, strict=True))
        latest += ex.Times(ex.Lookup(later, index), pace)
        wide += ex.Times(ex.Lookup(wider, index), pace)
    if windows.shift:
        shift = unknown(f"{name}.shift", 0, windows.shift)
        memory.append(shift)
        latest, extra = latest - shift.read(), shift.read()
    output = ex.Lookup(order, index)
    plain = due.put(latest, output, latest, wide)
    on_press: tuple[Statement, ...] = (plain,)
    if windows.queue is not None:
        # An ideal queue, from presses alone: the sends not yet over, and when the last will be.
        longest = sum(windows.queue.sends) * (windows.queue.places + 1)
        # No clock is looked at on which a send takes more than twice as long.
        backlog = Timer(f"{name}.backlog", longest if pace is None else 2 * longest)
        ahead = Bank(f"{name}.ahead", ())
        memory += [backlog, ahead]
        send: ex.Int = ex.Lookup(windows.queue.sends, index)
        over = backlog.left + (send if pace is None else ex.Times(send, pace))
        late = latest + backlog.left
        held = due.put(late, output, late, wide + backlog.left)
        room = ahead.size() <= windows.queue.places
        on_press = (
            First(
                (
                    Rule("held back", room, (held, ahead.put(over), backlog.start(over))),
                    Rule("no place", ex.Truth(True), (plain,)),
                )
            ),
        )

    oldest = entry["output"].eq(struck["output"]) & (entry.left <= entry["width"])
    if windows.queue is not None:
        # Of one input's presses those that waited are due later than younger ones that found
        # no place; else the soonest due is the oldest.
        older = due.entry("older")
        before = older["total"] - older.left > entry["total"] - entry.left
        due_too = older["output"].eq(entry["output"]) & (older.left <= older["width"])
        oldest &= ~ex.Exists(due, "older", due_too & before)

    match = Machine(
        name,
        tuple(memory),
        (
            Each(PRESS, "p", on_press),
            Each(
                strike(branch),
                "s",
                (
                    Earliest(
                        due,
                        "d",
                        oldest,
                        (
                            entry.take(),
                            delivered(branch).emit(
                                ex.Lookup(_inverse(order), entry["output"]),
                                entry["total"] - entry.left + extra,
                            ),
                        ),
                        (stray.emit(struck["output"]),),
                    ),
                ),
            ),
        ),
    )
    return match, _judge(branch, due, stray, may_miss)


def build_level(
    branch: int,
    windows: Windows,
    order: tuple[int, ...],
    watched: int,
    armed: Signal | None = None,
    may_miss: bool = False,
) -> Machine:
    """The machine that watches the output of one lever, number ``watched``, on one branch.

    Whenever the lever has been still for the longest time that a lone change takes, the
    output must show its position. Before that it may show either: both were the lever's
    within that time.

    ``armed``: from then on only it counts what goes wrong; an output that has been wrong till
    now is then complained of when it comes right, too. ``may_miss``: an output that stays off
    is no failure.
    """
    output = order[watched]
    name = f"monitor{branch}.{watched}"
    latest = windows.latest[watched]
    up, shown = flag(f"{name}.up"), flag(f"{name}.shown")
    still = Timer(f"{name}.still", max(1, ceil(latest)))
    memory: list[Number | Timer] = [up, shown, still]
    wait: ex.Int = ex.Constant(latest)
    if windows.shift:
        shift = unknown(f"monitor{branch}.shift", 0, windows.shift)
        memory.append(shift)
        wait = wait - shift.read()
    body: list[Statement] = []
    moved, showed = flag(f"{name}.moved"), flag(f"{name}.showed")
    memory += [moved, showed]
    for signal, bound, place, what in (
        (PRESS, "p", watched, (up.put_up(), still.start(wait), moved.put_up())),
        (RELEASE, "r", watched, (up.put_down(), still.start(wait), moved.put_up())),
        (rest(branch), "o", output, (shown.put_down(), showed.put_up())),
        (strike(branch), "s", output, (shown.put_up(), showed.put_up())),
    ):
        field = signal.occurrence(bound)[signal.fields[0]]
        body.append(Each(signal, bound, (Rule("mine", field.eq(place), what),)))
    differs = up.read().ne(shown.read())
    if may_miss:
        differs = shown.up() & ~up.up()
    event = (
        PRESS.happens()
        | RELEASE.happens()
        | rest(branch).happens()
        | strike(branch).happens()
        | still.expires()
    )
    fail = failure(branch)
    lasting: tuple[Statement, ...] = ()
    still_wrong: tuple[Statement, ...] = ()
    if armed is not None:
        event |= armed.happens()
        wrong = flag(f"{name}.wrong")
        memory.append(wrong)
        complaint = fail.emit(Kind.LOST, output, output)
        lasting = (
            Rule("wrong till now", wrong.up() & ~armed.happens(), (complaint,)),
            wrong.put_down(),
        )
        still_wrong = (Rule("wrong", ~still.running() & differs, (wrong.put_up(),)),)
    latency = ex.Constant(latest) - still.left
    body.append(
        Rule(
            "something happened",
            event,
            (
                *lasting,
                First(
                    (
                        Rule(
                            "moved when still",
                            ~still.running() & differs & showed.up() & ~moved.up(),
                            (fail.emit(Kind.GHOST, output, output),),
                        ),
                        Rule(
                            "not yet there",
                            ~still.running() & differs,
                            (fail.emit(Kind.LOST, output, output),),
                        ),
                        Rule(
                            "there",
                            showed.up() & up.read().eq(shown.read()),
                            (delivered(branch).emit(watched, latency),),
                        ),
                    )
                ),
                *still_wrong,
                moved.put_down(),
                showed.put_down(),
            ),
        )
    )
    return Machine(name, tuple(memory), tuple(body))


def _inverse(order: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(order.index(output) for output in range(len(order)))


def _judge(branch: int, due: Bank, stray: Signal, may_miss: bool) -> Machine:
    entry, other, output = due.entry("e"), due.entry("o"), stray.occurrence("x")["output"]
    fail = failure(branch)
    blame = Earliest(
        due,
        "o",
        other["output"].ne(output) & (other.left <= other["width"]),
        (fail.emit(Kind.WRONG_OUTPUT, other["output"], output),),
        (fail.emit(Kind.GHOST, -1, output),),
    )
    lost = fail.emit(Kind.LOST, entry["output"], -1)
    missed = () if may_miss else (Each(due, "e", (lost,), expired=True),)
    return Machine(f"monitor{branch}.judge", (), (Each(stray, "x", (blame,)), *missed))
