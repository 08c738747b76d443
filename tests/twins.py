"""Built-in schemes written again as machines of a link file."""

from __future__ import annotations

PULSE_GAP = """
tick = "50 ms"
[inputs]
count = {inputs}
[link]
scheme = "own"
{queue}
[link.tables]
gap = {gaps}
pulse = {pulse}
window = "[[g - {before}, g + {after}] for g in gap]"
longest = "max([b for a, b in window]) + 1"
send = "[g + pulse + 1 for g in gap]"

[transmitter]
timers.high = "pulse"
signals = ["begin"]
{sender}

[[transmitter.rules]]
name = "pulse"
when = "begin"
do = ["high.start(pulse)", "line.up()"]

[[transmitter.rules]]
name = "pulse over"
otherwise = true
when = "high.ends"
do = ["line.down()"]

[receiver]
{receiver}

[operator]
spacing = {spacing}
"""

OVERLAY = """
banks.second = {}

[[transmitter.rules]]
each = "press"
do = ["second.put(gap[input])", "begin.emit()"]

[[transmitter.rules]]
each = "second.ends"
do = ["begin.emit()"]
"""

# One send at a time; "place" holds a press that waits.
QUEUE = """
timers.second = "max(gap)"
timers.busy = "max(send)"
numbers.place = [-1, "inputs - 1"]

[[transmitter.rules]]
when = "second.ends"
do = ["begin.emit()"]

[[transmitter.rules]]
name = "next in the queue"
when = "busy.ends and place >= 0"
do = ["busy.start(send[place])", "second.start(gap[place])", "begin.emit()", "place.set(-1)"]

[[transmitter.rules]]
each = "press"
when = "not busy.runs"
do = ["busy.start(send[input])", "second.start(gap[input])", "begin.emit()"]

[[transmitter.rules]]
otherwise = true
when = "place == -1"
do = ["place.set(input)"]
"""

TIMER = """
modes.state = ["disarmed", "armed"]
timers.clock = "longest"
let.output = "find(window, longest - clock.left)"
possible = "state == armed and clock.runs or state == disarmed and not clock.runs"

[[receiver.rules]]
name = "arm"
when = "line.rises and (state == disarmed or clock.ends)"
do = ["state.set(armed)", "clock.start(longest)"]

[[receiver.rules]]
name = "match"
otherwise = true
when = "line.rises and output >= 0"
do = ["strike(output)", "state.set(disarmed)", "clock.stop()"]

[[receiver.rules]]
name = "miss, or too late"
otherwise = true
when = "line.rises or clock.ends"
do = ["state.set(disarmed)", "clock.stop()"]
"""

TAPS = """
banks.rises = {}

[[receiver.rules]]
name = "tap"
each = "rises"
when = "line.rises and find(window, longest - entry.left) >= 0"
do = ["strike(find(window, longest - entry.left))"]

[[receiver.rules]]
name = "remember"
when = "line.rises"
do = ["rises.put(longest)"]
"""

WIRES = """
tick = "50 ms"
[inputs]
count = {inputs}
kind = "{kind}"
[link]
scheme = "own"
lines = "inputs"

[transmitter]
[[transmitter.rules]]
every = {{ i = "inputs" }}
each = "press"
when = "input == i"
do = ["line[i].up()"]

[[transmitter.rules]]
every = {{ i = "inputs" }}
each = "release"
when = "input == i"
do = ["line[i].down()"]

[receiver]
[[receiver.rules]]
every = {{ i = "inputs" }}
when = "line[i].rises"
do = ["strike(i)"]

[[receiver.rules]]
every = {{ i = "inputs" }}
when = "line[i].falls"
do = ["rest(i)"]

[line]
{line}
[operator]
{operator}
"""
