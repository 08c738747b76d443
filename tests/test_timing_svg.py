"""The timing picture as SVG: well formed, every column with its tick, machines' rows inside."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from xml.etree import ElementTree

import pytest

from models.framed_serial import FramedSerial
from models.pulse_gap import PulseGap
from models.scan import Scan
from models.wire_per_input import WirePerInput
from tests.links import make_link
from verify.engines.answer import Budget, Progress
from verify.engines.trace import Trace
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions.judging import Subject, judge
from verify.reports.inside import inside_rows
from verify.reports.timing_svg import timing_svg

SVG = "{http://www.w3.org/2000/svg}"
CHROMIUM = shutil.which("chromium")


def failing(link: Link) -> tuple[Trace, Subject]:
    subject = Subject(link)
    trace = judge(subject, "auto", Progress(), budget=Budget(20)).trace
    assert trace is not None
    return trace, subject


CASES = {
    "pulse-gap": make_link(PulseGap((2, 5, 9), 1, (0, 0, 0)), Operator(spacing=2)),
    "framed-serial": make_link(FramedSerial((1, 2, 3), 2, 4, 6), Operator(spacing=5)),
    "lost": make_link(PulseGap((3, 30), 1, (0, 0), busy="ignore"), Operator(spacing=2)),
    "scan": make_link(Scan(3, 4, 2, offset=(0, 3)), Operator(), kind="level"),
    "swallowed": make_link(WirePerInput(2), Operator(), delay=(5, 5), faults=Faults(shortest=5)),
}


@pytest.mark.parametrize("name", CASES)
def test_it_is_well_formed_and_has_every_tick_of_the_trace(name: str) -> None:
    trace, subject = failing(CASES[name])
    picture = ElementTree.fromstring(timing_svg(trace, subject.link, windows=subject.windows))

    columns = [
        (int(rect.attrib["data-tick"]), int(rect.attrib.get("data-ticks", 1)))
        for rect in picture.iter(f"{SVG}rect")
        if "data-tick" in rect.attrib
    ]
    shown = {tick for first, ticks in columns for tick in range(first, first + ticks)}
    assert {event.tick for event in trace.events} <= shown
    # Power-up is a tick before the first; nothing is shown of it.
    assert min(shown) >= 0
    assert trace.failure is not None
    assert trace.failure.tick in shown
    texts = [text.text for text in picture.iter(f"{SVG}text")]
    assert trace.failure.kind in texts
    description = picture.find(f"{SVG}desc")
    assert description is not None
    assert str(trace.failure.tick) in (description.text or "")


def test_long_stretches_are_folded() -> None:
    gaps = (40, 500, 1000)
    link = make_link(PulseGap(gaps, 1, (0, 0, 0), busy="ignore"), Operator(spacing=300))
    trace, subject = failing(link)
    picture = timing_svg(trace, link, windows=subject.windows)

    assert "data-ticks" in picture
    assert len(picture) < 40_000


def test_modes_and_timers_are_those_of_the_run() -> None:
    link = make_link(PulseGap((10, 20), 1, (0, 0)), Operator(spacing=3))
    trace, subject = failing(link)
    rows = {row.name: row for row in inside_rows(trace, link, subject.windows)}

    words = [stretch.word for stretch in rows["receiver0.mode"].stretches]
    assert words[:2] == ["disarmed", "armed"]
    clock = rows["receiver0.clock"].stretches[0]
    # It is armed by the first rise, and would wait one tick more than the longest gap.
    assert (clock.first, clock.left) == (0, 21)


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")
def test_a_browser_draws_it(tmp_path: Path) -> None:
    trace, subject = failing(CASES["framed-serial"])
    file, image = tmp_path / "picture.svg", tmp_path / "picture.png"
    file.write_text(timing_svg(trace, subject.link, windows=subject.windows))
    options = ["--headless", "--no-sandbox", "--disable-gpu", f"--screenshot={image}"]
    subprocess.run(
        [str(CHROMIUM), *options, "--window-size=900,500", file.as_uri()],
        capture_output=True,
        check=True,
        timeout=60,
    )

    # One colour would compress to next to nothing.
    assert image.stat().st_size > 5_000
    assert re.match(rb"\x89PNG", image.read_bytes())
