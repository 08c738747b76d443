"""The explorer as generated code, plain and compiled: the same answers as the explorer's own."""

from __future__ import annotations

import importlib.util
from math import lcm
from typing import Any

import pytest
from hypothesis import event, example, given, settings
from hypothesis import strategies as st

from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from tests.links import even_gaps, framed_serials, links, make_link, owns
from verify.engines import explorer, native
from verify.engines.answer import Answer, Budget, Progress, Verdict
from verify.engines.concrete import Compiled, State
from verify.engines.explorer import _Search, explore
from verify.engines.lone import factored_windows
from verify.engines.memory import used
from verify.engines.packed import PackedSearch
from verify.engines.packed_room import BATCH
from verify.engines.packing import Layout, UnpackableError
from verify.language.machine import System
from verify.linkfile import load, parse
from verify.parts.line import Faults
from verify.parts.link import Link, factored
from verify.parts.operator import Operator
from verify.questions.judging import Subject

HELD = make_link(
    PulseGap((2, 4, 6), 1, (0, 0, 0), busy="queue", depth=2),
    Operator(spacing=1, hold=(1, 3), overlap=2),
)
# Few states, at 2.7e9 ticks in the end: further apart than numbers of 32 bits can tell.
TIRED = """
tick = "1 us"
[inputs]
count = 1
[link]
scheme = "own"
[transmitter]
timers.high = 3
numbers.sent = [0, 90]
[[transmitter.rules]]
when = "press and sent < 90"
do = ["line.up()", "high.start(3)", "sent.set(sent + 1)"]
[[transmitter.rules]]
when = "high.ends"
do = ["line.down()"]
[[receiver.rules]]
when = "line.rises"
do = ["strike(0)"]
[operator]
spacing = "30 s"
"""
JITTERY = make_link(ParallelCode((1, 3), 2), Operator(spacing=4), faults=Faults(jitter=1, skew=1))


def system_of(link: Link) -> System:
    subject = Subject(link)
    part = subject.distinct_parts()[0][0]
    windows = next(iter(factored_windows(part.link, subject.lone_for(part))))
    return factored(part.link, windows, lcm(part.link.clock.resolution, windows.resolution))


def both(
    system: System, states: int | None, latencies: bool, fast: bool
) -> tuple[tuple[Answer, Progress], tuple[Answer, Progress]]:
    compiled = Compiled(system)
    own, packed = Progress(), Progress()
    expected = _Search(compiled, Budget(None, states), own, latencies).run()
    found = PackedSearch(compiled, Budget(None, states), packed, latencies, fast=fast).run()
    return (found, packed), (expected, own)


@given(st.one_of(links(), links(framed_serials()), links(owns())), st.booleans())
@example(HELD, True)
@example(JITTERY, True)
@example(JITTERY, False)
@settings(max_examples=60, deadline=None)
def test_generated_code_answers_as_the_explorer_does(link: Link, latencies: bool) -> None:
    try:
        found, expected = both(system_of(link), 400, latencies, fast=False)
    except UnpackableError as error:
        event(f"not packed: {error}")
        return
    event(found[0].verdict.value)

    assert found == expected


class _InOrder(_Search):
    """Notes every state that it keeps."""

    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.order: list[State] = []

    def _covered(self, state: State) -> bool:
        covered = super()._covered(state)
        if not covered:
            self.order.append(state)
        return covered


@given(st.one_of(links(), links(framed_serials()), links(owns())), st.booleans())
@example(HELD, True)
@example(JITTERY, False)
@example(make_link(even_gaps(3), Operator(spacing=1)), True)
@settings(max_examples=25, deadline=None)
def test_states_are_found_in_the_same_order(link: Link, latencies: bool) -> None:
    """So the first failure is the same one, and the first that shows a latency."""
    compiled = Compiled(system_of(link))
    expected = _InOrder(compiled, Budget(None, 300), Progress(), latencies)
    expected.run()
    try:
        search = PackedSearch(compiled, Budget(None, 300), Progress(), latencies, fast=False)
        search.run()
    except UnpackableError:
        return

    found = [search.state(node) for node in range(search.states_packed)]
    assert found == expected.order[: len(found)]
    assert len(found) > len(expected.order) - BATCH  # which are looked up together


@pytest.mark.parametrize(
    "name", ["puppet_theatre", "weather_mast", "stage_lamps", "dcc_bit", "bird_hide"]
)
def test_shipped_links_are_packed(name: str) -> None:
    """The last two have windows of millions of ticks, and presses as far apart."""
    found, expected = both(system_of(load(f"models/links/{name}.toml")), 900, True, fast=False)

    assert found == expected


def test_a_field_from_tables_takes_the_bits_of_its_ranks() -> None:
    compiled = Compiled(system_of(load("models/links/dcc_bit.toml")))
    layout = Layout(compiled)
    (due,) = (bank for bank in layout.banks.values() if bank.fields)

    assert [span.width for span in due.fields] == [2, 2, 2]
    assert due.values[1] == (104500, 115900, 180500, 18810000)  # times of 1/1881 us
    earlier, later = (7, 1, 115900, 7198), (7, 2, 180500, 11210)
    assert due.number(earlier) < due.number(later)
    assert due.entry(due.number(later)) == later
    with pytest.raises(UnpackableError, match="in none of the tables"):
        due.number((7, 1, 115901, 7198))


def test_ticks_may_be_far_apart() -> None:
    found, expected = both(system_of(parse(TIRED, "tired")), None, False, fast=False)

    assert found == expected
    assert found[0].script is not None
    assert found[0].script.presses[-1].tick > 2**31


@pytest.mark.slow
@pytest.mark.parametrize(
    ("link", "states", "latencies"),
    [
        (HELD, 3_000, True),
        (JITTERY, 3_000, False),
        (make_link(even_gaps(3)), None, False),
        (parse(TIRED, "tired"), None, False),
    ],
)
def test_compiled_code_answers_as_the_explorer_does(
    link: Link, states: int | None, latencies: bool
) -> None:
    pytest.importorskip("llvmlite")
    found, expected = both(system_of(link), states, latencies, fast=True)

    assert found == expected


def test_a_packed_state_is_the_state() -> None:
    compiled = Compiled(system_of(HELD))
    layout = Layout(compiled)
    state = next(compiled.starts())
    for taken in ((0,), (2,)):
        after = compiled.step(state, 1, taken)
        assert after is not None
        words = layout.words(after[0], 1 + layout.bits(after[0]) // 64)
        assert layout.state(words) == after[0]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "states", "kept"), [("start_stop", 300_000, 150_000), ("greenhouse", 4_000_000, 1e5)]
)
def test_a_state_takes_less_than_four_times_its_packed_size(
    name: str, states: int, kept: int
) -> None:
    """Of three words, and of one: enough of them for pages to count for little."""
    pytest.importorskip("llvmlite")
    compiled = Compiled(system_of(load(f"models/links/{name}.toml")))
    PackedSearch(compiled, Budget(None, 0), Progress(), False).run()
    before = used()
    search = PackedSearch(compiled, Budget(None, states), Progress(), False)
    answer = search.run()

    assert answer.verdict is Verdict.UNDECIDED
    assert search.states_packed > kept
    assert used() - before < 4 * 8 * search.words * search.states_packed


@pytest.mark.parametrize("there", [True, False])
def test_without_a_compiler_the_answer_is_the_same(
    there: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    used_packed = []

    class Plain(PackedSearch):
        def __init__(self, *told: object, **named: object) -> None:
            used_packed.append(True)
            super().__init__(*told, fast=False, **named)  # type: ignore[arg-type]

    spec = importlib.util.find_spec
    monkeypatch.setattr(
        native,
        "find_spec",
        lambda name: (spec("json") if there else None) if name == "llvmlite" else spec(name),
    )
    monkeypatch.setattr("verify.engines.packed.PackedSearch", Plain)
    system = system_of(HELD)
    expected = _Search(Compiled(system), Budget(None), Progress(), False).run()
    monkeypatch.setattr(explorer, "PATIENCE", 5)

    assert explore(system, Budget(None), Progress()) == expected
    assert bool(used_packed) is there


def test_what_cannot_be_packed_is_explored_as_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(compiled: Compiled) -> None:
        raise UnpackableError("as a test wants it")

    system = system_of(HELD)
    expected = _Search(Compiled(system), Budget(None), Progress(), False).run()
    monkeypatch.setattr(explorer, "PATIENCE", 5)
    monkeypatch.setattr(explorer, "available", lambda: True)
    monkeypatch.setattr("verify.engines.packed.Layout", refuse)

    assert explore(system, Budget(None), Progress()) == expected
