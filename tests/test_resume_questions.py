"""Whole questions cut short and resumed: cells of a comparison, sequences put to a target, margins
of a rate. The same answers, and nothing asked twice."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from collections import Counter
from pathlib import Path
from time import monotonic, sleep
from typing import Any

import pytest
from click.testing import CliRunner, Result

from models.parallel_code import ParallelCode
from tests.links import even_gaps, make_link
from tests.test_fuzz import LINK as LIGHTHOUSE
from tests.test_fuzz import program
from verify.cli import main
from verify.engines.answer import Budget, OutOfTimeError, Verdict
from verify.engines.checkpoint import DamagedError
from verify.fuzzing import search
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions import compare as comparing
from verify.questions.cell import Cell
from verify.questions.compare import LATENCY, SPACING, Column, compare
from verify.questions.kept import Kept, keeping

LINKS = Path(__file__).parent.parent / "models" / "links"
CARILLON = str(LINKS / "carillon.toml")


def ask(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


@pytest.fixture(scope="module")
def frames(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A link with margins of a rate."""
    path = str(tmp_path_factory.mktemp("frames") / "frames.toml")
    assert ask("new", path, "--inputs", "2", "--scheme", "framed-serial").exit_code == 0
    return path


# -- a comparison, cell by cell -----------------------------------------------------


class Asked:
    """Columns that count how often each cell is asked; ``cut``: is interrupted at that cell."""

    def __init__(self) -> None:
        self.count: Counter[tuple[str, int]] = Counter()
        self.cut: int | None = None
        self.columns = tuple(self._counted(column) for column in (SPACING, LATENCY))
        self.slow = Column("slow", self._slow, ("least",), seconds=0.25)

    def _counted(self, column: Column) -> Column:
        def asked(link: Link, budget: Budget, spacing: Cell) -> Cell:
            if self.cut is not None and self.count.total() == self.cut:
                raise KeyboardInterrupt
            self.count[column.key, link.inputs] += 1
            return column.ask(link, budget, spacing)

        return Column(column.key, asked, column.amounts)

    def _slow(self, link: Link, budget: Budget, _: Cell) -> Cell:
        self.count["slow", link.inputs] += 1
        if budget.left() is not None and (budget.left() or 0) < 1:
            raise OutOfTimeError
        return Cell(Verdict.HOLDS, "me", "all", amounts={"least": 3})


COMPARED = [
    make_link(even_gaps(2), Operator(spacing=9)),
    make_link(even_gaps(3), Operator(spacing=9)),
    make_link(ParallelCode((1, 2, 3, 4), 3), Operator(spacing=9)),
]


@pytest.mark.parametrize("cut", [1, 3, 4, 5])
def test_a_comparison_cut_anywhere_asks_no_cell_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cut: int
) -> None:
    path, asked = str(tmp_path / "kept"), Asked()
    monkeypatch.setattr(comparing, "SPACING", asked.columns[0])
    whole = compare(COMPARED, Budget(60), columns=asked.columns)
    each = dict(asked.count)
    assert set(each.values()) == {1}
    asked.count.clear()
    asked.cut = cut
    with pytest.raises(KeyboardInterrupt), keeping(path, "links", "comparison"):
        compare(COMPARED, Budget(60), columns=asked.columns)
    # What a process that is killed would leave behind.
    assert len(Kept(path, "links", "comparison").notes) == cut

    asked.cut = None
    with keeping(path, "links", "comparison"):
        found = compare(COMPARED, Budget(60), columns=asked.columns)

    assert found == whole
    assert asked.count == each


def test_a_cell_cut_by_its_time_is_asked_again_where_there_is_more(tmp_path: Path) -> None:
    path, asked = str(tmp_path / "kept"), Asked()
    columns = (SPACING, asked.slow)

    def slow(seconds: float) -> tuple[Verdict | None, int]:
        with keeping(path, "links", "comparison"):
            (row,) = compare(COMPARED[:1], Budget(seconds), columns=columns)
        return row.cells["slow"].verdict, asked.count["slow", 2]

    assert slow(60) == (Verdict.UNDECIDED, 1)
    assert slow(60) == (Verdict.UNDECIDED, 1)
    assert slow(80) == (Verdict.HOLDS, 2)
    assert slow(60) == (Verdict.HOLDS, 2)


@pytest.mark.parametrize(
    "wrong",
    [
        {"verdict": "perhaps"},
        {"amounts": {}},
        {"amounts": {"least": "-1"}},
        {"amounts": {"least": "x"}},
        {"amounts": {"most": "1"}},
        {"seconds": -1},
        {"seconds": "long"},
        {"more": 1},
        None,
    ],
)
def test_a_cell_that_no_comparison_kept_is_refused(
    tmp_path: Path, wrong: dict[str, Any] | None
) -> None:
    path = str(tmp_path / "kept")
    with keeping(path, "links", "comparison"):
        compare(COMPARED[:1], Budget(60), columns=(SPACING,))
    with keeping(path, "links", "comparison") as kept:
        (key,) = kept.notes
        kept.keep_note(key, [] if wrong is None else kept.notes[key] | wrong)
        with pytest.raises(DamagedError, match=r"--resume: found .*; allowed: "):
            compare(COMPARED[:1], Budget(60), columns=(SPACING,))


def test_another_comparison_is_refused_and_files_are_kept_apart(tmp_path: Path) -> None:
    kept, csv = str(tmp_path / "kept"), str(tmp_path / "table.csv")
    asked = ["compare", "--inputs", "2", "--tick", "1 s", "--jobs", "1", "--time", "0.001"]
    ask(*asked, "--resume", kept)
    for other in (
        ["compare", "--inputs", "3", "--tick", "1 s", "--resume", kept],
        ["compare", CARILLON, "--resume", kept],
        ["check", CARILLON, "--resume", kept],
        ["compare", CARILLON, "--resume", CARILLON],
        ["compare", CARILLON, "--csv", csv, "--resume", csv],
    ):
        result = ask(*other)
        assert (result.exit_code, result.stdout, result.stderr.count("\n")) == (2, "", 1)


@pytest.mark.slow
def test_a_comparison_that_is_killed_loses_no_cell_that_was_there(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    words = ["compare", CARILLON, LIGHTHOUSE, "--jobs", "2", "--json"]
    command = [sys.executable, "-m", "verify", *words, "--resume", str(kept)]
    killed = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    end = monotonic() + 60
    while not kept.exists() or len(json.loads(kept.read_text())["notes"]) < 3:
        assert monotonic() < end
        sleep(0.02)
    killed.send_signal(signal.SIGKILL)
    killed.wait()
    before = json.loads(kept.read_text())["notes"]

    again = subprocess.run(command, capture_output=True, text=True, check=True)

    after = json.loads(kept.read_text())["notes"]
    assert f"resumed {kept}: {len(before)} notes of whole questions" in again.stderr
    assert {key: after[key] for key in before} == before
    assert len(json.loads(again.stdout)["links"]) == 2


# -- commands -----------------------------------------------------------------------


@pytest.mark.parametrize(
    "words",
    [
        ["summary", CARILLON],
        ["lifetime", CARILLON],
        ["trace", str(LINKS / "puppet_theatre.toml"), "--force", "--out", "OUT.json"],
        ["schedule", CARILLON, str(LINKS / "carillon_tune.csv")],
        ["margin", "frames", "--of", "clock.rate"],
    ],
)
def test_a_command_resumed_says_the_same(tmp_path: Path, words: list[str], frames: str) -> None:
    kept = str(tmp_path / "kept")
    given = {"frames": frames, "OUT.json": str(tmp_path / "out.json")}
    words = [given.get(word, word) for word in words]
    whole = ask(*words, "--json")

    first, again = (ask(*words, "--json", "--resume", kept) for _ in range(2))

    assert whole.stdout == first.stdout == again.stdout
    assert not first.stderr.startswith("resumed")
    assert again.stderr.startswith(f"resumed {kept}: ")


def test_a_report_resumed_is_the_same(tmp_path: Path, frames: str) -> None:
    kept = str(tmp_path / "kept")
    for folder in ("first", "again"):
        words = ["report", frames, "-o", str(tmp_path / folder), "--resume", kept]
        result = ask(*words)
        assert result.exit_code == 0, result.output
    assert "resumed" in result.stderr
    first, again = (tmp_path / folder / "report.html" for folder in ("first", "again"))
    assert first.read_bytes() == again.read_bytes()
    words[words.index(kept)] = str(tmp_path / "again" / "report.md")
    assert ask(*words, "--force").exit_code == 2


def rate(frames: str, kept: Path) -> Result:
    return ask("margin", frames, "--of", "clock.rate", "--json", "--resume", str(kept))


@pytest.mark.parametrize(
    "wrong",
    [
        {"verdict": "undecided"},
        {"amount": None},
        {"amount": "0.1"},
        {"amount": "1/0"},
        {"run": {"error": "1"}},
        {"script": {"presses": [[0, 99]]}},
        {"script": {"presses": [[0, -1]]}},
        {"script": {"presses": []}},
        {"script": {"constants": []}},
        {"script": {"parts": 0}},
        {"error": "0"},
        {"error": "9"},
    ],
)
def test_a_margin_of_a_rate_that_no_question_kept_is_refused(
    tmp_path: Path, wrong: dict[str, Any], frames: str, kept_rate: str
) -> None:
    path = tmp_path / "kept"
    path.write_text(kept_rate, encoding="utf-8")
    text = Path(frames).read_text("utf-8")
    with keeping(str(path), text) as kept:
        key, note = next((k, n) for k, n in kept.notes.items() if n["run"] is not None)
        if "script" in wrong:
            note["run"]["script"] |= wrong["script"]
        elif "error" in wrong:
            note["run"] |= wrong
        else:
            note |= wrong
        kept.keep_note(key, note)
    result = rate(frames, path)

    assert (result.exit_code, result.stdout, result.stderr.count("\n")) == (2, "", 2)
    assert "allowed: a new name" in result.stderr


@pytest.fixture(scope="module")
def kept_rate(frames: str, tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("rate") / "kept"
    assert rate(frames, path).exit_code == 0
    return path.read_text("utf-8")


# -- sequences put to a target ------------------------------------------------------


def test_sequences_that_were_over_are_not_put_to_the_target_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(search, "BATCH", 5)
    asked: list[int] = []
    batch = search._search

    def counted(bench: Any, runs: int, *rest: Any) -> None:
        asked.append(runs)
        batch(bench, runs, *rest)

    monkeypatch.setattr(search, "_search", counted)
    kept = str(tmp_path / "kept")

    def fuzz(*more: str, target: str = "lantern.py") -> Result:
        where = ["--resume", kept] if more[-1] != "anew" else []
        words = [word for word in more if word != "anew"]
        asked.clear()
        return ask(
            *("fuzz", LIGHTHOUSE, "--receiver", "--command", program(target), "--json"),
            *(*words, *where),
        )

    first = fuzz("--runs", "8")
    assert (asked[0], sum(asked)) == (5, 8)
    assert "resumed" not in first.stderr
    again = fuzz("--runs", "14")
    assert (asked[0], sum(asked)) == (5, 9)
    assert again.stdout == fuzz("--runs", "14", "anew").stdout
    for other in (["--seed", "1"], ["--presses", "3"]):
        fuzz("--runs", "6", *other)
        assert sum(asked) == 6


def test_a_count_of_sequences_that_cannot_be_is_refused(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    words = ["fuzz", LIGHTHOUSE, "--receiver", "--command", program("lantern.py"), "--runs", "50"]
    words += ["--presses", "1", "--resume", str(kept)]
    assert ask(*words).exit_code == 3
    text = Path(LIGHTHOUSE).read_text("utf-8")
    for wrong in ([], [1], [1, 2, "3"], [1, -1, 0], [1, True, 0], {}, 7, [1 << 50, 1, 1]):
        with keeping(str(kept), text) as there:
            (key,) = there.notes
            there.keep_note(key, wrong)
        result = ask(*words)
        assert (result.exit_code, result.stdout, result.stderr.count("\n")) == (2, "", 2)
