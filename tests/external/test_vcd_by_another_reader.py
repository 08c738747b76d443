"""Our VCD files read by a library that had no part in writing them, edge by edge.

Library: vcdvcd 2.6.0 from PyPI, a reader of its own. Format: IEEE Std 1364-2005, clause 18 (F).
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import vcdvcd
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from tests.links import links, scripts
from verify.engines.simulator import NotAllowedError
from verify.questions.judging import Subject
from verify.recordings.formats import trace_text
from verify.recordings.recording import signals_of

UNITS = {"s": 0, "ms": 3, "us": 6, "ns": 9, "ps": 12, "fs": 15}


@settings(max_examples=40, suppress_health_check=[HealthCheck.filter_too_much])
@given(st.data(), st.sampled_from([Fraction(1, 20), Fraction(15, 1000), Fraction(104, 10**6)]))
def test_every_edge_of_a_trace_is_there_and_no_other(data: st.DataObject, tick: Fraction) -> None:
    link = replace(data.draw(links()), tick=tick)
    try:
        trace = Subject(link).replay(data.draw(scripts(link)))
    except NotAllowedError:
        assume(False)

    read = vcdvcd.VCDVCD(vcd_string=trace_text(trace, link, ".vcd"))

    scale = read.timescale
    second = Fraction(scale["magnitude"]) / 10 ** UNITS[scale["unit"]]
    shown = signals_of(link, trace.script.delay)
    assert {name.removeprefix("link.") for name in read.references_to_ids} == {*shown.shown}
    for name in shown.shown:
        values = [(at, int(value)) for at, value in read[f"link.{name}"].tv]
        if name not in shown.momentary:
            assert values[0] == (0, 0)  # as $dumpvars has it
            values = values[1:]
        seconds = [(at * second, value) for at, value in values]
        ours = [(e.tick * tick, e.value) for e in trace.events if e.signal == name]
        assert seconds == ours


def test_the_timescale_is_one_that_the_standard_has() -> None:
    """1, 10 or 100 of a unit from s to fs (IEEE Std 1364-2005, 18.2.3.7; F)."""
    from tests.links import even_gaps, make_link
    from verify.engines.trace import Event, Script, Trace

    link = replace(make_link(even_gaps(1)), tick=Fraction(35, 10**5))
    text = trace_text(Trace(Script(()), (Event(3, "line", 1),), None), link, ".vcd")

    assert "$timescale 10 us $end" in text
    read = vcdvcd.VCDVCD(vcd_string=text)
    assert read["link.line"].tv == [(0, "0"), (105, "1")]
