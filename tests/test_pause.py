"""Pauses: the clock of one end stands still, and what that does to a link."""

from __future__ import annotations

import pytest

from models.framed_serial import FramedSerial
from models.parallel_code import ParallelCode
from models.scan import Scan
from models.wire_per_input import WirePerInput
from tests.links import even_gaps, make_link
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.simulator import NotAllowedError, Simulator
from verify.engines.trace import Chosen, Press, Script
from verify.errors import LinkFileError, UsageError
from verify.linkfile import parse
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.parts.pause import End, Pause, told
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Judgement, Subject, judge
from verify.questions.margin import margin


def scan(pause: Pause, *, synced: bool = False) -> Link:
    return make_link(Scan(2, 4, 2, synced=synced), kind="level", pause=pause)


def verdict(link: Link, engine: EngineName) -> Judgement:
    return judge(Subject(link), engine, Progress(), budget=Budget(30))


def strikes(link: Link, script: Script) -> list[tuple[int, int]]:
    """Ticks and outputs, without monitors."""
    simulator = Simulator(link, 0, None)
    return [
        (moment.tick, values[0])
        for moment in simulator.run(script)
        for signal, values in moment.occurrences
        if signal.name == "strike0"
    ]


@pytest.mark.parametrize("busy", ["overlay", "ignore"])
def test_a_gap_is_longer_by_as_long_as_the_transmitter_stops(busy: str) -> None:
    # With overlay a bank keeps the second pulse, else a timer.
    link = make_link(even_gaps(3, busy=busy), pause=Pause(2, 1, End.TRANSMITTER))

    assert strikes(link, Script((Press(0, 0),))) == [(2, 0)]
    # The first choice stops it for one tick, the second for two: gap 2 becomes gap 4.
    assert strikes(link, Script((Press(0, 0),), picks=(Chosen(1, "pause.transmitter", 1),))) == [
        (4, 1)
    ]
    assert strikes(link, Script((Press(0, 0),), picks=(Chosen(1, "pause.transmitter", 0),))) == []


def test_an_end_stops_again_only_after_it_has_gone_on() -> None:
    link = make_link(even_gaps(3), pause=Pause(2, 2, End.TRANSMITTER))

    def stops(*ticks: int) -> Script:
        return Script((Press(9, 0),), picks=tuple(Chosen(t, "pause.transmitter", 1) for t in ticks))

    assert strikes(link, stops(0, 2)) == [(11, 0)]
    with pytest.raises(NotAllowedError):
        strikes(link, stops(0, 1))
    # Nor in the tick in which it stopped, for any other time.
    twice = (Chosen(0, "pause.transmitter", 0), Chosen(0, "pause.transmitter", 1))
    with pytest.raises(NotAllowedError):
        strikes(link, Script((Press(9, 0),), picks=twice))


def test_what_begins_during_a_pause_waits_for_its_end() -> None:
    link = make_link(even_gaps(2), pause=Pause(3, 1, End.TRANSMITTER))

    assert strikes(link, Script((Press(1, 0),), picks=(Chosen(0, "pause.transmitter", 2),))) == [
        (5, 1)
    ]


@pytest.mark.parametrize("engine", ["zones", "explorer"])
@pytest.mark.parametrize(("end", "most"), [(End.TRANSMITTER, 2), (End.RECEIVER, 1)])
def test_a_scan_survives_a_pause_up_to_the_edge_of_a_slot(
    end: End, most: int, engine: EngineName
) -> None:
    # Slots of 4 ticks sampled after 2: the receiver may be early by 2 or late by 1.
    assert margin(scan(Pause(0, 1, end)), "pause", engine, Progress()).most.amount == most


@pytest.mark.parametrize("engine", ["zones", "explorer"])
def test_two_pauses_of_a_tick_are_as_bad_as_one_of_two(engine: EngineName) -> None:
    assert verdict(scan(Pause(1, 1, End.RECEIVER)), engine).verdict is Verdict.HOLDS
    twice = verdict(scan(Pause(1, 2, End.RECEIVER)), engine)

    assert twice.verdict is Verdict.FAILS
    assert twice.trace is not None
    assert len([c for c in twice.trace.script.picks if told(c)]) == 2


def test_only_one_end_stops_in_a_run() -> None:
    # Both ends stopping alike would be no harm, one of them is.
    judged = verdict(scan(Pause(2, 2)), "zones")

    assert judged.trace is not None
    ends = {stop[0] for c in judged.trace.script.picks if (stop := told(c))}
    assert len(ends) == 1


def test_the_solver_says_nothing_of_pauses() -> None:
    link = make_link(even_gaps(2), Operator(spacing=8), pause=Pause(1))

    assert verdict(link, "solver").verdict is Verdict.UNDECIDED


def test_a_frame_survives_no_pause_longer_than_its_samples_allow() -> None:
    link = make_link(FramedSerial((0, 1, 2), 2, 4, 6), Operator(spacing=20))

    found = margin(link, "pause", "explorer", Progress())

    # Sampled 2 ticks into bits of 4: one end may be late by 1, the other by 2.
    assert found.most.amount == 1
    assert found.most.trace_beyond is not None


def test_a_link_without_clocks_cannot_be_stopped() -> None:
    for scheme in (WirePerInput(2), ParallelCode((1, 2), 2)):
        with pytest.raises(UsageError, match="pause: allowed: a scheme with a clock"):
            margin(make_link(scheme), "pause", "auto", Progress())


TEXT = """
tick = "50 ms"
inputs = {{count = 2}}
{pause}
[link]
scheme = "{scheme}"
{more}
"""


def link_of(pause: str, scheme: str = "free-scan", more: str = "slot = 4") -> Link:
    return parse(TEXT.format(pause=pause, scheme=scheme, more=more), "link.toml")


def test_a_pause_in_a_link_file() -> None:
    assert link_of('pause = "100 ms"').pause == Pause(2)
    assert link_of('pause = {most = 3, times = 2, end = "receiver"}').pause == Pause(
        3, 2, End.RECEIVER
    )
    assert link_of("").pause == Pause()
    assert link_of('start = "any"').any_start


@pytest.mark.parametrize(
    ("pause", "scheme", "more", "text"),
    [
        ("pause = 0", "free-scan", "slot = 4", "pause: found 0"),
        ("pause = {most = 1, end = 'both'}", "free-scan", "slot = 4", "pause.end: found"),
        ("pause = {most = 1, times = 0}", "free-scan", "slot = 4", "pause.times: found 0"),
        ("pause = 1", "wire-per-input", "", "pause: found"),
        ("start = 'half'", "free-scan", "slot = 4", "start: found"),
    ],
)
def test_a_pause_that_makes_no_sense(pause: str, scheme: str, more: str, text: str) -> None:
    with pytest.raises(LinkFileError) as told:
        link_of(pause, scheme, more)

    assert f"link.toml: {text}" in str(told.value)
    assert "allowed" in str(told.value)


@pytest.mark.parametrize("slot", [2, 4])
def test_a_receiver_behind_a_delay_stops_as_much_later(slot: int) -> None:
    # Judged without the delay; the run that fails is then played with it.
    link = make_link(
        Scan(2, slot, slot // 2, synced=True),
        kind="level",
        delay=(1, 1),
        pause=Pause(slot, 1, End.RECEIVER),
    )

    assert verdict(link, "auto").verdict is Verdict.FAILS
