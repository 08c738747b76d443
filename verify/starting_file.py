"""A link file to start from: every key explained, with its default."""

from __future__ import annotations

from textwrap import fill

from verify.errors import UsageError

_NOTES = "cdefgab"
_MOST_NAMED = 4 * len(_NOTES)
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

[inputs]              # one output per input
"""

_COUNT = """\
count = {inputs:<14}# how many; "names" may stand here instead
# kind = "press"      # momentary: each press gives one strike of its output
"""

_NAMES = """\
{names}
# kind = "press"      # momentary: each press gives one strike of its output
"""

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
# window = 0          # accepted deviation either side of a gap; or a list, one per gap
# busy = "overlay"    # a press while sending: "overlay" sends it anyway,
                      # "ignore" drops it, "queue" keeps it until the line is free
# depth = 1           # presses kept, 1 to 64; only with busy = "queue"
# receiver = "timer"  # "timer" measures from a rise to the next and starts afresh;
                      # "taps" strikes whenever the line also rose a gap ago
# on_miss = "disarm"  # after a gap not listed: "disarm" waits for a new first pulse,
                      # "rearm" takes this rise for one; only with receiver = "timer"
"""

_REST = """
[line]
# delay = 0           # or [least, most]: one delay in this range, not known which
# branches = [0]      # extra delay of each branch, one receiver at the end of each

[clock]               # no keys: with this scheme both ends run on one clock

[operator]            # how the inputs may be used
{spacing}
# repeat = 0          # least time between presses of the same input
# hold = 1            # how long an input stays pressed; or [least, most]
# overlap = {inputs:<10}# how many inputs may be held at once; default: all of them
# within = [0, 100]   # when a strike is due after its press; default: as for a lone press
"""


def starting_file(scheme: str = "pulse-gap", inputs: int = 7) -> str:
    """A commented link file that ``verify.linkfile`` accepts and that holds.

    Raises UsageError for an unknown scheme, or fewer than 1 or more than 100000 inputs.
    """
    if not 1 <= inputs <= _MOST_INPUTS:
        raise UsageError(f"found {inputs} inputs; allowed: 1 to {_MOST_INPUTS}")
    keys, bells = ("one key", "one bell") if inputs == 1 else (f"{inputs} keys", f"{inputs} bells")
    if scheme == "pulse-gap":
        lines, link = "one line", _PULSE_GAP.format(gaps=_list("gaps", _gaps(inputs)))
        safe = 2 * inputs + 2
        spacing = f"spacing = {safe:<12}# least time between any two presses; default 0"
    elif scheme == "wire-per-input":
        lines = "one line" if inputs == 1 else f"{inputs} lines"
        link = _WIRE_PER_INPUT
        spacing = "# spacing = 0         # least time between any two presses"
    else:
        raise UsageError(f'found scheme "{scheme}"; allowed: "pulse-gap" or "wire-per-input"')
    if inputs <= _MOST_NAMED:
        names = _NAMES.format(names=_list("names", [f'"{n}"' for n in _names(inputs)]))
    else:
        names = _COUNT.format(inputs=inputs)
    top = _TOP.format(keys=keys, bells=bells, lines=lines)
    return top + names + link + _REST.format(spacing=spacing, inputs=inputs)


def _names(inputs: int) -> list[str]:
    if inputs <= len(_NOTES):
        return list(_NOTES[:inputs])
    return [f"{_NOTES[i % len(_NOTES)]}{i // len(_NOTES) + 1}" for i in range(inputs)]


def _gaps(inputs: int) -> list[str]:
    return [str(gap) for gap in range(2, 2 * inputs + 1, 2)]


def _list(key: str, entries: list[str]) -> str:
    line = f"{key} = [{', '.join(entries)}]"
    if len(line) <= 90:
        return line
    body = fill(", ".join(entries), 90, initial_indent="    ", subsequent_indent="    ")
    return f"{key} = [\n{body},\n]"
