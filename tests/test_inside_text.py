"""Modes and timers in pictures of plain text."""

from __future__ import annotations

from pathlib import Path
from textwrap import dedent

import pytest
from click.testing import CliRunner
from hypothesis import given, reject, settings
from hypothesis import strategies as st
from rich.cells import cell_len

from tests.links import even_gaps, links, make_link, owns, schemes, scripts
from verify.cli import main
from verify.engines.simulator import NotAllowedError
from verify.engines.trace import Press, Script
from verify.questions.judging import Subject
from verify.reports.inside import InsideRow, Stretch, inside_rows
from verify.reports.inside_text import BARS, InsideText
from verify.reports.picture import picture
from verify.reports.timing_rows import ASCII, Column

PUPPETS = str(Path(__file__).parent.parent / "models" / "links" / "puppet_theatre.toml")


def test_a_picture_has_a_row_for_each_mode_and_timer_that_changes() -> None:
    subject = Subject(make_link(even_gaps(7)))
    trace = subject.replay(Script((Press(0, 6), Press(9, 0))))
    shown = picture(trace, subject.link, inside=inside_rows(trace, subject.link))

    assert shown.partition("\n\ntick ")[0] == dedent(
        """\
        tick            0    5   9 11
                        ╵    ╵   ╵ ╵
        in.k7           ▼          ┊
        in.k1                    ▼ ┊
        line            ▟▁▁▁▁▁▁▁▁▟▁▟
        due k1                     ◇
        out.k1                     ┊
        shaper.high     █        █ █
        receiver0.mode  |armed...|da
        receiver0.clock ██▇▇▆▆▅▅▄  █
                                   ▲ lost"""
    )


def test_a_bar_falls_from_full_to_low_and_is_cut_where_the_timer_is_stopped() -> None:
    row = InsideText(
        "t", 1, inside=InsideRow("t", (Stretch(0, 8, left=8), Stretch(9, 11, left=4)), 8)
    )
    columns = [Column(tick) for tick in range(12)]
    assert row.drawn(columns) == BARS[::-1] + " " + BARS[3] + BARS[2] + " "
    row.chars = ASCII
    assert row.drawn(columns) == "98765321 53 "
    assert row.changes == [0, 8, 9]


@pytest.mark.parametrize(
    ("columns", "shown"),
    [
        ([Column(t) for t in range(8)], "on....|o"),  # it began before the picture
        ([Column(t) for t in range(-1, 8)], "|on....|o"),
        ([Column(t) for t in range(2, 8)], "on..|o"),  # it goes on in another block
        ([Column(-1), Column(0, 5), Column(5), Column(6)], "|on..o"),  # in a fold
    ],
)
def test_a_word_stands_where_its_mode_begins(columns: list[Column], shown: str) -> None:
    row = InsideText("m", 1, inside=InsideRow("m", (Stretch(-1, 6, "on"), Stretch(6, 8, "off"))))
    assert row.drawn(columns) == shown


@st.composite
def pictures(draw: st.DrawFn) -> tuple[str, int]:
    link = draw(links(st.one_of(schemes, owns()))).with_operator(spacing=0, repeat=0, overlap=None)
    subject = Subject(link)
    try:
        trace = subject.replay(draw(scripts(link)))
    except NotAllowedError:
        reject()
    width = draw(st.integers(40, 90))
    ascii_only = draw(st.booleans())
    rows = inside_rows(trace, link)
    return picture(trace, link, width, inside=rows, ascii_only=ascii_only), width


@settings(max_examples=40)
@given(pictures())
def test_pictures_with_machines_keep_to_their_width(drawn: tuple[str, int]) -> None:
    shown, width = drawn
    assert max(map(cell_len, shown.splitlines())) <= width


def test_check_and_trace_show_the_inside_when_asked(tmp_path: Path) -> None:
    runner = CliRunner()
    plain = runner.invoke(main, ["check", PUPPETS]).output
    shown = runner.invoke(main, ["check", PUPPETS, "--inside"]).output
    assert "receiver0.mode" not in plain
    assert "receiver0.mode  |arm" in shown
    out = tmp_path / "run.txt"
    assert runner.invoke(main, ["trace", PUPPETS, "-o", str(out), "--inside"]).exit_code == 1
    assert "receiver0.mode  |arm" in out.read_text(encoding="utf-8")
    wrong = runner.invoke(main, ["trace", PUPPETS, "-o", str(tmp_path / "run.vcd"), "--inside"])
    assert wrong.exit_code == 2
    assert wrong.stderr == (
        f"fewwire: --inside: found {tmp_path / 'run.vcd'}; "
        "allowed: a .txt, or a .svg, which always has them\n"
    )
