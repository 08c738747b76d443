"""Command ``design``: files that check proves, findings, and wrong input."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from verify.cli import main
from verify.design.codes import fewest_lines
from verify.design.pace import PaceDemand, fastest
from verify.design.proof import Effort
from verify.design.words import Demand, is_good
from verify.engines.answer import Budget, Verdict


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


@pytest.mark.parametrize(
    "asked",
    [
        "--inputs 16 --jitter 1",
        "--inputs 5 --pulse 100ms --receiver taps",
        "--inputs 4 --window 1,2",
        "--inputs 5 --overlap chords",
        "--inputs 3 --overlap any",
        "--scheme parallel-code --inputs 7",
        "--scheme parallel-code --inputs 6 --skew 1",
        "--scheme parallel-code --inputs 12 --held 2",
        "--scheme parallel-code --inputs 9 --held 2 --told-apart",
        "--scheme parallel-code --inputs 5 --held 5 --no-ghosts",
        "--scheme framed-serial --inputs 7 --jitter 1",
        "--scheme free-scan --inputs 4 --offset 1",
        "--scheme synced-scan --inputs 3",
    ],
)
def test_check_proves_what_was_written(tmp_path: Path, asked: str) -> None:
    file = str(tmp_path / "made.toml")
    made = run("design", *asked.split(), "-o", file, "--json")
    assert made.exit_code == 0, made.output
    answer = json.loads(made.stdout)
    assert answer["verdict"] == "holds"
    assert answer["optimal"] is True
    assert answer["best"] == answer["bound"]
    assert answer["refutation"]
    assert answer["link_file"] == Path(file).read_text(encoding="utf-8")
    checked = run("check", file, "--json")
    assert checked.exit_code == 0
    assert json.loads(checked.stdout)["verdict"] == "holds"


def test_a_link_file_on_stdout_and_the_finding_on_stderr() -> None:
    made = run("design", "--inputs", "4")
    assert made.exit_code == 0
    assert "gaps = [2, 3, 4, 5]" in made.stdout
    assert made.stderr.startswith("optimal: pulse-gap for 4 inputs; longest gap 5 ticks (250 ms)")


def test_what_cannot_be_is_refuted() -> None:
    made = run("design", "--inputs", "9", "--within-length", "8", "--json")
    assert made.exit_code == 1
    answer = json.loads(made.stdout)
    assert answer["verdict"] == "fails"
    assert answer["link_file"] is None
    assert answer["bound"] is None
    few = run("design", *["--scheme", "parallel-code", "--inputs", "8", "--lines", "3", "--json"])
    assert few.exit_code == 1


def test_a_search_out_of_time_says_so() -> None:
    made = run(
        "design",
        *["--scheme", "parallel-code", "--inputs", "14", "--held", "2", "--time", "0.3", "--json"],
    )
    answer = json.loads(made.stdout)
    assert answer["optimal"] is False
    assert (answer["best"], answer["bound"]) == (11, 10)
    assert "stopped" in answer["refutation"][-1]
    assert "Manev 2009" in answer["published"][0]


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("--inputs 1", "--inputs: found 1; allowed: 2 to 2000: one input needs no table"),
        ("--inputs 4 --skew 1", "--skew: found with --scheme pulse-gap; allowed: with parallel"),
        ("--inputs 4 --distinct", "--distinct: found alone; allowed: with --overlap chords"),
        ("--inputs 4 --jitter soon", '--jitter: found "soon"; allowed: a whole number of ticks'),
        ("--inputs 4 --jitter 30ms", '--jitter: found "30ms"; allowed: a whole number of ticks'),
        ("--inputs 4 --tick 0s", '--tick: found "0s"; allowed'),
        ("--inputs 4 --rate 70%", '--rate: found "70%"; allowed: a share below a half'),
        ("--inputs 4 --window 1,2,3", '--window: found "1,2,3"; allowed: one time'),
        ("--inputs 4 --window 0 --jitter 1", "--window: found 0 before and 0 after; allowed"),
        ("--inputs 4 --scheme parallel-code --no-ghosts", "--no-ghosts: found alone; allowed"),
        ("--inputs 4 --scheme parallel-code --held 9", "--held: found 9; allowed"),
        ("--inputs 4 --overlap chords --rate 1%", "--rate: found with --overlap"),
    ],
)
def test_wrong_input_is_one_line(asked: str, said: str) -> None:
    made = run("design", *asked.split())
    assert made.exit_code == 2
    assert made.stdout == ""
    assert made.stderr.startswith(f"fewwire: {said}")
    assert made.stderr.count("\n") == 1


def test_a_file_that_is_there_is_kept(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text("mine")
    assert run("design", "--inputs", "3", "-o", str(file)).exit_code == 2
    assert file.read_text() == "mine"
    assert run("design", "--inputs", "3", "-o", str(file), "--force").exit_code == 0
    assert "gaps = [2, 3, 4]" in file.read_text()


@pytest.mark.parametrize("reading", ["each", "sets", "no-ghosts"])
@pytest.mark.parametrize("skew", [False, True])
@pytest.mark.parametrize("held", [2, 3])
def test_every_table_is_as_demanded(reading: str, skew: bool, held: int) -> None:
    for inputs in (2, 4, 6, 9):
        demand = Demand(skew, held, reading)  # type: ignore[arg-type]
        table, proof = fewest_lines(inputs, demand, Effort(Budget(5)))
        assert table is not None
        assert len(table.words) == inputs
        assert is_good(table.words, demand)
        assert proof.bound is not None
        assert proof.bound <= table.lines


def test_pace_does_not_rest_on_longer_being_safer() -> None:
    good = {(5, 2), (9, 4), (9, 5), (16, 8), (16, 4), *((p, p // 2) for p in range(17, 40))}

    def judge(period: int, sample: int) -> Verdict:
        return Verdict.HOLDS if (period, sample) in good else Verdict.FAILS

    pace, proof = fastest(PaceDemand("bit", judge, lambda period: range(1, period)), Effort())
    assert pace is not None
    assert (pace.period, pace.sample) == (5, 2)
    assert proof.optimal


def test_pace_left_open_is_not_optimal() -> None:
    def judge(period: int, sample: int) -> Verdict:
        return Verdict.HOLDS if period >= 6 else Verdict.UNDECIDED

    pace, proof = fastest(PaceDemand("bit", judge, lambda period: range(1, period)), Effort())
    assert pace is not None
    assert (pace.period, proof.bound) == (6, 2)
    assert not proof.optimal
