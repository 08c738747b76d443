"""Machines of one's own: read from a link file, they are judged like those that are built in."""

from __future__ import annotations

import pickle
import time
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

import models
import verify
from models.own import Own
from models.parameters.own import EndTable, OwnParameters, RuleTable
from models.pulse_gap import PulseGap
from models.wire_per_input import WirePerInput
from tests import twins
from tests.links import make_link
from verify.allowed_code import allow
from verify.cli import main
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.trace import Press, Script
from verify.errors import LinkFileError, UsageError
from verify.language import expressions as ex
from verify.language.machine import Rule, walk
from verify.language.ranges import narrowed, range_of
from verify.language.state import Start, number
from verify.linkfile import load, parse
from verify.parts.clock import Clock
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.pause import End, Pause
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Judgement, Subject, judge
from verify.questions.latency import latencies
from verify.questions.machine_faults import machine_faults
from verify.questions.rate_margin import rate_side
from verify.questions.spacing import least_spacing
from verify.reports.inside import inside_rows
from verify.reports.mode_graph import groups
from verify.reports.words import failure_sentence

ENGINES: list[EngineName] = ["explorer", "zones", "solver"]


def pulse_gap(scheme: PulseGap, spacing: int) -> Link:
    """The twin of a scheme, with deviations alike on either side and for all gaps."""
    window = scheme.window[0]
    assert isinstance(window, int)
    queue = '[link.queue]\nsends = "[g + {} + 1 for g in {}]"\nplaces = 1'
    text = twins.PULSE_GAP.format(
        inputs=scheme.inputs,
        gaps=list(scheme.gaps),
        pulse=scheme.pulse,
        before=window,
        after=window,
        sender=twins.OVERLAY if scheme.busy == "overlay" else twins.QUEUE,
        receiver=twins.TIMER if scheme.receiver_kind == "timer" else twins.TAPS,
        queue=queue.format(scheme.pulse, list(scheme.gaps)) if scheme.busy == "queue" else "",
        spacing=spacing,
    )
    return renamed(parse(text, "twin.toml"))


def renamed(link: Link) -> Link:
    return replace(link, name="test", names=tuple(f"k{i + 1}" for i in range(link.inputs)))


def verdict_of(link: Link, engine: EngineName) -> Judgement:
    return judge(Subject(link), engine, Progress(), budget=Budget(20))


def answers(link: Link) -> dict[str, object]:
    """What is said of a link: verdicts and traces of all engines, spacing, latencies."""
    found: dict[str, object] = {}
    for engine in ENGINES if link.scheme.queue is None else ENGINES[:1]:
        judged = verdict_of(link, engine)
        found[engine] = judged.verdict, judged.trace
    spacing = least_spacing(Subject(link), "explorer", Progress(), Budget(20))
    found["spacing"] = spacing.ticks, spacing.verdict, spacing.trace_below
    times = latencies(Subject(link), "explorer", Progress(), Budget(20))
    found["latency"] = [(row.name, row.best, row.worst) for row in times.inputs]
    return found


@pytest.mark.parametrize(
    ("scheme", "spacing"),
    [
        (PulseGap((2, 4, 6), 1, (0, 0, 0)), 8),
        (PulseGap((2, 4, 6), 1, (0, 0, 0)), 3),
        (PulseGap((4, 8), 2, (1, 1), receiver_kind="taps"), 10),
        (PulseGap((3, 6), 1, (1, 1), busy="queue"), 8),
        (PulseGap((3, 6), 1, (1, 1), busy="queue"), 4),
    ],
)
def test_pulse_gap_written_in_a_file_is_pulse_gap(scheme: PulseGap, spacing: int) -> None:
    own = pulse_gap(scheme, spacing)
    assert isinstance(own.scheme, Own)

    assert answers(own) == answers(make_link(scheme, Operator(spacing=spacing)))


@pytest.mark.parametrize("kind", ["press", "level"])
def test_wire_per_input_written_in_a_file_is_wire_per_input(kind: str) -> None:
    hold = "hold = [2, 3]\n" if kind == "press" else ""
    for faults, line, repeat in (
        (Faults(), "", 0),
        (Faults(jitter=1), "jitter = 1", 6),
    ):
        text = twins.WIRES.format(
            inputs=2, kind=kind, line=line, operator=f"repeat = {repeat}\n{hold}"
        )
        operator = Operator(repeat=repeat, hold=(2, 3) if hold else (1, 1))
        built_in = make_link(WirePerInput(2), operator, faults=faults, kind=kind)
        # The one is judged wire by wire, the other as a whole; both say the same.
        own = renamed(parse(text, "t"))
        for engine in ENGINES[:2]:
            mine, theirs = (verdict_of(link, engine) for link in (own, built_in))
            assert mine.verdict is theirs.verdict
            assert (mine.trace is None) == (theirs.trace is None)


@pytest.mark.parametrize(
    "change",
    [
        {"branches": (0, 2), "delay": (1, 3)},
        {"faults": Faults(jitter=1)},
        {"pause": Pause(2, 1, End.RECEIVER)},
        {"clock": Clock(wander=1)},
    ],
)
def test_disturbances_break_both_alike(change: dict[str, Any]) -> None:
    scheme = PulseGap((3, 6), 1, (1, 1))
    own, built_in = pulse_gap(scheme, 8), make_link(scheme, Operator(spacing=8))

    mine, theirs = (verdict_of(replace(x, **change), "explorer") for x in (own, built_in))

    assert mine.verdict is theirs.verdict
    if mine.trace is not None and theirs.trace is not None:
        assert (mine.trace.events, mine.trace.failure) == (
            theirs.trace.events,
            theirs.trace.failure,
        )


def test_the_rate_of_the_clock_needs_no_word_in_the_file() -> None:
    scheme = PulseGap((8, 16), 2, (1, 1))
    mine, theirs = (
        rate_side(link, 1, Progress(), Budget(20))
        for link in (pulse_gap(scheme, 40), make_link(scheme, Operator(spacing=40)))
    )
    # The longer gap comes when its window ends: 16 * (1 + e) = 17.
    assert (mine.amount, mine.holds) == (theirs.amount, theirs.holds) == (Fraction(1, 16), True)


# -- what is refused ------------------------------------------------------------------

SMALL = """
tick = "10 ms"
[inputs]
count = 2
[link]
scheme = "own"
LINK
[link.tables]
width = [2, 4]
TABLES
[transmitter]
modes.state = ["idle", "sending"]
timers.high = 4
numbers.n = [0, 3]
banks.many = { at = [0, 3] }
SENDS
[[transmitter.rules]]
name = "over"
when = "high.ends"
do = ["line.down()"]
[[transmitter.rules]]
each = "press"
when = "not high.runs and not high.ends"
do = ["line.up()", "high.start(width[input])"]
SENDER
[receiver]
timers.clock = 6
RECEIVES
[[receiver.rules]]
when = "line.rises"
do = ["clock.start(6)"]
[[receiver.rules]]
when = "line.falls"
do = ["strike(find(width, 6 - clock.left))", "clock.stop()"]
RECEIVER
"""
PLACES = ("LINK", "TABLES", "SENDS", "SENDER", "RECEIVES", "RECEIVER")
RULE = "[[transmitter.rules]]\n"
THIRD = "transmitter.rules[2]"


def small(**parts: str) -> str:
    text = SMALL
    for place in PLACES:
        text = text.replace(f"\n{place}\n", f"\n{parts.get(place, '')}\n")
    return text


def refused(text: str) -> LinkFileError:
    begun = time.monotonic()
    with pytest.raises(LinkFileError) as error:
        parse(text, "own.toml")
    assert time.monotonic() - begun < 10
    message = str(error.value)
    assert "\n" not in message
    assert len(message) < 700
    return error.value


def sender(when: str = "high.ends", do: str = "high.stop()", **more: str) -> dict[str, str]:
    keys = "".join(f'{key} = "{value}"\n' for key, value in more.items())
    return {"SENDER": f'{RULE}{keys}when = "{when}"\ndo = ["{do}"]'}


@pytest.mark.parametrize(
    ("parts", "key", "found"),
    [
        (sender("high.ends and"), f"{THIRD}.when", "no expression at column 14"),
        (sender("hihg.ends"), f"{THIRD}.when", "'hihg' at column 1"),
        (sender("high.done"), f"{THIRD}.when", "'high.done' at column 1"),
        (sender("(lambda: 1)()"), f"{THIRD}.when", "'lambda: 1' (lambda) at column 2"),
        (sender("__import__('os')"), f"{THIRD}.when", "'__import__('os')' at column 1"),
        (sender("high.left.real > 1"), f"{THIRD}.when", "'high.left.real' at column 1"),
        (sender("n ** 2 > 1"), f"{THIRD}.when", "'n ** 2' (pow) at column 1"),
        (sender("n == 1.5"), f"{THIRD}.when", "'1.5' at column 6"),
        (sender("n > 1"), THIRD, "a rule that nothing sets off"),
        (sender("state == busy and high.ends"), f"{THIRD}.when", "'busy' at column 10"),
        (sender("line.rises"), f"{THIRD}.when", "'line.rises' at column 1"),
        (sender("line[1].high"), f"{THIRD}.when", "index 1 at column 6"),
        (sender("high.ends and pick(0, 1) == 1"), f"{THIRD}.when", "pick in a guard at column 15"),
        (sender(do="strike(0)"), f"{THIRD}.do[0]", "'strike(0)' at column 1"),
        (sender(do="high.start(5)"), f"{THIRD}.do[0]", "'5', which may be 5 at column 12"),
        (sender(do="high.start(n - 1)"), f"{THIRD}.do[0]", "'n - 1', which may be -1 at column 12"),
        (sender(do="high.start('15 ms')"), f"{THIRD}.do[0]", "''15 ms'' at column 12"),
        (sender(do="n.set(n * high.left)"), f"{THIRD}.do[0]", "'n * high.left' at column 7"),
        (sender(do="n.set(width[0] // 0)"), f"{THIRD}.do[0]", "a division by 0"),
        (sender(do="state.set(idle, sending)"), f"{THIRD}.do[0]", "'state.set(idle, sending)'"),
        (sender(do="many.put(1)"), f"{THIRD}.do[0]", "'many.put(1)' at column 1"),
        (sender(do="n"), f"{THIRD}.do[0]", "'n' at column 1"),
        (sender(each="few"), f"{THIRD}.each", '"few"'),
        ({"SENDER": RULE + "when = 3\ndo = []"}, f"{THIRD}.when", "3"),
        ({"SENDER": RULE + "if = 3\ndo = []"}, f"{THIRD}.if", "a key that is not known"),
        ({"SENDER": RULE + "do = [3]"}, f"{THIRD}.do[0]", "3"),
        ({"SENDER": RULE}, f"{THIRD}.do", "nothing"),
        ({"SENDER": RULE + 'every = { i = "inputs", j = 2 }\ndo = []'}, f"{THIRD}.every", None),
        ({"SENDER": RULE + "every = { high = 2 }\ndo = []"}, f"{THIRD}.every.high", None),
        ({"SENDS": "timers.input = 3"}, "transmitter.timers.input", 'the name "input"'),
        ({"SENDS": "timers.n = 3"}, "transmitter.timers.n", 'the name "n"'),
        ({"SENDS": "timers.t = 0"}, "transmitter.timers.t", "0"),
        ({"SENDS": "timer.t = 1"}, "transmitter.timer", "a key that is not known"),
        ({"SENDS": "flags.f = 1"}, "transmitter.flags.f", "1"),
        ({"SENDS": "numbers.k = [3, 1]"}, "transmitter.numbers.k", "[3, 1]"),
        ({"SENDS": 'wires = ["high"]'}, "transmitter.wires", '["high"]'),
        ({"SENDS": 'let.x = "x + 1"\nlet.y = "x"'}, None, None),
        ({"TABLES": 'x = "wide + 1"'}, "link.tables.x", "'wide' at column 1"),
        ({"TABLES": "x = 1.5"}, "link.tables.x", "1.5"),
        ({"TABLES": 'x = "5 ms"'}, "link.tables.x", '"5 ms"'),
        ({"LINK": "lines = 0"}, "link.lines", "0"),
        ({"LINK": 'queue = { sends = "width" }'}, "link.queue", None),
        ({"LINK": "queue = { sends = [1], places = 1 }"}, "link.queue.sends", "1 times"),
        ({"LINK": "gaps = [1]"}, "link.gaps", "an unknown key"),
        (
            {"RECEIVER": '[[receiver.rules]]\nwhen = "line.falls"\ndo = ["strike(7)"]'},
            "receiver.rules[2].do[0]",
            "'7', which is 7 to 7 at column 8",
        ),
        (
            {"RECEIVER": '[[receiver.rules]]\nwhen = "press"\ndo = ["strike(0)"]'},
            "receiver.rules[2].when",
            "'press' at column 1",
        ),
        ({"RECEIVES": 'possible = "clock.left >"'}, "receiver.possible", "no expression"),
    ],
)
def test_what_is_wrong_is_named_with_its_place(
    parts: dict[str, str], key: str | None, found: str | None
) -> None:
    if key is None:  # names that nothing uses are not read
        parse(small(**parts), "own.toml")
        return
    error = refused(small(**parts))
    assert error.key == key
    if found is not None:
        assert found in error.found


@pytest.mark.parametrize(
    ("change", "key", "allowed"),
    [
        ({"LINK": 'lines = "20 ms"'}, "link.lines", "a whole number, or an expression in quotes"),
        (
            {"RECEIVES": 'flags.far = { start = false, count = "20 ms" }'},
            "receiver.flags.far.count",
            "a whole number, or an expression in quotes, 1 to 10000",
        ),
    ],
)
def test_how_many_there_are_is_no_time(change: dict[str, str], key: str, allowed: str) -> None:
    error = refused(small(**change))
    assert error.key == key
    assert error.found == '"20 ms", a time'
    assert allowed in error.allowed


def test_rules_that_are_no_list_are_told_of_their_own_end() -> None:
    text = small().replace("[[receiver.rules]]", "[receiver.rules]", 1)
    text = text[: text.index("[[receiver.rules]]")]
    error = refused(text)
    assert error.key == "receiver.rules"
    assert "transmitter" not in error.allowed


def test_tables_of_machines_need_the_scheme() -> None:
    text = (
        small()
        .replace('scheme = "own"', 'scheme = "wire-per-input"')
        .replace("[link.tables]\nwidth = [2, 4]", "")
    )
    assert refused(text).key == "transmitter"
    assert refused(small().replace("[receiver]", "[other]")).key in ("other", "receiver")
    assert (
        refused('tick = "1 s"\n[inputs]\ncount = 1\n[link]\nscheme = "own"\n').key == "transmitter"
    )


HOSTILE = {
    "deep": sender("not " * 400 + "high.ends"),
    "brackets": sender("(" * 900 + "high.ends" + ")" * 900),
    "long": sender("high.ends and n == " + "1" * 3000),
    "digits": sender(do="n.set(" + "9" * 1500 + ")"),
    "shift": {"TABLES": 'x = "1 << 60 << 60"'},
    "range": {"TABLES": 'x = "range(10000000000)"'},
    "product": {"TABLES": 'x = "[a for a in range(9999) for b in range(9999)]"'},
    "squares": {"TABLES": 'x = "[[b for b in range(9999)] for a in range(9999)]"'},
    "doubling": {
        "SENDS": "\n".join(
            ['let.x0 = "high.left"', *(f'let.x{k + 1} = "x{k} + x{k}"' for k in range(60))]
        )
    }
    | sender("high.ends and x60 > 1"),
    "memory": {"SENDS": "timers.t = { most = 1, count = 1000000 }"},
    "unrolled": {
        "SENDER": RULE
        + 'every = { i = 9999 }\nwhen = "high.ends"\ndo = ['
        + '"n.set(1)",' * 9
        + "]"
    },
    "nested": {"SENDER": RULE + 'when = "high.ends"\ndo = [' + "{ do = [" * 40 + "] }" * 40 + "]"},
    "many": sender(do="n.set(" + "+".join(["n"] * 900) + ")"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_texts_are_refused_soon(name: str) -> None:
    refused(small(**HOSTILE[name]))


def test_no_text_is_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not even by what Python does with names and attributes."""
    monkeypatch.setattr("builtins.eval", lambda *_: pytest.fail("eval"))
    for text in ("open('x', 'w')", "().__class__", "n.__class__", "[].append(1)", "'{}'.format(n)"):
        refused(small(**sender(f"high.ends and {text} == 1")))
    assert not list(tmp_path.iterdir())


def test_a_link_that_never_comes_to_rest_is_refused_soon() -> None:
    link = parse(small(**sender(do="high.start(1)")), "own.toml")
    begun = time.monotonic()
    with pytest.raises(UsageError, match="does not come to rest"):
        Subject(link).windows  # noqa: B018 - asks for it
    assert time.monotonic() - begun < 20
    doubling = sender("many.ends", "many.put(1, 0)") | {
        "SENDS": "",
        "SENDER": RULE
        + 'each = "press"\ndo = ["many.put(1, 0)"]\n'
        + RULE
        + 'each = "many.ends"\ndo = ["many.put(1, 0)", "many.put(1, 1)"]',
    }
    with pytest.raises(UsageError, match="does not come to rest"):
        Subject(parse(small(**doubling), "own.toml")).windows  # noqa: B018


# -- what texts mean ------------------------------------------------------------------


def test_a_number_stays_at_its_bounds() -> None:
    """Of four presses in a row, a number of at most 3 that counts them says 3; three engines."""
    text = small(
        SENDER=RULE
        + 'each = "press"\ndo = ["n.set(n + 2)"]\n'
        + RULE
        + 'when = "press and n == 3"\ndo = ["high.stop()", "line.down()"]'
    )
    link = parse(text, "own.toml").with_operator(spacing=5)
    judged = [verdict_of(link, engine) for engine in ENGINES]
    assert {j.verdict for j in judged} == {Verdict.FAILS}
    for found in judged:
        assert found.trace is not None
        assert len(found.trace.script.presses) == 2


def test_an_index_beyond_a_table_takes_its_end() -> None:
    text = small(
        TABLES="times = [1, 2]", SENDER=RULE + 'when = "press"\ndo = ["high.start(times[n + 7])"]'
    )
    (machine,) = parse(text, "own.toml").scheme.transmitter()
    starts = [s for s in walk(machine.body) if isinstance(s, Start)]
    assert isinstance(starts[-1].length, ex.Lookup)
    assert set(starts[-1].length.table) == {2}


def test_what_a_guard_says_of_a_number_narrows_it() -> None:
    n = number("n", 0, 9)
    assert range_of(n.read() + 1, narrowed({}, n.read() < 4)) == (1, 4)
    assert range_of(n.read(), narrowed({}, ~(n.read() < 4) & n.read().ne(9))) == (4, 8)
    assert range_of(n.read(), narrowed({}, (n.read() < 4) | n.read().eq(7))) == (0, 9)
    # A guard holds until the number is set: the clamp is there after the first action only.
    text = small(
        SENDER=RULE + 'when = "high.ends and n < 3"\ndo = ["n.set(n + 1)", "n.set(n + 1)"]'
    )
    (machine,) = parse(text, "own.toml").scheme.transmitter()
    clamps = [s for s in walk(machine.body) if isinstance(s, Rule) and "at its most" in s.name]
    assert len(clamps) == 1


# -- what is wrong with machines ------------------------------------------------------


def faults_of(text: str) -> set[tuple[str, tuple[str, ...]]]:
    return {(f.kind, f.names) for f in machine_faults(parse(text, "own.toml")).found}


def test_machine_faults_are_named() -> None:
    clean = {("mode", ("state", "sending")), ("timer", ("clock",))}
    assert faults_of(small()) == clean
    two = RULE + 'name = "two"\n'
    for rule, found in (
        ('when = "high.ends and n == 2"\ndo = []', ("rule", ("two",))),
        ('when = "high.ends"\ndo = ["line.up()"]', ("clash", ("over", "two"))),
        ('each = "press"\ndo = ["n.set(input)"]', ("clash", ("two", "two"))),
        ('when = "high.ends"\ndo = ["n.set(n + 2)"]', ("bound", ("n",))),
    ):
        assert found in faults_of(small(SENDER=two + rule)) - clean
    used = two + 'when = "high.ends"\ndo = ["state.set(sending)"]'
    assert faults_of(small(SENDER=used)) == clean - {("mode", ("state", "sending"))}


FLASHES = """
tick = "100 ms"
[inputs]
names = ["fog", "storm"]
[link]
scheme = "own"
lines = 2
[transmitter]
timers.t = 3
flags.busy = false
[[transmitter.rules]]
name = "flash over"
when = "t.ends"
do = ["line[0].down()", "line[1].down()", "busy.set(False)"]
[[transmitter.rules]]
name = "flash"
each = "press"
when = "not t.runs"
do = ["line[0].up()", "line[1].set(input == 1)", "t.start(3)", "busy.set(True)"]
[receiver]
numbers.seen = [0, 3]
timers.quiet = 5
[[receiver.rules]]
name = "count"
when = "line[0].rises or line[1].rises"
do = ["seen.set(seen + 1)", "quiet.start(5)"]
[[receiver.rules]]
name = "silence"
when = "quiet.ends"
do = [AFTER]
[operator]
spacing = SPACING
"""


def clashes_of(after: str, spacing: int) -> list[str]:
    text = FLASHES.replace("AFTER", after).replace("SPACING", str(spacing))
    found = machine_faults(parse(text, "flashes.toml")).found
    return [fault.words for fault in found if fault.kind in ("clash", "bound")]


def test_a_clash_is_told_once_by_the_names_in_the_file_and_whether_inputs_lead_there() -> None:
    # A press in the tick in which the flash before is over; the line rises as the silence ends.
    both = (
        "transmitter: rules 'flash over' and 'flash' clash: in one tick both settle "
        "'line 0', 'busy' and 'line 1', each otherwise; the second counts"
    )
    anew = (
        "receiver: rules 'count' and 'silence' clash: in one tick both settle 'seen', each "
        "otherwise; the second counts"
    )
    never = "; never with this file's operator"
    told = clashes_of('"seen.set(0)"', 3)
    assert [words for words in told if "clash" in words] == [f"{both}.", f"{anew}."]
    told = clashes_of('"seen.set(0)"', 5)
    assert [words for words in told if "clash" in words] == [f"{both}{never}.", f"{anew}."]
    told = clashes_of('"seen.set(0)"', 20)
    assert [words for words in told if "clash" in words] == [f"{w}{never}." for w in (both, anew)]


def test_who_looks_at_a_count_may_begin_anew() -> None:
    for after in (
        '"strike(seen - 1)", "seen.set(0)"',
        '{ when = "seen > 1", do = ["seen.set(0)"] }',
    ):
        assert not [words for words in clashes_of(after, 5) if "'count'" in words]


def test_built_in_machines_have_faults_only_where_the_operator_is_strict() -> None:
    free = make_link(PulseGap((2, 4), 1, (0, 0)))
    assert machine_faults(free).found == ()
    strict = machine_faults(
        load(Path(models.__file__).with_name("links") / "infrared_leaders.toml")
    )
    assert {f.names for f in strict.found} == {("clock",), ("miss",), ("too late",)}
    assert {f.proved for f in strict.found} == {"operator"}


# -- levers -------------------------------------------------------------------------

WEATHERCOCKS = """
tick = "10 ms"
[inputs]
names = ["north", "south"]
kind = "level"
[link]
scheme = "own"
tables.up = [2, 4]
tables.down = [6, 8]
[transmitter]
timers.high = "max(down)"
[[transmitter.rules]]
when = "high.ends"
do = ["line.down()"]
[[transmitter.rules]]
each = "press"
when = "not high.runs and not high.ends"
do = ["line.up()", "high.start(up[input])"]
[[transmitter.rules]]
each = "release"
when = "not high.runs and not high.ends"
do = ["line.up()", "high.start(down[input])"]
[receiver]
timers.clock = 9
let.width = "9 - clock.left"
[[receiver.rules]]
when = "line.rises"
do = ["clock.start(9)"]
[[receiver.rules]]
when = "line.falls"
do = ["strike(find(up, width))", "rest(find(down, width))", "clock.stop()"]
[operator]
spacing = 12
"""


def test_levers_that_take_longer_to_go_down_have_as_long() -> None:
    link = parse(WEATHERCOCKS, "weathercocks.toml")
    subject = Subject(link)
    assert (subject.lone.earliest, subject.lone.latest) == ((2, 4), (6, 8))
    assert judge(subject, "auto", Progress()).verdict is Verdict.HOLDS
    # Levers that may move in one tick fail there; apart they find the line free.
    found = least_spacing(subject, "auto", Progress())
    assert (found.verdict, found.ticks) == (Verdict.HOLDS, 9)


def test_the_graph_shows_no_line_that_moves_without_a_rule() -> None:
    link = parse(WEATHERCOCKS, "weathercocks.toml")
    (group,) = groups(link, ("transmitter",))
    assert all(edge.rules for edge in group.modes.edges)


def test_a_length_that_is_no_outputs_is_told_as_such() -> None:
    # The receiver stops for a tick, so that the mark is measured a tick short.
    text = WEATHERCOCKS + "[pause]\nmost = 1\nend = 'receiver'\n"
    subject = Subject(parse(text, "weathercocks.toml"))
    failed = judge(subject, "auto", Progress()).trace
    assert failed is not None
    told = failure_sentence(failed, subject.link, subject.windows)
    assert ": read as no output that there is; so 'north' was still down" in told
    assert "(" not in told.split(": ", 2)[2]


def test_a_frame_that_was_refused_has_no_stop_bit() -> None:
    """The receiver of biphase mark refuses a sample that it cannot read."""
    link = load(Path(models.__file__).with_name("links") / "biphase_mark_18.toml")
    subject = Subject(replace(link, clock=Clock(wander=3)))
    failed = judge(subject, "auto", Progress()).trace
    assert failed is not None
    assert failed.failure is not None
    assert failed.failure.kind == "framing"
    told = failure_sentence(failed, subject.link, subject.windows)
    assert told.endswith("was due from tick 34 to tick 73: a frame was dropped at tick 36")


def test_flags_are_shown_beside_modes_and_numbers() -> None:
    text = FLASHES.replace("AFTER", '"strike(seen - 1)", "seen.set(0)"').replace("SPACING", "20")
    link = parse(text, "flashes.toml")
    trace = Subject(link).replay(Script((Press(0, 0), Press(20, 0))))
    rows = {row.name: [s.word for s in row.stretches] for row in inside_rows(trace, link)}
    assert rows["sender.busy"] == ["false", "true", "false", "true", "false"]
    assert rows["receiver0.seen"] == ["0", "1", "0", "1", "0"]


# -- schemes in Python ----------------------------------------------------------------

MINE = """
from dataclasses import dataclass
from models.wire_per_input import WirePerInput

@dataclass(frozen=True)
class Mine(WirePerInput):
    pass

def scheme(inputs, tables):
    assert tables == {"lag": 2}
    open(__file__ + ".ran", "w").close()
    return Mine(inputs)
"""


@pytest.fixture
def in_python(tmp_path: Path) -> Path:
    (tmp_path / "mine.py").write_text(MINE)
    file = tmp_path / "link.toml"
    file.write_text(
        'tick = "10 ms"\n[inputs]\ncount = 2\n[link]\nscheme = "own"\npython = "mine.py"\n'
        "[link.tables]\nlag = 2\n"
    )
    return file


def test_python_is_run_only_where_the_command_line_allows_it(in_python: Path) -> None:
    ran = in_python.with_name("mine.py.ran")
    found = CliRunner().invoke(main, ["check", str(in_python)])
    assert found.exit_code == 2
    assert "--allow-code" in found.output
    assert not ran.exists()

    for words in (["--allow-code", "check"], ["check", "--allow-code"]):
        found = CliRunner().invoke(main, [*words, str(in_python)])
        assert found.exit_code == 0, found.output
        assert found.output.startswith("holds:")
    assert ran.exists()

    # Allowed once is not allowed for good.
    assert CliRunner().invoke(main, ["check", str(in_python)]).exit_code == 2


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("x = 1 / 0", "in line 1 (ZeroDivisionError"),
        ("def scheme(inputs, tables): return 3", "returns a int"),
        ("def scheme(", "SyntaxError"),
        ("raise SystemExit(3)", "SystemExit"),
        ("y = 1", "without a function scheme"),
        (MINE.replace("Mine(inputs)", "Mine(inputs + 1)"), "a scheme for 3 inputs"),
    ],
)
def test_python_that_makes_no_scheme_is_refused(in_python: Path, code: str, words: str) -> None:
    in_python.with_name("mine.py").write_text(code)
    found = CliRunner().invoke(main, ["--allow-code", "check", str(in_python)])
    assert found.exit_code == 2
    assert words in found.output
    assert "Traceback" not in found.output


def test_what_is_kept_is_of_the_python_file_too(in_python: Path, tmp_path: Path) -> None:
    words = ["--allow-code", "spacing", str(in_python), "--json", "--resume", str(tmp_path / "k")]
    first, again = (CliRunner().invoke(main, words) for _ in range(2))
    assert first.exit_code == 0, first.output
    assert first.stdout == again.stdout
    assert "resumed" in again.stderr
    in_python.with_name("mine.py").write_text(MINE + "\n")
    other = CliRunner().invoke(main, words)
    assert (other.exit_code, other.stderr.count("\n")) == (2, 1)
    assert "the answers about another link file or Python file; allowed:" in other.stderr


def test_a_scheme_in_python_travels_to_other_processes(in_python: Path) -> None:
    allow(True)
    try:
        scheme = load(in_python).scheme
    finally:
        allow(False)
    again = pickle.loads(pickle.dumps(scheme))
    assert (type(again), again) == (type(scheme), scheme)


def test_the_keys_are_in_the_manual() -> None:
    page = Path(verify.__file__).with_name("manual") / "own_machines.md"
    text = page.read_text()
    for table in (OwnParameters, EndTable, RuleTable):
        for key in table.model_fields:
            assert f"`{key}`" in text, key
