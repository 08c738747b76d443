"""One move of one lever decides about a scan: held against all levers, moved as often as may be."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from models.scan import Scan
from tests.links import make_link
from tests.nightly import examples
from verify.engines.answer import Answer, Budget, Progress, Verdict
from verify.parts.clock import Clock
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.monitor import Windows
from verify.parts.pause import End, Pause
from verify.questions import engine_choice, judging
from verify.questions.judging import Subject, judge
from verify.questions.lifetime import lifetime
from verify.questions.one_move import by_one_move
from verify.questions.recover import recover

ZERO = Fraction(0)
ENDS = st.sampled_from(list(End))


@st.composite
def scans(draw: st.DrawFn) -> Scan:
    slot = draw(st.sampled_from([2, 2, 3]))
    early = draw(st.integers(-2, 1))
    return Scan(
        slots=draw(st.sampled_from([1, 2, 2, 2, 3])),
        slot=slot,
        sample=draw(st.integers(1, slot - 1)),
        late=draw(st.integers(0, 1)),
        offset=(early, early + draw(st.integers(0, 2))),
        synced=draw(st.booleans()),
    )


@st.composite
def links(draw: st.DrawFn) -> Link:
    """Scans with a disturbance or none. What they are spared lets some of them recover."""
    scheme = draw(scans())
    link = make_link(scheme, kind="level", delay=(draw(st.integers(0, 2)),) * 2)
    spared = draw(st.integers(0, 6 * scheme.slots * scheme.slot))
    match draw(st.sampled_from(["none", "any start", "pause", "clock"])):
        case "any start":
            return replace(link, any_start=True, spared=spared)
        case "pause":
            pause = Pause(draw(st.integers(1, 4)), end=draw(ENDS))
            return replace(link, pause=pause, spared=draw(st.sampled_from([None, spared])))
        case "clock":
            error = Fraction(draw(st.integers(1, 6)), draw(st.integers(7, 24)))
            return replace(
                link, clock=Clock((-error, ZERO) if draw(st.booleans()) else (ZERO, error))
            )
    return link


def moved(link: Link) -> Verdict | None:
    """What one move says; None where it says nothing."""
    found = judging._by_one_move(Subject(link), Budget(), Progress(), True)
    return None if found is None else found.verdict


@example(make_link(Scan(3, 2, 1, offset=(0, 1), synced=True), kind="level"))
@given(links())
@examples(10)
def test_one_move_says_what_all_moves_do(link: Link) -> None:
    assume(not link.drifts_away)
    said = moved(link)
    assume(said is not None)
    found = judge(Subject(link), "zones", Progress(), budget=Budget(60), brief=True)

    assert found.verdict in (said, Verdict.UNDECIDED)


def test_others_that_are_up_are_looked_at_too() -> None:
    """Only the first frame is off: a lever that goes up after it is shown."""
    link = make_link(Scan(7, 2, 1, offset=(0, 1), synced=True), kind="level")
    subject = Subject(link)
    told: list[tuple[int | None, Verdict]] = []

    def ask(part: Link, windows: Windows) -> Answer:
        system = judging._system(part, windows)
        answer = engine_choice.zones(system, Budget(), Progress(), False, None)
        told.append((part.operator.moves, answer.verdict))
        return answer

    assert by_one_move(link, subject.lone, ask, {}) is None
    assert (0, Verdict.FAILS) in told
    assert (1, Verdict.FAILS) not in told
    assert judge(subject, "auto", Progress()).verdict is Verdict.FAILS


@pytest.mark.parametrize(
    "link",
    [
        make_link(Scan(3, 2, 1), kind="press"),
        make_link(Scan(3, 2, 1), kind="level", may_miss=True),
        make_link(Scan(3, 4, 2), kind="level", faults=Faults(jitter=1)),
    ],
    ids=["presses", "may miss", "jitter"],
)
def test_where_it_decides_nothing(link: Link) -> None:
    assert link.one_move() == ()


def test_what_counts_from_sooner_is_not_asked_again() -> None:
    link = replace(make_link(Scan(3, 2, 1, synced=True), kind="level"), any_start=True)
    lones = Subject(replace(link, spared=0)).lones
    asked: list[Link] = []

    def ask(part: Link, windows: Windows) -> Answer:
        asked.append(part)
        system = judging._system(part, windows)
        return engine_choice.zones(system, Budget(), Progress(), False, None)

    held: dict[tuple[Link, Windows], tuple[int, Answer]] = {}
    for spared, new in ((20, True), (30, False), (19, True)):
        asked.clear()
        counted = replace(link, spared=spared)
        found = by_one_move(counted, Subject(counted, lones).lone, ask, held)
        assert found is not None
        assert found.answer.verdict is Verdict.HOLDS
        assert bool(asked) is new


@example(Scan(2, 2, 1, late=1), 2, 10, True)
@given(scans(), st.integers(1, 5), st.integers(10, 200), st.booleans())
@examples(10)
def test_free_scans_fail_no_sooner_than_in_one_move(
    scheme: Scan, number: int, of: int, fast: bool
) -> None:
    scheme = replace(scheme, synced=False, offset=(0, 0))
    assume(scheme.slots > 1)
    error = Fraction(number, of)
    clock = Clock((-error, ZERO) if fast else (ZERO, error))
    link = make_link(scheme, kind="level", clock=clock)
    one, all_of_them = (lifetime(Subject(link), e, Progress()).ticks for e in ("auto", "zones"))

    assert one == all_of_them


@given(scans())
@examples(5)
def test_recovery_is_that_of_pairs(scheme: Scan) -> None:
    assume(scheme.slots <= 2)
    link = make_link(replace(scheme, offset=(0, 0)), kind="level")
    one, pairs = (recover(link, e, Progress()) for e in ("auto", "zones"))

    assert (one.verdict, one.ticks) == (pairs.verdict, pairs.ticks)
