"""A given sequence, as early as it may be: nothing can come a tick sooner."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from math import floor
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

import models
from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from models.scan import Scan
from models.wire_per_input import WirePerInput
from tests.links import TICK, even_gaps, make_link
from verify.cli import main
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.simulator import NotAllowedError, Simulator
from verify.engines.trace import Press, Script
from verify.errors import DisagreementError, LinkFileError, UsageError
from verify.linkfile import load
from verify.parts.clock import Clock
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.pressfile import Wanted, load_presses, parse_presses
from verify.questions.judging import Subject
from verify.questions.pairs import Matrix, Pairs
from verify.questions.schedule import Placed, Schedule, earliest, schedule
from verify.reports.schedules import schedule_csv, schedule_json

LINKS = Path(models.__file__).parent / "links"
CARILLON, TUNE = LINKS / "carillon.toml", LINKS / "carillon_tune.csv"

# -- earliest ----------------------------------------------------------------------


@st.composite
def problems(draw: st.DrawFn) -> tuple[Link, Matrix, list[Wanted]]:
    """A link, any matrix for it, and presses."""
    # Of a scan only the operator is asked: it waits until the link is warm.
    schemes = [WirePerInput(3), even_gaps(3), ParallelCode((1, 2, 4), 3), Scan(3, 2, 1)]
    scheme = draw(st.sampled_from(schemes))
    operator = Operator(
        repeat=draw(st.integers(0, 8)),
        hold=(draw(st.integers(1, 4)),) * 2,
        overlap=draw(st.sampled_from([None, 1, 2, 3])),
    )
    entry = st.integers(0, 9)
    row = st.tuples(entry, entry, entry)
    pairs = draw(st.tuples(row, row, row))
    wanted = draw(
        st.lists(
            st.builds(Wanted, st.integers(0, 2), st.sampled_from([0, 0, 0, 7, 20])),
            min_size=1,
            max_size=8,
        )
    )
    delay = (draw(st.integers(0, 2)),) * 2
    return make_link(scheme, operator, delay=delay), pairs, wanted


def allowed(link: Link, pairs: Matrix, presses: list[Press]) -> bool:
    """As the operator's own machine sees it, in the simulator."""
    simulator = Simulator(link.with_operator(pairs=pairs), link.delay[0], None)
    end = max(press.tick for press in presses) + 1
    try:
        for _ in simulator.run(Script(tuple(presses), link.delay[0]), until=end):
            pass
    except NotAllowedError:
        return False
    return True


def in_order(presses: list[Press]) -> bool:
    """A tick sees its presses in the order of their numbers."""
    return all(a < b for a, b in pairwise(presses))


@settings(max_examples=200)
@given(problems())
def test_no_press_can_come_one_tick_sooner(problem: tuple[Link, Matrix, list[Wanted]]) -> None:
    link, pairs, wanted = problem
    placed = earliest(link, pairs, wanted)
    presses = [Press(p.tick, p.input) for p in placed]

    assert [p.input for p in placed] == [want.input for want in wanted]
    assert in_order(presses)
    assert allowed(link, pairs, presses)
    for n, want in enumerate(wanted):
        sooner = [*presses]
        sooner[n] = replace(sooner[n], tick=sooner[n].tick - 1)
        assert (
            sooner[n].tick < want.not_before
            or sooner[n].tick < 0
            or not in_order(sooner[: n + 1])
            or not allowed(link, pairs, sooner[: n + 1])
        )


def naive(pairs: Matrix, wanted: list[Wanted], until: int) -> tuple[int, ...] | None:
    """Ticks of the schedule that ends first, by trying all of them."""

    def tried(ticks: tuple[int, ...]) -> tuple[int, ...] | None:
        n = len(ticks)
        if n == len(wanted):
            return ticks
        found = []
        for tick in range(max(ticks, default=0), until):
            kept = all(
                tick - t >= pairs[wanted[k].input][wanted[n].input]
                and (tick, wanted[n].input) > (t, wanted[k].input)
                for k, t in enumerate(ticks)
            )
            if kept and tick >= wanted[n].not_before and (ways := tried((*ticks, tick))):
                found.append(ways)
        return min(found, key=lambda t: t[-1], default=None)

    return tried(())


@settings(max_examples=40)
@given(
    st.tuples(*[st.tuples(*[st.integers(2, 5)] * 2)] * 2),
    st.lists(st.builds(Wanted, st.integers(0, 1), st.integers(0, 3)), min_size=1, max_size=4),
)
def test_no_order_of_waiting_ends_sooner(pairs: Matrix, wanted: list[Wanted]) -> None:
    """Greedy against all schedules: waiting somewhere never helps later."""
    found = earliest(make_link(WirePerInput(2)), pairs, wanted)
    best = naive(pairs, wanted, found[-1].tick + 1)

    assert best is not None
    assert best[-1] == found[-1].tick


def test_all_earlier_presses_count_not_only_the_last() -> None:
    pairs = ((9, 1, 9), (1, 9, 1), (1, 1, 9))
    found = earliest(make_link(WirePerInput(3)), pairs, [Wanted(0), Wanted(1), Wanted(2)])
    assert found == (Placed(0, 0, 0, None), Placed(1, 1, 0, 0), Placed(2, 9, 0, 0))


def test_one_tick_holds_presses_of_rising_numbers_only() -> None:
    zeros = ((0, 0, 0),) * 3
    link = make_link(WirePerInput(3))
    together = earliest(link, zeros, [Wanted(0), Wanted(2)])
    turned = earliest(link, zeros, [Wanted(2), Wanted(0)])
    assert [p.tick for p in together] == [0, 0]
    assert [p.tick for p in turned] == [0, 1]


# -- the whole question ------------------------------------------------------------


def asked(link: Link, wanted: list[Wanted], seconds: float = 60) -> Schedule:
    return schedule(Subject(link), wanted, "auto", Progress(), Budget(seconds))


def test_the_tune_of_the_carillon() -> None:
    link = load(CARILLON)
    wanted = load_presses(TUNE, link.names, link.tick)
    found = asked(link, [*wanted])

    assert found.verdict is Verdict.HOLDS
    assert found.presses is not None
    # Two ticks and the gap of the bell before: the line must be low again, and disarmed.
    gaps = link.scheme.per_input()["gap"]
    steps = [gaps[w.input] + 2 for w in wanted[:-1]]
    ticks = [sum(steps[:k]) for k in range(len(wanted))]
    assert [p.tick for p in found.presses] == ticks
    assert found.total == ticks[-1]
    assert found.at_one_spacing == 16 * (len(wanted) - 1)
    # The gap of the last bell, and the delay of the line.
    assert found.last_strike == ticks[-1] + gaps[wanted[-1].input] + 1


@settings(max_examples=25)
@given(st.lists(st.integers(0, 2), min_size=1, max_size=12), st.integers(0, 15))
def test_what_is_scheduled_comes_out_right(inputs: list[int], repeat: int) -> None:
    """Played by the simulator on the file's own terms; ``schedule`` itself would raise."""
    link = make_link(even_gaps(3), Operator(repeat=repeat), delay=(1, 3), branches=(0, 4))
    found = asked(link, [Wanted(i) for i in inputs])

    assert found.presses is not None
    script = Script(tuple(Press(p.tick, p.input) for p in found.presses), 2)
    trace = Subject(link).replay(script)
    assert trace.failure is None
    assert len(trace.latencies) == 2 * len(inputs)


def test_levers_have_no_pace() -> None:
    told = r'inputs\.kind: found "level"; allowed for schedule: "press"'
    with pytest.raises(UsageError, match=told):
        asked(make_link(Scan(2, 2, 1), kind="level"), [Wanted(0)])


def test_clocks_of_unknown_rate() -> None:
    """The matrix is proved for every moment and rate; the schedule is in whole ticks.

    A gap g lasts up to 1.03 g on the slow clock. Both pulses are over a tick later, and one
    tick low: the next press may come from the tick after 1.03 g + 1 on.
    """
    link = make_link(
        PulseGap((4, 8), 1, (1, 1)), clock=Clock(rate=(Fraction(-3, 100), Fraction(3, 100)))
    )
    found = asked(link, [Wanted(1), Wanted(0), Wanted(1)])

    assert found.verdict is Verdict.HOLDS
    assert found.pairs is not None
    assert found.pairs.ticks == tuple((floor(Fraction(103, 100) * g + 1) + 1,) * 2 for g in (4, 8))
    assert found.total == 10 + 6
    # In the run that is played the clock is fast.
    assert found.last_strike == 16 + Fraction(97, 100) * 8


def test_a_link_of_which_nothing_is_safe() -> None:
    link = make_link(even_gaps(2), within=(0, 1))
    found = asked(link, [Wanted(0)])
    assert (found.verdict, found.presses, found.pairs) == (Verdict.FAILS, None, None)
    assert found.trace is not None
    assert schedule_json(link, found)["presses"] is None


def test_an_unproved_matrix_gives_no_schedule(monkeypatch: pytest.MonkeyPatch) -> None:
    link = make_link(even_gaps(2))

    def gave_up(*args: object) -> Pairs:
        return Pairs(((0, 0), (0, 0)), Verdict.UNDECIDED, "explorer", "1 state", ())

    monkeypatch.setattr("verify.questions.schedule.least_pairs", gave_up)
    found = asked(link, [Wanted(0), Wanted(1), Wanted(0)])
    assert (found.verdict, found.presses) == (Verdict.UNDECIDED, None)
    # The one spacing is proved: that much can be said.
    assert found.at_one_spacing == 2 * (found.spacing.ticks or 0)


def test_a_schedule_that_fails_is_a_bug_and_said_to_be_one(monkeypatch: pytest.MonkeyPatch) -> None:
    def wrong(*args: object) -> Pairs:
        return Pairs(((1, 1), (1, 1)), Verdict.HOLDS, "explorer", "", ())

    monkeypatch.setattr("verify.questions.schedule.least_pairs", wrong)
    with pytest.raises(DisagreementError, match="bug in fewwire"):
        asked(make_link(even_gaps(2)), [Wanted(0), Wanted(1)])


# -- the file of presses -----------------------------------------------------------


NAMES = ("low", "high", "2")


def read(text: str) -> tuple[Wanted, ...]:
    return parse_presses(text, "p.csv", NAMES, TICK)


def test_names_come_before_numbers() -> None:
    assert read("input\nlow\n2\n1\n3\n") == (Wanted(0), Wanted(2), Wanted(0), Wanted(2))


def test_not_before_in_ticks_or_as_durations() -> None:
    assert read("input,tick\nlow,4\nhigh,\nlow\n") == (Wanted(0, 4), Wanted(1), Wanted(0))
    assert read("time,Input\n1.2 s,low\n100 ms,high\n") == (Wanted(0, 24), Wanted(1, 2))
    assert read('\ufeffinput,note\r\n\r\nlow,"a, b"\r\n') == (Wanted(0),)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "line 1: found nothing; allowed: a first line with the names of columns"),
        ("input\n", "line 1: found no press; allowed: a line for each press"),
        ("inputs\nlow\n", 'line 1: found column "inputs"; allowed: a first line with the names of'),
        ("note\nlow\n", "line 1: found no column input; allowed: a first line"),
        ("input;tick\nlow;4\n", 'line 1: found column "input;tick"; allowed: a first line'),
        ("input,input\nlow,low\n", 'line 1: found column "input" twice; allowed: each column once'),
        ("input,tick,time\nlow,,\n", "line 1: found both tick and time; allowed: at most one"),
        (
            "input\nlow\nhihg\n",
            'line 3: found input "hihg"; allowed: the name of an input, or its number from 1 to 3: '
            '"low", "high" or "2"; did you mean \'high\'?',
        ),
        ("input\n4\n", 'line 2: found input "4"; allowed: the name of an input'),
        ("input\n0\n", 'line 2: found input "0"; allowed: the name of an input'),
        ("tick,input\n3,\n", 'line 2: found input ""; allowed: the name of an input'),
        (
            "input,tick\nlow,1.5\n",
            'line 2: found tick "1.5"; allowed: a whole number of ticks, at least 0',
        ),
        ("input,tick\nlow,-1\n", 'line 2: found tick "-1"; allowed: a whole number of ticks'),
        ("input,tick\nlow,1 s\n", 'line 2: found tick "1 s"; allowed: a whole number of ticks'),
        ("input,time\nlow,3\n", 'line 2: found time "3"; allowed: '),
        (
            "input,time\nlow,120 ms\n",
            'line 2: found time "120 ms"; allowed: a whole number of ticks of 50 ms, nearest '
            "100 ms (2) or 150 ms (3)",
        ),
        ("input\nlow,4\n", "line 2: found 2 cells; allowed: at most 1, as in the first line"),
        ('input\n"low\n', "line 2: found text that is not CSV (unexpected end of data); allowed:"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(text: str, message: str) -> None:
    with pytest.raises(LinkFileError) as caught:
        read(text)
    assert str(caught.value).startswith(f"p.csv: {message}")
    assert "\n" not in str(caught.value)


# -- the command -------------------------------------------------------------------


def run(*args: str | Path) -> Result:
    return CliRunner().invoke(main, ["schedule", *map(str, args)])


def test_json_and_csv_say_the_same(tmp_path: Path) -> None:
    table = tmp_path / "played.csv"
    done = run(CARILLON, TUNE, "--json", "--csv", table)
    found = json.loads(done.stdout)

    assert done.exit_code == 0
    assert found["verdict"] == "holds"
    assert found["total_ticks"] == found["presses"][-1]["tick"]
    rows = list(csv.DictReader(io.StringIO(table.read_text())))
    assert [*rows[0]] == [*found["presses"][0]]
    assert [(r["input"], int(r["tick"]), float(r["s"])) for r in rows] == [
        (p["input"], p["tick"], p["s"]) for p in found["presses"]
    ]
    assert run(CARILLON, TUNE, "--csv", table).exit_code == 2
    assert run(CARILLON, TUNE, "--csv", TUNE, "--force").exit_code == 2


def test_in_words(tmp_path: Path) -> None:
    done = run(CARILLON, TUNE)
    assert done.exit_code == 0
    assert done.stdout.startswith("holds: 20 presses of '")
    assert "no more\nthan three flashes" in done.stdout

    one = tmp_path / "one.csv"
    one.write_text("input,tick\nb,7\n")
    done = run(CARILLON, one)
    assert done.stdout.startswith("holds: 1 press of '")
    assert "comes out" in done.stdout.replace("\n", " ")
    assert "its time" in done.stdout


def test_no_schedule_no_file(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text(CARILLON.read_text().replace("spacing = 16 ", "within = [0, 2] "))
    done = run(bad, TUNE, "--csv", tmp_path / "none.csv")
    assert (done.exit_code, done.stdout.startswith("fails: ")) == (1, True)
    assert not (tmp_path / "none.csv").exists()
    missing = run(CARILLON, tmp_path / "no.csv")
    assert missing.exit_code == 2
    assert "found no such file; allowed: a file of presses, as CSV" in missing.stderr


def test_the_csv_has_what_is_not_before() -> None:
    link = make_link(even_gaps(2))
    found = asked(link, [Wanted(0, 5), Wanted(1)])
    assert found.presses is not None
    first, second = csv.DictReader(io.StringIO(schedule_csv(link, found.presses)))
    assert (first["not_before_ticks"], first["tick"], first["waits_for"]) == ("5", "5", "")
    assert second["waits_for"] == "1"
