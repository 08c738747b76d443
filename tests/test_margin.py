"""The largest disturbance that still holds, with the trace just past it."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from time import monotonic

import pytest
from click.testing import CliRunner

from models.framed_serial import FramedSerial
from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from models.scan import Scan
from tests.links import make_link
from tests.test_cli import CARILLON
from tests.test_lone import jittery
from verify.cli import main
from verify.engines.answer import Budget, Progress, TooManyError, Verdict
from verify.errors import UsageError
from verify.linkfile import load
from verify.parts.clock import Clock
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.judging import Subject, judge
from verify.questions.margin import margin
from verify.questions.spacing import least_spacing, own_spacing

LINKS = Path(__file__).parent.parent / "models" / "links"

FAR_APART = Operator(spacing=40)


def jittered(link: Link, jitter: int) -> Verdict:
    disturbed = replace(link, faults=Faults(jitter=jitter))
    return judge(Subject(disturbed), "explorer", Progress()).verdict


@pytest.mark.parametrize("window", [0, 1, 2])
def test_a_receivers_window_is_its_margin_of_jitter(window: int) -> None:
    # One edge on time and the other late by the jitter: the gap is off by as much.
    link = make_link(PulseGap((8, 16), 3, (window, window)), FAR_APART)

    found = margin(link, "line.jitter", "explorer", Progress())

    assert found.most.amount == window
    assert found.least is None
    assert jittered(link, window) is Verdict.HOLDS
    assert jittered(link, window + 1) is Verdict.FAILS
    assert found.most.trace_beyond is not None
    assert found.most.trace_beyond.failure is not None


def test_settling_is_the_margin_of_skew() -> None:
    # Codes 1 and 3: the one is a transient of the other, until the lines must be steady longer.
    scheme = ParallelCode((1, 3), 2, settle=3)
    link = make_link(scheme, Operator(spacing=40, hold=(20, 20)))

    assert margin(link, "line.skew", "explorer", Progress()).most.amount == 3


def test_a_pulse_of_exactly_the_shortest_still_arrives() -> None:
    link = make_link(PulseGap((8, 16), 3, (0, 0)), FAR_APART, delay=(9, 9))

    assert margin(link, "line.shortest", "explorer", Progress()).most.amount == 3


@pytest.mark.parametrize(("slot", "sample"), [(4, 2), (5, 1)])
def test_the_margin_of_offset_reaches_to_the_edges_of_the_slot(slot: int, sample: int) -> None:
    found = margin(
        make_link(Scan(2, slot, sample), kind="level"), "clock.offset", "explorer", Progress()
    )

    assert found.least is not None
    assert (found.least.amount, found.most.amount) == (sample, slot - 1 - sample)
    assert found.least.trace_beyond is not None
    assert found.most.trace_beyond is not None


def test_a_link_that_fails_undisturbed_has_no_margin() -> None:
    found = margin(make_link(PulseGap((2, 4), 1, (0, 0))), "line.jitter", "explorer", Progress())

    assert found.most.amount is None
    assert found.most.verdict is Verdict.FAILS


@pytest.mark.parametrize(
    ("of", "words"), [("line.skew", "a link of one line"), ("clock.offset", "a clock of its own")]
)
def test_a_disturbance_that_makes_no_sense_is_refused(of: str, words: str) -> None:
    link = make_link(FramedSerial((0, 1), 1, 2, 3))

    with pytest.raises(UsageError, match=words):
        margin(link, of, "explorer", Progress())


def test_margin_in_json() -> None:
    result = CliRunner().invoke(main, ["margin", CARILLON, "--of", "line.jitter", "--json"])
    found = json.loads(result.stdout)

    assert result.exit_code == 0
    assert (found["least"], found["most"], found["verdict"]) == (None, 0, "holds")
    assert found["trace_beyond"]["failure"]["kind"] == "lost"


def test_a_margin_keeps_the_time_also_while_lone_presses_are_worked_out() -> None:
    """From jitter of 11 ticks on, each of 26 pulses may change places with the next."""
    link = load(LINKS / "card_reader.toml")
    started = monotonic()
    found = margin(link, "line.jitter", "auto", Progress(), Budget(0.5))

    assert found.most.verdict is Verdict.UNDECIDED
    # Without a limit: not done after 150 s.
    assert monotonic() - started < 30


def test_less_is_tried_where_nothing_can_be_said_of_an_amount(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Of 8 and 6 ticks too much is open, and 5 fails: so it fails with all of them."""
    monkeypatch.setattr("verify.engines.lone.MOST_STARTS", 2_000)
    monkeypatch.setattr("verify.questions.judging._KNOWN", {})
    link = load(LINKS / "biphase_mark_18.toml")
    for ticks in (6, 8):
        with pytest.raises(TooManyError):
            Subject(jittery(link, ticks))
    found = margin(link, "line.jitter", "auto", Progress(), Budget(60))

    assert (found.most.amount, found.most.verdict) == (4, Verdict.HOLDS)
    assert found.most.beyond == jittery(link, 5)
    assert found.most.trace_beyond is not None
    assert found.most.trace_beyond.failure is not None


def test_lone_presses_of_a_clock_that_is_off_keep_the_time() -> None:
    # In a process of its own, which knows of no lone press yet.
    command = [sys.executable, "-m", "verify", "check", str(LINKS / "dcc_bit.toml")]
    done = subprocess.run([*command, "--time", "0.01"], capture_output=True, text=True, check=False)

    assert done.returncode == 3
    assert "undecided" in done.stderr + done.stdout
    assert "Traceback" not in done.stderr


def test_the_trace_below_a_spacing_is_one_tick_below_it_also_in_parts_of_a_tick() -> None:
    scheme = PulseGap((4, 8), 1, (1, 1))
    off = Clock(rate=(Fraction(-1, 50), Fraction(1, 50)))
    link = replace(make_link(scheme, FAR_APART), clock=off)
    found = least_spacing(Subject(link), "auto", Progress())

    assert found.ticks == 10
    assert found.trace_below is not None
    assert found.trace_below.script.resolution > 1
    assert own_spacing(found.trace_below) == 9
