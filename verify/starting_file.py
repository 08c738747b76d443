"""A link file to start from: every key explained, with its default."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from textwrap import fill

from verify.errors import UsageError

_NOTES = "cdefgab"
_MOST_NAMED = 4 * len(_NOTES)
_MOST_NUMBERED = 20
_MOST_INPUTS = 100_000  # as in verify.linkfile, which takes longer to load

_TOP = """\
# A clock tower's carillon: {keys} below, {bells} above, {lines} up the tower.
# Every key is here. Those behind a "#" are optional and show their defaults (or name
# them, where there is no value to show).
#
# A time is a whole number of ticks, or a quoted duration of a whole number of ticks,
# such as "1.2 s", "104 us", "20 ns" or "2 min".

tick = "50 ms"        # length of a tick; required
name = "carillon"     # default: the name of the file
# start = "any"       # power-up finds the machines in any state; default: as when new

[inputs]              # one output per input
"""

_COUNT = """\
count = {inputs:<14}# how many; "names" may stand here instead
{kind}
"""

_NAMES = """\
{names}
{kind}
"""

_KIND = {
    "press": '# kind = "press"      # momentary: each press gives one strike of its output',
    "level": '# kind = "level"      # levers: the output follows the position',
}

_WIRE_PER_INPUT = """
[link]
scheme = "wire-per-input"  # every input has a line of its own; required
"""

_PULSE_GAP = """
[link]
scheme = "pulse-gap"  # two pulses on one line, the gap picks the output; required
# Time from rise to rise, one per input, each longer than "pulse"; required.
{gaps}
# pulse = 1           # width of a pulse
# window = 0          # accepted deviation either side of a gap; or a list, one per gap,
                      # each one time or [before, after]
# busy = "overlay"    # a press while sending: "overlay" sends it anyway,
                      # "ignore" drops it, "queue" keeps it until the line is free
# depth = 1           # presses kept, 1 to 64; only with busy = "queue"
# receiver = "timer"  # "timer" measures from a rise to the next and starts afresh;
                      # "taps" strikes whenever the line also rose a gap ago
# on_miss = "disarm"  # after a gap not listed: "disarm" waits for a new first pulse,
                      # "rearm" takes this rise for one; only with receiver = "timer"
"""

_PARALLEL_CODE = """
[link]
scheme = "parallel-code"  # every input drives its own lines while held; required
# Per input the lines it drives: a number, or a digit per line, like "0101"; not 0, which
# is idle. Lines are high that any input drives. Default: 1, 2, 3, ...
{codes}
# lines = {width:<12}# default: as many as the codes need
# settle = 0          # how long the lines must be steady before the receiver believes them
# reads = "exact"     # an output is on while the lines show its code and no other line;
                      # "covered": while they show all lines of its code; "sets": while
                      # they show what up to so many inputs show together, it among them:
# held = 2            # so many; only with reads = "sets"
"""

_FRAMED_SERIAL = """
[link]
scheme = "framed-serial"  # a start pulse, then the bits of a code; required
bit = {bit:<16}# length of a bit, and of the start pulse; required
# Per input its code: a number, or a digit per bit, like "0101", the last digit being sent
# first. Default: 0, 1, 2, ...
{codes}
# width = {width:<12}# bits of a code; default: as many as the codes need
# sample = {sample:<11}# start edge to first sample, then one a bit; default: mid-bit
# stop = 1            # bits of idle line that end a frame, 0 to 8
# leader = {bit:<11}# length of the start pulse; default: a bit
# framing = false     # true: the receiver looks at the first stop bit, and drops the
                      # frame if the line is not idle there
# oversample = {bit:<7}# receiver clocks to a bit; default: one per tick
# edge = [0, 0]       # receiver clocks by which it takes the start edge to be late; or n
                      # for [0, n]; below 0: early; anew for each frame
# votes = 1           # or 3: samples of a bit, a clock apart; the majority counts
# busy = "overlay"    # a press while sending: "overlay" sends it anyway,
                      # "ignore" drops it, "queue" keeps it until the line is free
# depth = 1           # presses kept, 1 to 64; only with busy = "queue"
"""

_SCAN = """
[link]
scheme = "{scheme}"  # both ends step through the inputs, a slot each; required
slot = {slot:<15}# length of a slot; required
# sample = {sample:<11}# from the receiver's slot to its sample; default: the middle
# align = 0           # lag of the receiver's slots; default: the line's delay
"""

_OWN = """
[link]
scheme = "own"        # the machines at the two ends are below: fewwire manual own_machines
# lines = 1           # how many
# python = "ends.py"  # a file with the machines instead of the tables below; --allow-code
# queue = {{ sends = "width", places = 1 }}  # presses may wait; how long each send takes
# What the machines know: times, numbers, lists of these. Here how long a pulse of each
# input is, 2, 4, 6, ... ticks.
tables.width = {width}

[transmitter]         # presses in, edges out
# modes, flags, numbers, banks, signals, let, wires and possible: see the manual
timers.high = "max(width)"  # off at power-up; the longest that it may run

[[transmitter.rules]]
name = "pulse over"   # for people
when = "high.ends"    # the guard: what must be so in this tick
do = ["line.down()"]  # what is then done

[[transmitter.rules]]
name = "pulse begins"  # one rule per reason to act
each = "press"        # for every input that is pressed in this tick; "input" is its number
when = "not high.runs and not high.ends"  # else the press is lost
do = ["line.up()", "high.start(width[input])"]  # one after the other

[receiver]            # edges in, strikes out; keys as above
timers.clock = "max(width) + 1"  # longer than any pulse

[[receiver.rules]]
name = "pulse begins"  # measured from here
when = "line.rises"   # at the receiver's end
do = ["clock.start(max(width) + 1)"]  # runs down to 0

[[receiver.rules]]
name = "pulse over"   # of which input was it?
when = "line.falls"   # at the receiver's end
do = ["strike(find(width, max(width) + 1 - clock.left))"]  # none fits: no output
"""

_SPACING = (
    "# least time between any two presses; default 0",
    "# least time between any two presses",
)

_ORDER = """
[outputs]
# The output that each input in turn operates, by name or number; default:
# its own{example}.
{order}
# may_miss = false    # true: an output that stays off is no failure
"""

_REST = """
[line]
# delay = 0           # or [least, most]: one delay in this range, not known which
# branches = [0]      # extra delay of each branch, one receiver at the end of each
# jitter = 0          # each edge may be late by up to this much
# skew = 0            # largest difference between two lines' delays; needs two lines
# shortest = 0        # shorter pulses do not arrive; above 1, delay must be as long

{clock}
[operator]            # how the inputs may be used
{spacing}
# repeat = 0          # least time between {changes} of the same input
# together = false    # true: {changes} in the same tick count as one
{overlap}# how many inputs may be on at once; default: all of them
{held}
[parts]               # for `fewwire sheet` only
# delays = [1]        # sizes of the delay elements that there are to build with
"""

_NO_CLOCK = """\
[clock]               # no keys: the transmitter of this scheme has no clock

[pause]               # no keys: there is no clock to stand still
"""

_PAUSE = """
[pause]               # the clock of one end stands still, any time
# most = 2            # for up to this long; default: never
# times = 1           # how often in a run
# end = "either"      # or "transmitter", or "receiver"
"""

_CLOCK = """\
[clock]               # the transmitter's
# rate = 0            # off by a constant, unknown: "2 %" is [-0.02, 0.02]; slow is above 0
# wander = 0          # each of its periods may differ by up to this much
"""

_OFFSET = """\
# offset = 0          # the receiver's clock starts up to this much away
"""

_HELD = """\
# hold = 1            # how long an input stays pressed; or [least, most]
# within = [0, 100]   # when a strike is due after its press; default: as for a lone press
"""


def starting_file(scheme: str = "pulse-gap", inputs: int = 7) -> str:
    """A commented link file that ``verify.linkfile`` accepts and that holds.

    Raises UsageError for an unknown scheme, or fewer than 1 or more than 100000 inputs.
    """
    if not 1 <= inputs <= _MOST_INPUTS:
        raise UsageError(f"found {inputs} inputs; allowed: 1 to {_MOST_INPUTS}")
    if scheme not in _WRITERS:
        raise UsageError(f'found scheme "{scheme}"; allowed: {_ALLOWED}')
    part = _WRITERS[scheme](inputs)
    keys, bells = ("one key", "one bell") if inputs == 1 else (f"{inputs} keys", f"{inputs} bells")
    if inputs <= _MOST_NAMED:
        notes = _list("names", [f'"{n}"' for n in _names(inputs)])
        names = _NAMES.format(names=notes, kind=_KIND[part.kind])
    else:
        names = _COUNT.format(inputs=inputs, kind=_KIND[part.kind])
    lines = "one line" if part.lines == 1 else f"{part.lines} lines"
    return "".join(
        (
            _TOP.format(keys=keys, bells=bells, lines=lines),
            names,
            _order(inputs),
            part.link,
            _REST.format(
                clock=part.clock + (_PAUSE if part.clock != _NO_CLOCK else ""),
                spacing=_bound("spacing", part.spacing, 0)
                + _SPACING[part.spacing == 0].replace("presses", part.changes),
                changes=part.changes,
                overlap=_bound("overlap", part.overlap or inputs, inputs),
                held=_HELD if part.kind == "press" else "",
            ),
        )
    )


@dataclass(frozen=True)
class _Part:
    """What depends on the scheme: its table, its lines, and bounds under which it holds.

    ``overlap`` None: no bound.
    """

    link: str
    lines: int = 1
    spacing: int = 0
    overlap: int | None = None
    kind: str = "press"
    clock: str = _NO_CLOCK

    @property
    def changes(self) -> str:
        """What the inputs do, in words."""
        return "presses" if self.kind == "press" else "moves"


def _pulse_gap(inputs: int) -> _Part:
    gaps = [str(gap) for gap in range(2, 2 * inputs + 1, 2)]
    link = _PULSE_GAP.format(gaps=_list("gaps", gaps))
    return _Part(link, spacing=2 * inputs + 2, clock=_CLOCK)


def _wire_per_input(inputs: int) -> _Part:
    return _Part(_WIRE_PER_INPUT, lines=inputs)


def _parallel_code(inputs: int) -> _Part:
    lines = inputs.bit_length()
    codes = _list("codes", [str(code) for code in range(1, inputs + 1)])
    # Codes of keys held together would add up to those of others.
    return _Part(_PARALLEL_CODE.format(codes=codes, width=lines), lines=lines, overlap=1)


def _framed_serial(inputs: int) -> _Part:
    bit, width = 2, max(1, (inputs - 1).bit_length())
    codes = _list("codes", [str(code) for code in range(inputs)])
    link = _FRAMED_SERIAL.format(codes=codes, width=width, bit=bit, sample=bit + bit // 2)
    frame = (1 + width + 1) * bit  # start, code, stop
    return _Part(link, spacing=frame, clock=_CLOCK)


def _own(inputs: int) -> _Part:
    width = '"[2 * i + 2 for i in range(inputs)]"'
    # A tick low between two pulses, or they would be one.
    return _Part(_OWN.format(width=width), spacing=2 * inputs + 1, clock=_CLOCK)


def _scan(scheme: str, lines: int) -> _Part:
    slot = 4
    link = _SCAN.format(scheme=scheme, slot=slot, sample=slot // 2)
    return _Part(link, lines=lines, kind="level", clock=_CLOCK + _OFFSET)


_WRITERS: dict[str, Callable[[int], _Part]] = {
    "pulse-gap": _pulse_gap,
    "wire-per-input": _wire_per_input,
    "parallel-code": _parallel_code,
    "framed-serial": _framed_serial,
    "free-scan": lambda inputs: _scan("free-scan", 1),
    "synced-scan": lambda inputs: _scan("synced-scan", 2),
    "own": _own,
}
_ALLOWED = " or ".join((", ".join(f'"{s}"' for s in [*_WRITERS][:-1]), f'"{[*_WRITERS][-1]}"'))


def _bound(key: str, value: int, default: int) -> str:
    """A key of the operator with room for a comment, itself one if it shows the default."""
    return f"{'# ' * (value == default)}{key} = {value}".ljust(22)


def _order(inputs: int) -> str:
    if inputs <= _MOST_NUMBERED:
        numbers = ", ".join(str(i + 1) for i in range(inputs))
        return _ORDER.format(order=f"# order = [{numbers}]", example="")
    return _ORDER.format(order="# order = [2, 1, 3]", example=" (here an order of three)")


def _names(inputs: int) -> list[str]:
    if inputs <= len(_NOTES):
        return list(_NOTES[:inputs])
    return [f"{_NOTES[i % len(_NOTES)]}{i // len(_NOTES) + 1}" for i in range(inputs)]


def _list(key: str, entries: list[str]) -> str:
    line = f"{key} = [{', '.join(entries)}]"
    if len(line) <= 90:
        return line
    body = fill(", ".join(entries), 90, initial_indent="    ", subsequent_indent="    ")
    return f"{key} = [\n{body},\n]"
