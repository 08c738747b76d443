"""``fewwire trace`` and ``fewwire replay`` as a user meets them."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from verify.cli import main

LINKS = Path(__file__).parent.parent / "models" / "links"
CARILLON, PUPPETS = str(LINKS / "carillon.toml"), str(LINKS / "puppet_theatre.toml")
EVENSONG = str(LINKS / "carillon_evensong.csv")


def ask(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


@pytest.mark.parametrize("ending", [".vcd", ".csv", ".json"])
def test_a_counterexample_is_written_and_agrees_with_its_model(tmp_path: Path, ending: str) -> None:
    out = str(tmp_path / f"moon{ending}")

    assert ask("trace", PUPPETS, "--out", out).exit_code == 1
    found = ask("replay", PUPPETS, out)

    assert found.exit_code == 0
    assert "First wrong by its inputs: tick 4 (200 ms)" in found.stdout
    assert "ghost" in found.stdout


@pytest.mark.parametrize("ending", [".vcd", ".csv", ".json"])
def test_a_recording_of_what_is_lost_lasts_until_it_is_due(tmp_path: Path, ending: str) -> None:
    """Nothing happens any more when the second strike should have come."""
    link, out = tmp_path / "busy.toml", str(tmp_path / f"busy{ending}")
    link.write_text(
        'tick = "10 ms"\n[inputs]\nnames = ["tenor"]\n[link]\nscheme = "pulse-gap"\n'
        'gaps = [5]\npulse = 2\nbusy = "ignore"\n[operator]\nspacing = 3\n'
    )

    assert ask("trace", str(link), "--out", out).exit_code == 1
    found = " ".join(ask("replay", str(link), out).stdout.split())

    assert found.startswith("agrees: ")
    assert "First wrong by its inputs: tick 8 (80 ms)" in found
    assert "lost, out.tenor does not come in time; the model does the same" in found


def test_pictures_are_written_too(tmp_path: Path) -> None:
    svg, text = tmp_path / "moon.svg", tmp_path / "moon.txt"

    assert ask("trace", PUPPETS, "--out", str(svg)).exit_code == 1
    assert ask("trace", PUPPETS, "--out", str(text)).exit_code == 1

    assert ET.parse(svg).getroot().tag.endswith("svg")
    assert "read as 'moon', so it struck" in " ".join(text.read_text(encoding="utf-8").split())


def test_nothing_is_written_where_nothing_fails(tmp_path: Path) -> None:
    out = tmp_path / "none.vcd"

    result = ask("trace", CARILLON, "--out", str(out))

    assert result.exit_code == 0
    assert result.stdout.startswith("holds: no sequence breaks the link")
    assert not out.exists()


def test_the_run_of_given_presses(tmp_path: Path) -> None:
    presses, out = tmp_path / "two.csv", tmp_path / "two.json"
    presses.write_text("input,tick\nc,0\nb,16\n")

    result = ask("trace", CARILLON, "--out", str(out), "--presses", str(presses))

    assert result.exit_code == 0, result.stderr
    events = json.loads(out.read_text())["events"]
    assert [e["tick"] for e in events if e["signal"].startswith("out.")] == [3, 31]


@pytest.mark.parametrize(
    ("presses", "message"),
    [
        ("input\nc\nd\n", "found no times; allowed: a column tick or time"),
        ("input,tick\nc,0\nd,3\n", "found a press at 3 ticks (150 ms) that the operator"),
    ],
)
def test_presses_that_cannot_be_played(tmp_path: Path, presses: str, message: str) -> None:
    path, out = tmp_path / "p.csv", tmp_path / "p.vcd"
    path.write_text(presses)

    result = ask("trace", CARILLON, "--out", str(out), "--presses", str(path))

    assert result.exit_code == 2
    assert message in result.stderr
    assert not out.exists()


def test_an_unknown_ending_and_a_file_that_is_there_are_refused(tmp_path: Path) -> None:
    there = tmp_path / "there.vcd"
    there.write_text("mine")

    wrong, taken = ask("trace", PUPPETS, "--out", "x.vdc"), ask("trace", PUPPETS, "-o", str(there))

    assert (wrong.exit_code, taken.exit_code) == (2, 2)
    assert 'found ending ".vdc"; allowed: a name that ends in .vcd' in wrong.stderr
    assert "did you mean '.vcd'?" in wrong.stderr
    assert "or --force" in taken.stderr
    assert there.read_text() == "mine"


# -- replay -------------------------------------------------------------------------


def test_the_demo_recording_lost_a_pulse_on_its_line() -> None:
    result = ask(
        "replay", CARILLON, EVENSONG, "--within", "line.swallowed=2", "--within", "line.jitter=3",
        "--within", "clock.rate=5 %", "--json",
    )  # fmt: skip

    answer = json.loads(result.stdout)
    assert result.exit_code == 1
    assert answer["parting"]["blame"] == ["line"]
    assert (answer["parting"]["tick"], answer["parting"]["signal"]) == (67, "line.far")
    assert {"tick": 67, "signal": "out.g", "value": 1} in answer["due"]
    assert {"tick": 67, "signal": "out.g", "value": 1} not in answer["recorded"]
    assert (answer["wrong"]["kind"], answer["wrong"]["expected"]) == ("lost", "out.g")
    swallowed, jitter, rate = answer["explained"]
    assert (swallowed["verdict"], swallowed["amount"]) == ("explains", 1)
    assert swallowed["whole"]["amount"] == 1
    assert [pick["tick"] for pick in swallowed["picks"]] == [66]
    assert (jitter["verdict"], rate["verdict"]) == ("none", "none")


def rows(*lines: str) -> str:
    return "\n".join(["tick,signal,value", *lines, ""])


@pytest.mark.parametrize(
    ("text", "blame", "says"),
    [
        (
            rows("0,in.c,pulse", "0,line,1", "1,line,0", "3,line,1", "4,line,0"),
            ["transmitter"],
            "To blame: the transmitter.",
        ),
        (
            rows("0,line,1", "1,line,0", "2,line,1", "3,line,0", "3,out.d,pulse", "9,line,1"),
            ["line", "receiver"],
            "To blame: the line or the receiver; nothing between them",
        ),
        (
            rows("0,in.c,pulse", "3,out.c,0", "3,out.d,pulse", "9,in.c,0"),
            ["transmitter", "line", "receiver"],
            "out.c strikes in the model; in the recording out.d strikes",
        ),
    ],
)
def test_who_is_to_blame_as_far_as_was_recorded(
    tmp_path: Path, text: str, blame: list[str], says: str
) -> None:
    path = tmp_path / "r.csv"
    path.write_text(text)

    told, asked = ask("replay", CARILLON, str(path)), ask("replay", CARILLON, str(path), "--json")

    assert (told.exit_code, asked.exit_code) == (1, 1)
    assert says in " ".join(told.stdout.split())
    assert json.loads(asked.stdout)["parting"]["blame"] == blame


def test_a_slow_clock_is_found_to_the_fraction(tmp_path: Path) -> None:
    """Sent on a clock that is off by 1/20: gaps of 40 and 80 ticks last 42 and 84."""
    link, path = tmp_path / "link.toml", tmp_path / "r.csv"
    link.write_text(
        'tick = "1 ms"\n[inputs]\ncount = 2\n[link]\nscheme = "pulse-gap"\ngaps = [40, 80]\n'
        "pulse = 20\nwindow = 9\n[operator]\nspacing = 200\n"
    )
    path.write_text(
        rows(
            "0,in.1,pulse", "0,line,1", "21,line,0", "42,line,1", "63,line,0",
            "400,in.2,pulse", "400,line,1", "421,line,0", "484,line,1", "505,line,0",
        )
    )  # fmt: skip

    result = ask("replay", str(link), str(path), "--within", "clock.rate=0.1", "--json")

    (found,) = json.loads(result.stdout)["explained"]
    # Half a tick either way is rounding. Of the first send, the last fall asks for the most:
    # 60 ticks came as 63. Of the second, 100 ticks came as 105.
    assert Fraction(found["amount"]) == Fraction(125, 2) / 60 - 1
    assert Fraction(found["whole"]["amount"]) == Fraction(209, 2) / 100 - 1


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--within", "line.jiter=2"], "did you mean 'line.jitter'?"),
        (["--within", "line.jitter"], "allowed: KIND=MOST"),
        (["--within", "line.jitter=0"], "at least 1"),
        (["--within", "clock.offset=2"], "allowed: a scheme whose receiver has a clock"),
        (["--within", "line.skew=2"], "found a link of one line"),
        (["--within", "clock.rate=2"], "up to 0.5"),
        (["--within", "line.swallowed=x"], "a number of pulses"),
        (["--name", "D0=out.z"], 'found "D0=out.z"; allowed: THEIRS=OURS'),
    ],
)
def test_wrong_options_are_told_in_one_line(arguments: list[str], message: str) -> None:
    result = ask("replay", CARILLON, EVENSONG, *arguments)

    assert result.exit_code == 2
    assert message in result.stderr
    assert result.stderr.count("\n") == 1


def test_outputs_alone_cannot_be_compared(tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    path.write_text(rows("0,out.c,pulse"))

    result = ask("replay", CARILLON, str(path))

    assert result.exit_code == 2
    assert "found nothing but outputs" in result.stderr


def test_a_recording_with_names_of_its_own(tmp_path: Path) -> None:
    path = tmp_path / "r.vcd"
    path.write_text(
        "$timescale 1 ms $end\n$scope module bench $end\n$var wire 1 a D0 $end\n"
        "$var wire 1 b D1 $end\n$var wire 1 c clk $end\n$upscope $end\n$enddefinitions $end\n"
        "#0\n0a\n0b\n0c\n#1000\n1a\n#1049\n0a\n#1101\n1a\n#1149\n0a\n#1150\n1b\n#1151\n0b\n#1300\n1c\n"
    )
    named = ["--name", "D0=line", "--name", "D1=out.c"]

    exact = ask("replay", CARILLON, str(path), *named, "--tolerance", "0")
    rounded = ask("replay", CARILLON, str(path), *named)

    assert exact.exit_code == 0, exact.stdout
    assert "compared give or take 1 tick: line to outputs" in " ".join(rounded.stdout.split())


def test_presses_closer_than_the_operator_allows_are_warned_of(tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    path.write_text(rows("0,in.c,pulse", "5,in.d,pulse"))

    result = ask("replay", CARILLON, str(path))

    assert "r.csv:3: in.d: sooner than [operator] of the link file allows" in result.stderr
