"""Recordings written and read back, and what is said of files that are wrong."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from models.pulse_gap import PulseGap
from tests.links import links, make_link, scripts
from verify.engines.simulator import NotAllowedError
from verify.engines.trace import Event, Press, Script, Trace
from verify.errors import FewwireError
from verify.parts.link import Link
from verify.questions.judging import Subject
from verify.recordings.formats import open_recording, trace_text
from verify.recordings.moments import Moments
from verify.recordings.recording import LOW, Row, rows_of, signals_of
from verify.recordings.timescale import timescale

TICKS = [Fraction(1, 20), Fraction(15, 1000), Fraction(104, 10**6), Fraction(1, 3000), Fraction(2)]


def rows_in(path: Path, link: Link, warnings: list[tuple[int, str]] | None = None) -> list[Row]:
    told: list[tuple[int, str]] = [] if warnings is None else warnings
    recording = open_recording(str(path), signals_of(link).every, link.tick)
    return list(recording.rows(lambda line, what: told.append((line, what))))


def what(rows: list[Row]) -> list[tuple[object, ...]]:
    """Without the lines of the file, and without signals that are at rest at the beginning."""
    moved: set[str] = set()
    found = []
    for row in rows:
        if row.value != LOW or row.signal in moved:
            found.append((row.at, row.signal, row.value))
            moved.add(row.signal)
    return found


@settings(max_examples=40, suppress_health_check=[HealthCheck.filter_too_much])
@given(
    st.data(),
    st.sampled_from([".vcd", ".csv", ".json"]),
    st.sampled_from(TICKS),
    st.sampled_from([1, 7]),
)
def test_a_trace_is_read_back_as_it_was_written(
    tmp_path_factory: pytest.TempPathFactory,
    data: st.DataObject,
    ending: str,
    tick: Fraction,
    parts: int,
) -> None:
    link = replace(data.draw(links()), tick=tick)
    try:
        trace = Subject(link).replay(data.draw(scripts(link)))
    except NotAllowedError:
        assume(False)
    trace = replace(trace, script=replace(trace.script, resolution=parts, delay=3 * parts))
    path = tmp_path_factory.mktemp("traces") / f"trace{ending}"
    path.write_text(trace_text(trace, link, ending), encoding="utf-8")

    read = rows_in(path, link)

    near = what(read)
    exact = what(rows_of(trace, link)[1])
    if (ending == ".vcd" and (tick / parts).denominator % 3 in (0,)) or parts == 7:
        # No timescale fits: times are rounded, but none to another part of a tick.
        near = [(round(Fraction(at) * parts), *rest) for at, *rest in near]  # type: ignore[call-overload]
        exact = [(Fraction(at) * parts, *rest) for at, *rest in exact]  # type: ignore[arg-type]
    assert near == exact


ODD = ("left moon", "per%cent", "wave[3]", "Glöckchen", "$end", "a.b", "x\\y", '"q"', "c,d")


@pytest.mark.parametrize("ending", [".vcd", ".csv", ".json"])
def test_names_of_any_kind_survive(tmp_path: Path, ending: str) -> None:
    gaps = tuple(range(2, 2 * len(ODD) + 1, 2))
    link = replace(make_link(PulseGap(gaps, 1, (0,) * len(ODD))), names=ODD)
    events = tuple(Event(k, f"in.{name}", 1) for k, name in enumerate(ODD))
    trace = Trace(Script(tuple(Press(k, k) for k in range(len(ODD)))), events, None)
    path = tmp_path / f"odd{ending}"
    path.write_text(trace_text(trace, link, ending), encoding="utf-8")

    assert [row.signal for row in rows_in(path, link) if row.value] == [f"in.{n}" for n in ODD]


@pytest.mark.parametrize(
    ("step", "scale"),
    [
        (Fraction(1), "1 s"),
        (Fraction(50, 1000), "10 ms"),
        (Fraction(15, 1000), "1 ms"),
        (Fraction(104, 10**6), "1 us"),
        (Fraction(1, 10**15), "1 fs"),
        (Fraction(300), "100 s"),
        (Fraction(1, 3000), "100 ns"),  # no timescale fits a third: the coarsest 1000 times finer
    ],
)
def test_the_timescale_is_the_coarsest_that_fits(step: Fraction, scale: str) -> None:
    """Legal ones are 1, 10 and 100 of s, ms, us, ns, ps, fs (IEEE Std 1364-2005, 18.2.3.7; F)."""
    number, unit, size = timescale(step)

    assert f"{number} {unit}" == scale
    assert size <= step


def test_no_timescale_is_finer_than_a_femtosecond() -> None:
    with pytest.raises(FewwireError, match="allowed: at least 1 fs"):
        timescale(Fraction(1, 10**16))


# -- wrong files ------------------------------------------------------------------

BELLS = make_link(PulseGap((2, 4), 1, (0, 0)))
VCD = "$timescale 10 ms $end\n$var wire 1 ! line $end\n$enddefinitions $end\n"


def read_through(path: Path) -> None:
    recording = open_recording(str(path), signals_of(BELLS).every, BELLS.tick)
    for _ in Moments(recording, signals_of(BELLS).momentary, lambda line, what: None):
        pass


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        ("a.csv", "", "a.csv: found nothing; allowed: a first line with"),
        ("a.csv", "tick,signal\n", "a.csv:1: found no column value"),
        ("a.csv", "tick,time,signal,value\n", "a.csv:1: found both tick and time"),
        ("a.csv", "tick,signal,valve\n", "did you mean 'value'?"),
        ("a.csv", "tick,signal,value\n1,line,1\nx,line,0\n", 'a.csv:3: found tick "x"'),
        ("a.csv", "tick,signal,value\n1,lime,1\n2,line,0\n", 'a.csv:2: found signal "lime"'),
        ("a.csv", "tick,signal,value\n1,line,2\n", 'a.csv:2: found value "2"; allowed: 0, 1'),
        ("a.csv", "tick,signal,value\n1,line\n2,line,0\n", "a.csv:2: found 2 cells; allowed: 3"),
        ("a.csv", "tick,signal,value\n5,line,1\n4,line,0\n", "a.csv:3: found tick 4 after tick 5"),
        ("a.csv", "time,signal,value\n5 ms,line,1\n1,line,0\n", 'a.csv:3: found time "1"'),
        ("a.csv", "tick,signal,value\n1,line,pulse\n", "a.csv:2: found a pulse of line"),
        ("a.csv", 'tick,signal,value\n1,"line,1\n', "a.csv:2: found text that is not CSV"),
        ("a.csv", b"tick,signal,value\n1,l\xffne,1\n", "text in UTF-8"),
        ("a.vcd", "hello\n", "a.vcd:1: found a value before $enddefinitions"),
        ("a.vcd", "$timescale 7 xs $end\n", "a.vcd:1: found text that is not VCD"),
        ("a.vcd", "$enddefinitions $end\n", "a.vcd:1: found no $timescale"),
        ("a.vcd", VCD.replace("line", "clk"), "a.vcd: found no signal of the link among 1"),
        ("a.vcd", VCD.replace("wire 1 !", "wire 8 !"), 'a.vcd:2: found "line" of 8 bits'),
        ("a.vcd", f"{VCD}#5\n1!\n#4\n0!\n", "a.vcd:6: found time #4 after #5"),
        ("a.vcd", f"{VCD}#5\n1?\n", 'a.vcd:5: found a value of "?", which is not declared'),
        ("a.json", "{", "a.json:1: found text that is not JSON"),
        ("a.json", "{}", "a.json: found events: nothing"),
        ("a.json", '{"events": [{"tick": -1, "signal": "line", "value": 1}]}', "events[0].tick"),
        (
            "a.json",
            '{"signals": ["line"], "events": [\n{"tick": 1, "signal": "line", "value": 1},\n'
            '{"tick": 2, "signal": "line", "value": 7}],\n"failure": {}}',
            "a.json:3: found events[1].value: 7",
        ),
        ("a.json", '{"events": [],\n\n"ticks_per_tick": 0}', "a.json:3: found ticks_per_tick: 0"),
        ("a.json", '{"events": [\n{"tick": 1, "signal": "x", "value": 1}]}', "a.json:2: found sig"),
        ("a.txt", "", 'found ending ".txt"; allowed: a name that ends in .csv, .vcd or .json'),
    ],
)
def test_a_wrong_file_is_told_by_its_line(
    tmp_path: Path, name: str, text: str | bytes, message: str
) -> None:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())

    with pytest.raises(FewwireError) as caught:
        read_through(path)

    assert message in str(caught.value).replace(f"{tmp_path}/", "")


@pytest.mark.parametrize(
    ("name", "text", "line"),
    [
        ("a.csv", "tick,signal,value\n1,line,1\n2,lin", 3),
        ("a.vcd", f"{VCD}#5\n1!\n#9\n$dumpa", 7),
    ],
)
def test_a_file_that_is_cut_off_is_read_as_far_as_it_goes(
    tmp_path: Path, name: str, text: str, line: int
) -> None:
    path = tmp_path / name
    path.write_text(text)
    told: list[tuple[int, str]] = []

    rows = rows_in(path, BELLS, told)

    assert [(row.signal, row.value) for row in rows][:1] == [("line", 1)]
    assert told[0][0] == line
    assert "cut off" in told[0][1]


def moments_of(tmp_path: Path, text: str) -> tuple[list[tuple[int, tuple[object, ...]]], list[str]]:
    path = tmp_path / "a.csv"
    path.write_text(f"time,signal,value\n{text}")
    told: list[str] = []
    recording = open_recording(str(path), signals_of(BELLS).every, BELLS.tick)
    found = Moments(
        recording, signals_of(BELLS).momentary, lambda line, what: told.append(f"{line}: {what}")
    )
    return [(m.tick, m.changes) for m in found if m.changes], told


def test_ticks_are_counted_from_the_first_change_and_rounded(tmp_path: Path) -> None:
    found, told = moments_of(tmp_path, "1020 ms,line,1\n1071 ms,line,0\n1220 ms,line,1\n")

    assert found == [(0, (("line", 1),)), (1, (("line", 0),)), (4, (("line", 1),))]
    assert told == ["4: the recording ends while line is high"]


def test_a_pulse_shorter_than_a_tick_is_left_out_and_told(tmp_path: Path) -> None:
    found, told = moments_of(tmp_path, "0 s,line,1\n60 ms,line,0\n200 ms,line,1\n203 ms,line,0\n")

    assert found == [(0, (("line", 1),)), (1, (("line", 0),))]
    assert told == ["4: a pulse of line shorter than a tick; left out"]


def test_a_contact_that_bounces_is_one_edge(tmp_path: Path) -> None:
    found, told = moments_of(tmp_path, "0 s,line,1\n1 ms,line,0\n2 ms,line,1\n60 ms,line,0\n")

    assert found == [(0, (("line", 1),)), (1, (("line", 0),))]
    assert told == ["4: line bounces within a tick; one edge"]


def test_a_strike_may_be_shorter_than_a_tick(tmp_path: Path) -> None:
    found, _ = moments_of(tmp_path, "0 s,out.k1,1\n1 ms,out.k1,0\n")

    assert found == [(0, (("out.k1", 1),))]


@pytest.mark.slow
@pytest.mark.parametrize("ending", [".csv", ".vcd"])
def test_memory_stays_flat(tmp_path: Path, ending: str) -> None:
    """Ten times the rows, the same memory, give or take what Python caches."""

    def peak(pulses: int) -> int:
        path = tmp_path / f"{pulses}{ending}"
        with path.open("w") as file:
            file.write(VCD if ending == ".vcd" else "tick,signal,value\n")
            for k in range(pulses):
                for at, value in ((10 * k, 1), (10 * k + 5, 0)):
                    file.write(f"#{at}\n{value}!\n" if ending == ".vcd" else f"{at},line,{value}\n")
        recording = open_recording(str(path), signals_of(BELLS).every, BELLS.tick)
        tracemalloc.start()
        try:
            moments = Moments(recording, frozenset(), lambda line, what: None)
            assert sum(1 for _ in moments) > pulses
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    assert peak(40_000) < peak(8_000) + 400_000
