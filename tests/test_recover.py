"""How long until a link is right again, and the circle of one that never is."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import islice
from pathlib import Path

import pytest
from click.testing import CliRunner

from models.framed_serial import FramedSerial
from models.parallel_code import ParallelCode
from models.scan import Scan
from models.wire_per_input import WirePerInput
from tests.links import even_gaps, make_link
from verify.cli import main
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.chance import _starts
from verify.engines.concrete import Compiled
from verify.engines.simulator import Simulator
from verify.engines.trace import Script
from verify.parts.link import Link, factored
from verify.parts.operator import Operator
from verify.parts.pause import End, Pause
from verify.questions.engine_choice import EngineName
from verify.questions.judging import Subject, judge
from verify.questions.recover import Recovery, recover


def recovery(link: Link, engine: EngineName = "auto") -> Recovery:
    return recover(link, engine, Progress(), Budget(60))


def scan(inputs: int, *, synced: bool, **rest: object) -> Link:
    return make_link(Scan(inputs, 2, 1, synced=synced), kind="level", **rest)


@pytest.mark.parametrize(
    "link",
    [
        scan(2, synced=True),
        make_link(Scan(2, 3, 1, synced=True), kind="level"),
        make_link(even_gaps(2), Operator(spacing=12)),
        make_link(FramedSerial((1, 2), 2, 2, sample=2), Operator(spacing=24)),
    ],
    ids=["scan", "early-sample", "gaps", "frames"],
)
def test_the_time_is_the_least_that_will_do(link: Link) -> None:
    found = recovery(link)

    assert found.ticks
    for spared, verdict in ((found.ticks, Verdict.HOLDS), (found.ticks - 1, Verdict.FAILS)):
        assert verdict_of(replace(link, any_start=True, spared=spared)) is verdict


def verdict_of(link: Link) -> Verdict:
    return judge(Subject(link), "auto", Progress(), budget=Budget(30)).verdict


@pytest.mark.parametrize("end", [End.TRANSMITTER, End.RECEIVER])
def test_a_free_scan_is_lost_for_good_after_a_pause(end: End) -> None:
    # Common practice, no source.
    found = recovery(scan(2, synced=False, pause=Pause(2, 1, end)))

    assert (found.verdict, found.ticks) == (Verdict.FAILS, None)
    assert found.lasso is not None
    assert found.lasso.ticks % 4 == 0  # frames


@pytest.mark.parametrize("inputs", [2, 3])
def test_a_synced_scan_is_right_again_within_two_frames(inputs: int) -> None:
    # Common practice, no source. From any state, so after any pause too.
    found = recovery(scan(inputs, synced=True))

    assert found.verdict is Verdict.HOLDS
    assert found.ticks is not None
    assert found.ticks <= 2 * inputs * 2


@pytest.mark.slow
@pytest.mark.parametrize("end", [End.TRANSMITTER, End.RECEIVER])
def test_a_synced_scan_is_right_again_within_two_frames_of_a_pause(end: End) -> None:
    # Common practice, no source.
    found = recovery(scan(2, synced=True, pause=Pause(2, 1, end)))

    assert found.verdict is Verdict.HOLDS
    assert found.ticks is not None
    assert 0 < found.ticks <= 2 * 4


@pytest.mark.slow
def test_four_levers_are_right_again_within_two_frames() -> None:
    # Common practice, no source; proved amid whatever the other levers may do.
    found = recovery(make_link(Scan(4, 4, 2, synced=True), kind="level"))

    assert found.ticks is not None
    assert 16 < found.ticks <= 2 * 16


def test_zones_and_explorer_find_the_same_time() -> None:
    link = scan(2, synced=True)

    assert recovery(link, "zones").ticks == recovery(link, "explorer").ticks


def test_what_remembers_nothing_is_right_at_once() -> None:
    for scheme in (WirePerInput(3), ParallelCode((1, 2), 2)):
        link = make_link(scheme, Operator(spacing=4))
        assert recovery(link).ticks == 0


def test_a_receiver_that_is_left_alone_recovers() -> None:
    # Presses far enough apart leave it time to disarm by itself.
    found = recovery(make_link(even_gaps(3), Operator(spacing=40)))

    assert found.verdict is Verdict.HOLDS
    assert found.ticks is not None
    assert 0 < found.ticks <= 40


@pytest.mark.parametrize(
    "scheme", [even_gaps(3), FramedSerial((0, 1, 2, 3), 2, 2, 3)], ids=["gaps", "frames"]
)
def test_presses_without_a_break_may_keep_a_receiver_out_of_step(scheme: object) -> None:
    link = make_link(scheme, Operator(spacing=9))  # type: ignore[arg-type]

    found = recovery(link)

    assert found.lasso is not None
    assert found.trace is not None
    within = range(found.lasso.tick + 1, found.lasso.tick + found.lasso.ticks + 1)
    assert any(press.tick in within for press in found.trace.script.presses)


def test_the_circle_can_be_run_through_again() -> None:
    found = recovery(scan(2, synced=False))
    assert found.lasso is not None
    assert found.trace is not None
    assert found.trace.failure is not None
    script = found.trace.script
    rounds = 5 * found.lasso.ticks
    later = Script(
        tuple(type(p)(p.tick + rounds, p.input) for p in script.presses),
        script.delay,
        script.picks,
        script.constants,
    )
    subject = Subject(found.link)

    failures = [
        moment.tick
        for moment in Simulator(found.link, 0, subject.windows).run(later, until=1_000)
        for signal, _ in moment.occurrences
        if signal.name.startswith("failure") and moment.tick >= rounds
    ]

    assert found.trace.failure.tick + rounds in failures


def test_a_link_that_fails_undisturbed_does_not_recover() -> None:
    found = recovery(make_link(even_gaps(3)))

    assert (found.verdict, found.lasso) == (Verdict.FAILS, None)
    assert "without any disturbance" in found.covered


TEXT = """
tick = "50 ms"
inputs = {count = 2}
[link]
scheme = "SCHEME"
slot = 2
"""


@pytest.mark.parametrize(
    ("scheme", "status", "words"),
    [("synced-scan", 0, "is right again"), ("free-scan", 1, "never:")],
)
def test_the_command(tmp_path: Path, scheme: str, status: int, words: str) -> None:
    path = tmp_path / "link.toml"
    path.write_text(TEXT.replace("SCHEME", scheme))

    shown = CliRunner().invoke(main, ["recover", str(path)])
    data = CliRunner().invoke(main, ["recover", str(path), "--json"])

    assert (shown.exit_code, data.exit_code) == (status, status)
    assert words in shown.output
    answer = json.loads(data.output)
    assert answer["never"] == (status == 1)
    assert (answer["recovery_ticks"] is None) == (status == 1)
    assert answer["disturbances"]["start"] == "any"


def test_load_finds_a_link_only_in_states_in_which_it_may_be() -> None:
    # The largest of everything at once is no state that the receiver of frames can be in.
    scheme = FramedSerial((0, 1, 2), 2, 4, 6, busy="queue", depth=2)
    compiled = Compiled(factored(make_link(scheme, any_start=True), None))
    largest = [compiled.starts_of(item)[-1] for item in compiled.memory]
    assert not compiled.possible(largest)

    for state in islice(_starts(compiled), 50):
        assert compiled.possible(state)
