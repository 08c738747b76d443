"""Designs cut short and resumed: the same tables and proofs, and no choice made twice."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from fractions import Fraction
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from verify.cli import main
from verify.design import proof
from verify.design.chords import best_chords
from verify.design.codes import fewest_lines
from verify.design.gaps import GapDemand
from verify.design.proof import Effort, OutOfTimeError
from verify.design.rulers import best_ruler
from verify.design.trail import Trail
from verify.design.words import Demand, first_fit
from verify.engines.answer import Budget, Progress
from verify.engines.checkpoint import DamagedError


class Counted(Effort):
    """Counts the choices that are made here, not those of searches that this one goes on from."""

    made = 0

    def choice(self) -> None:
        before = self.progress.states
        try:
            super().choice()
        finally:
            self.made += self.progress.states - before


def demand(inputs: int, **what: Any) -> GapDemand:
    sizes: dict[str, Any] = {"pulse": 1, "jitter": 0, "rate": Fraction(0), "window": None}
    sizes |= {"receiver": "taps", "grid": 1, "longest": None} | what
    return GapDemand(inputs, *(sizes[name] for name in sizes))


SEARCHES: dict[str, Callable[[Effort], Any]] = {
    "chords": lambda effort: best_chords(demand(10, jitter=1), effort),
    "chords of two windows": lambda effort: best_chords(demand(9, window=(1, 2)), effort),
    "ruler": lambda effort: best_ruler(demand(6), effort),
    "ruler with jitter": lambda effort: best_ruler(demand(4, jitter=1), effort),
    "codes": lambda effort: fewest_lines(9, Demand(held=2), effort),
    "codes told apart": lambda effort: fewest_lines(8, Demand(held=2, reading="sets"), effort),
    "codes that fit": lambda effort: effort.search(
        "fit", lambda: first_fit(10, 14, Demand(held=2), effort)
    ),
}


def stopped(found: Any) -> bool:
    return "stopped" in str(found)


@pytest.mark.parametrize("search", SEARCHES)
@pytest.mark.parametrize("looks", [1, 20])
def test_a_search_cut_anywhere_ends_as_one_that_was_not(
    search: str, looks: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(proof, "_LOOK", 7)
    ask = SEARCHES[search]
    whole = Counted()
    wanted = ask(whole)
    kept: list[Any] = [None]
    made = pieces = 0
    while True:
        effort = Counted(
            Budget(float(looks), clock=count().__next__),
            Progress(),
            Trail(kept[-1], lambda far: kept.append(json.loads(json.dumps(far)))),
        )
        try:
            found = ask(effort)
        except OutOfTimeError:
            found = "stopped"
        pieces += 1
        made += effort.made
        if not stopped(found):
            break
        assert pieces < 1_000

    assert found == wanted
    assert pieces >= 2 or looks > 1
    assert made == whole.made


def test_what_is_no_position_of_a_search_is_refused() -> None:
    for far in (
        7,
        {},
        {"ended": [["a", -1, None]], "cut": None},
        {"ended": [["a", 1, ["b"]]], "cut": None},
        {"ended": [[1, 1, None]], "cut": None},
        {"ended": [], "cut": ["a", [1.5], 1, None]},
        {"ended": [], "cut": ["a", "bc", 1, None]},
        {"ended": [], "cut": ["a", [1], True, None]},
        {"ended": [], "cut": ["a", [1] * 5_000, 1, None]},
        {"ended": [], "cut": []},
    ):
        with pytest.raises(DamagedError):
            Trail(far)


# -- the command line -------------------------------------------------------------

RULER = ("design", "--inputs", "8", "--overlap", "chords", "--distinct", "--json")


def ask(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


def test_a_design_resumed_says_the_same_and_searches_nothing_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = str(tmp_path / "kept")
    whole = ask(*RULER)
    first = ask(*RULER, "--resume", kept)
    made: list[int] = []
    choice = Effort.choice
    monkeypatch.setattr(Effort, "choice", lambda effort: (made.append(1), choice(effort)))

    again = ask(*RULER, "--resume", kept)

    assert whole.stdout == first.stdout == again.stdout
    assert json.loads(whole.stdout)["optimal"]
    assert first.stderr == ""
    assert again.stderr.startswith(f"resumed {kept}: 2 answers of engines, ")
    assert made == []


def test_another_design_has_another_file(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    link = Path(__file__).parent.parent / "models" / "links" / "carillon.toml"
    assert ask("design", "--inputs", "3", "--resume", str(kept)).exit_code == 0
    before = kept.read_text("utf-8")
    for other in (
        ask("design", "--inputs", "4", "--resume", str(kept)),
        ask("design", "--inputs", "3", "--jitter", "1", "--resume", str(kept)),
        ask("check", str(link), "--resume", str(kept)),
    ):
        assert (other.exit_code, other.stdout) == (2, "")
        assert "found the answers about another" in other.stderr
    assert kept.read_text("utf-8") == before
    same = ask("design", "--inputs", "3", "--resume", str(kept), "-o", str(kept), "--force")
    assert same.exit_code == 2
    assert kept.read_text("utf-8") == before


@pytest.mark.slow
def test_a_design_that_is_killed_goes_on_from_some_seconds_before(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    command = [sys.executable, "-m", "verify", "design", "--inputs", "10", "--overlap", "chords"]
    command += ["--distinct", "--resume", str(kept), "--time", "100"]
    running = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    def cut() -> int:
        """Choices made in the search under way, as far as they are kept."""
        if not kept.exists() or not (tables := json.loads(kept.read_text())["tables"]):
            return 0
        return int(tables["cut"][2]) if tables["cut"] else 0

    while not cut():
        time.sleep(0.1)
        assert running.poll() is None
    running.kill()
    running.wait()
    before, ended = cut(), json.loads(kept.read_text())["tables"]["ended"]
    command[-1] = "1"

    again = subprocess.run(command, capture_output=True, text=True)

    assert f"{len(ended)} searches for a table and one under way" in again.stderr
    now = json.loads(kept.read_text())["tables"]
    assert now["ended"][: len(ended)] == ended
    assert cut() > before or len(now["ended"]) > len(ended)
