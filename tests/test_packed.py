"""The explorer as generated code, plain and compiled: the same answers as the explorer's own."""

from __future__ import annotations

import importlib.util
from math import lcm

import pytest
from hypothesis import event, example, given, settings
from hypothesis import strategies as st

from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from tests.links import even_gaps, framed_serials, links, make_link, owns
from verify.engines import explorer, native
from verify.engines.answer import Answer, Budget, Progress, Verdict
from verify.engines.concrete import Compiled
from verify.engines.explorer import _Search, explore
from verify.engines.lone import factored_windows
from verify.engines.memory import used
from verify.engines.packed import PackedSearch
from verify.engines.packing import Layout, UnpackableError
from verify.language.machine import System
from verify.linkfile import load
from verify.parts.line import Faults
from verify.parts.link import Link, factored
from verify.parts.operator import Operator
from verify.questions.judging import Subject

HELD = make_link(
    PulseGap((2, 4, 6), 1, (0, 0, 0), busy="queue", depth=2),
    Operator(spacing=1, hold=(1, 3), overlap=2),
)
JITTERY = make_link(ParallelCode((1, 3), 2), Operator(spacing=4), faults=Faults(jitter=1, skew=1))
# Nearly every state is kept; enough of them for pages, blocks and tables to count for little.
MANY, MANY_STATES = "models/links/start_stop.toml", 300_000


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


@pytest.mark.parametrize("name", ["puppet_theatre", "weather_mast", "stage_lamps"])
def test_shipped_links_are_packed(name: str) -> None:
    found, expected = both(system_of(load(f"models/links/{name}.toml")), 900, True, fast=False)

    assert found == expected


@pytest.mark.slow
@pytest.mark.parametrize(
    ("link", "states", "latencies"),
    [(HELD, 3_000, True), (JITTERY, 3_000, False), (make_link(even_gaps(3)), None, False)],
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
def test_a_state_takes_less_than_four_times_its_packed_size() -> None:
    pytest.importorskip("llvmlite")
    compiled = Compiled(system_of(load(MANY)))
    PackedSearch(compiled, Budget(None, 0), Progress(), False).run()
    before = used()
    search = PackedSearch(compiled, Budget(None, MANY_STATES), Progress(), False)
    answer = search.run()

    assert answer.verdict is Verdict.UNDECIDED
    assert search.states_packed > MANY_STATES // 2
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
