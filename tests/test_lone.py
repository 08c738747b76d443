"""Lone presses, one way after another: the same as what is worked out once per state."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import islice
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.links import links
from tests.nightly import examples
from verify.engines import lone
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.concrete import Compiled, State
from verify.engines.lone import Lone, lone_presses
from verify.linkfile import load, parse
from verify.parts.line import Faults
from verify.parts.link import Link, factored
from verify.parts.signals import strike
from verify.questions import judging
from verify.questions.judging import Subject, judge
from verify.questions.latency import latencies

LINKS = Path(__file__).parent.parent / "models" / "links"
# More ways than these are not walked.
MOST_WAYS = 3_000


def jittery(link: Link, ticks: int) -> Link:
    return replace(link, faults=replace(link.faults, jitter=ticks))


def ways(compiled: Compiled, index: int, output: int) -> Iterator[tuple[int | None, int, bool]]:
    """Of each way that a press can go: its first strike, when it rests, and whether as before."""
    runs: list[tuple[State, State, int, int | None]] = [
        (start, start, -1, None) for start in compiled.starts()
    ]
    while runs:
        start, state, now, first = runs.pop()
        passed = 1 if now < 0 else compiled.next_event(state)
        if passed is None:
            same = all(
                a == b
                for i, (a, b) in enumerate(zip(start, state, strict=True))
                if i not in compiled.restraints
            )
            yield first, now, same
            continue
        for after, said, _ in compiled.outcomes(state, passed, (index,) if now < 0 else ()):
            hit = first is None and (strike(0), (output,)) in said
            runs.append((start, after, now + passed, now + passed if hit else first))


def walked(link: Link) -> Lone | None:
    """None: there are too many ways."""
    compiled = Compiled(factored(link, None))
    rows = []
    for index in range(link.inputs):
        found = list(islice(ways(compiled, index, link.outputs[index]), MOST_WAYS))
        if len(found) == MOST_WAYS:
            return None
        firsts = [first for first, _, _ in found]
        times = [first for first in firsts if first is not None]
        rows.append(
            (
                min(times, default=None),
                max(times) if len(times) == len(firsts) else None,
                max(settled for _, settled, _ in found),
                all(same for *_, same in found),
            )
        )
    earliest, latest, settled, rests = zip(*rows, strict=True)
    return Lone(earliest, latest, settled, all(rests))


@examples(50)
@given(links(), st.integers(0, 3))
def test_lone_presses_are_what_comes_of_walking_every_way(link: Link, jitter: int) -> None:
    assume(link.kind == "press" and not link.clock.rated)
    for link_ in (link, jittery(link, jitter)):
        expected = walked(link_)
        assert expected is None or lone_presses(link_) == expected


@pytest.mark.parametrize(
    ("name", "ticks", "earliest", "latest", "settled"),
    [
        # As many ways as the power of the edges: 2 to the 52, and 5 to the 40.
        ("card_reader", 1, 276, 277, 277),
        ("settling_edges", 4, 312, 319, None),
    ],
)
def test_lone_presses_under_jitter(
    name: str, ticks: int, earliest: int, latest: int, settled: int | None
) -> None:
    found = lone_presses(jittery(load(LINKS / f"{name}.toml"), ticks))

    assert set(found.earliest) == {earliest}
    assert set(found.latest) == {latest}
    assert settled is None or set(found.settled) == {settled}


# -- too many ways ----------------------------------------------------------------------------


def card_reader(jitter: int) -> Link:
    """Messages of eight bits on two lines, pulses 11 ticks apart."""
    text = (LINKS / "card_reader.toml").read_text(encoding="utf-8")
    text = text.replace("bits = 26", "bits = 8")
    text = text.replace("[0x1000003, 0x2AAAAAA, 0x0F0F0F1]", "[0x13, 0xAA, 0xF1]")
    return replace(parse(text, "card reader"), faults=Faults(jitter=jitter))


@pytest.mark.parametrize("jitter", [11, 12])
def test_of_a_press_that_may_be_lost_in_too_many_ways_it_is_enough_to_know_that(
    jitter: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    link = card_reader(jitter)
    exact = Subject(link)
    monkeypatch.setattr(lone, "MOST_LOST", 200)
    monkeypatch.setattr(judging, "_KNOWN", {})
    rough = Subject(link)

    assert not exact.lone.rough
    assert rough.lone.rough
    assert rough.lone.latest == exact.lone.latest == (None, None, None)
    assert all(a > b for a, b in zip(rough.lone.settled, exact.lone.settled, strict=True))

    judged = judge(rough, "auto", Progress(), budget=Budget(20))
    assert (judged.verdict, judged.engine) == (Verdict.FAILS, "simulator")
    assert judged.trace is not None
    # It fails whatever the windows: nothing comes, ever.
    assert exact.fails(judged.trace.script)
    assert not any(event.signal.startswith("out.") for event in judged.trace.events)


def test_nothing_is_said_roughly_of_what_always_comes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lone, "MOST_LOST", 0)
    monkeypatch.setattr(judging, "_KNOWN", {})

    assert not Subject(card_reader(10)).lone.rough


def test_of_rough_windows_no_latency_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lone, "MOST_LOST", 200)
    monkeypatch.setattr(judging, "_KNOWN", {})
    found = latencies(Subject(card_reader(11)), "auto", Progress(), Budget(20))

    assert (found.verdict, found.exact, found.best, found.worst) == (
        Verdict.FAILS,
        False,
        None,
        None,
    )
