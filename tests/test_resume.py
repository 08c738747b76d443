"""Searches cut short and resumed: the same answers, and nothing decided twice."""

from __future__ import annotations

import base64
import json
import signal
import subprocess
import sys
import zlib
from collections.abc import Callable
from itertools import count
from pathlib import Path
from time import monotonic
from typing import Any, TypeVar

import pytest
import z3
from click.testing import CliRunner, Result

from models.pulse_gap import PulseGap
from tests.links import even_gaps, make_link
from verify.cli import main
from verify.engines.answer import Answer, Budget, OutOfTimeError, Progress, Verdict
from verify.engines.checkpoint import Checkpoint, DamagedError
from verify.engines.outcomes import Outcomes
from verify.engines.solver import Search
from verify.engines.trace import Press, Script
from verify.errors import UsageError
from verify.linkfile import load
from verify.parts.line import Faults
from verify.parts.link import Link
from verify.parts.operator import Operator
from verify.questions import engine_choice, judging
from verify.questions.judging import Subject, judge
from verify.questions.kept import Kept, keeping
from verify.questions.margin import margin
from verify.questions.spacing import least_spacing

LINKS = Path(__file__).parent.parent / "models" / "links"
GREENHOUSE = LINKS / "greenhouse.toml"
CARILLON = str(LINKS / "carillon.toml")

T = TypeVar("T")


def looks(many: int) -> Budget:
    """Spent when it has been asked so often: cut at the same place on every machine."""
    return Budget(float(many), clock=count().__next__)


def in_pieces(
    path: Path, many: int, ask: Callable[[Budget], T], decided: Callable[[T], bool]
) -> tuple[T, list[int]]:
    """Ask again and again with too little time; the answer, and what was kept after each."""
    kept_after: list[int] = []
    for _ in range(200):
        with keeping(str(path), "a link") as kept:
            assert kept.resumed == (kept_after[-1] if kept_after else 0)
            try:
                found = ask(looks(many))
            except OutOfTimeError:
                found = None
        kept_after.append(len(kept.answers))
        if found is not None and decided(found):
            return found, kept_after
    raise AssertionError(kept_after)


def test_parts_proved_before_the_time_was_up_are_not_searched_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    subject = Subject(load(GREENHOUSE))
    whole = judge(subject, "zones", Progress())
    parts = len(subject.distinct_parts())
    searches: list[Verdict] = []
    zones = engine_choice.zones

    def counted(*arguments: Any) -> Answer:
        answer = zones(*arguments)
        searches.append(answer.verdict)
        return answer

    monkeypatch.setattr(engine_choice, "zones", counted)

    def ask(budget: Budget) -> judging.Judgement:
        return judge(subject, "zones", Progress(), budget=budget)

    # Zones of all parts together: 1,811 when this was written. No part has as many as this.
    found, kept = in_pieces(
        tmp_path / "kept", 900, ask, lambda judged: judged.verdict is not Verdict.UNDECIDED
    )

    assert found == whole
    assert len(kept) >= 2
    assert kept == sorted(set(kept))
    assert kept[-1] == parts
    assert searches.count(Verdict.HOLDS) == parts


def test_spacings_and_margins_decided_before_are_not_asked_again(tmp_path: Path) -> None:
    link = make_link(even_gaps(5))
    subject = Subject(link)
    whole = least_spacing(subject, "zones", Progress())
    jitter = margin(link.with_operator(spacing=20), "line.jitter", "zones", Progress())

    found, kept = in_pieces(
        tmp_path / "spacing",
        60,
        lambda budget: least_spacing(subject, "zones", Progress(), budget),
        lambda found: found.verdict is not Verdict.UNDECIDED,
    )
    assert found == whole
    assert len(kept) >= 2
    assert kept == sorted(kept)

    for _ in range(2):
        with keeping(str(tmp_path / "margin"), "a link"):
            again = margin(link.with_operator(spacing=20), "line.jitter", "zones", Progress())
        assert again == jitter


def test_failures_are_kept_with_their_runs_and_replayed(tmp_path: Path) -> None:
    subject = Subject(make_link(even_gaps(3), Operator(spacing=2)))
    path = str(tmp_path / "kept")
    with keeping(path, "a link"):
        first = judge(subject, "auto", Progress())
    with keeping(path, "a link") as kept:
        again = judge(subject, "auto", Progress(), budget=looks(1))

    assert kept.used == 1
    assert again == first
    assert again.trace is not None


def test_another_operator_disturbance_or_engine_is_asked_anew(tmp_path: Path) -> None:
    link = make_link(even_gaps(3), Operator(spacing=9))
    with keeping(str(tmp_path / "kept"), "a link") as kept:
        assert judge(Subject(link), "explorer", Progress()).verdict is Verdict.HOLDS
        closer = Subject(link.with_operator(spacing=2))
        assert judge(closer, "explorer", Progress()).verdict is Verdict.FAILS
        judge(Subject(link), "solver", Progress())
        assert (len(kept.answers), kept.used) == (3, 0)


def test_what_is_undecided_is_not_kept(tmp_path: Path) -> None:
    kept = Kept(str(tmp_path / "kept"), "a link")
    kept.note("a", Answer(Verdict.UNDECIDED, "explorer"))
    kept.note("b", Answer(Verdict.FAILS, "explorer", Script((Press(0, 0),))))
    kept.save()
    read = Kept(str(tmp_path / "kept"), "a link")

    assert set(read.answers) == {"b"}
    assert read.answer("b") == Answer(Verdict.FAILS, "explorer", Script((Press(0, 0),)))


# -- inside of one search -----------------------------------------------------------


@pytest.mark.parametrize("latencies", [False, True])
def test_a_search_cut_anywhere_ends_as_one_that_was_not(tmp_path: Path, latencies: bool) -> None:
    subject = Subject(load(LINKS / "stage_lamps.toml"))
    whole = judge(subject, "zones", Progress(), latencies=latencies)
    searched: list[int] = []

    def ask(budget: Budget) -> judging.Judgement:
        progress = Progress()
        found = judge(subject, "zones", progress, budget=budget, latencies=latencies)
        searched.append(progress.states)
        return found

    path = tmp_path / "kept"
    found, kept = in_pieces(path, 1_000, ask, lambda judged: judged.complete)

    assert found == whole
    assert len(kept) >= 3
    assert searched == sorted(searched)  # every piece went on where the last one ended
    assert len(set(searched)) >= 2
    with keeping(str(path), "a link") as there:
        assert not there.searches


def test_a_failure_is_met_after_as_many_zones_as_ever(tmp_path: Path) -> None:
    subject = Subject(load(LINKS / "stage_lamps.toml").with_operator(spacing=6))
    whole = judge(subject, "zones", Progress(), brief=True)
    assert whole.verdict is Verdict.FAILS

    found, kept = in_pieces(
        tmp_path / "kept",
        400,
        lambda budget: judge(subject, "zones", Progress(), budget=budget, brief=True),
        lambda judged: judged.verdict is not Verdict.UNDECIDED,
    )

    assert found == whole
    assert len(kept) >= 2


def cut(path: Path) -> dict[str, Any]:
    """What is kept of a search that was cut."""
    with keeping(str(path), "a link") as there:
        budget = looks(400)
        judge(Subject(load(LINKS / "stage_lamps.toml")), "zones", Progress(), budget=budget)
        (key,) = there.searches
        far: dict[str, Any] = there.far(key)
    return far


def test_a_search_that_cannot_be_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    far = cut(path)

    def refused(changed: Any) -> None:
        with keeping(str(path), "a link") as there:
            (key,) = there.searches
            there.keep_search(key, changed)
            with pytest.raises(DamagedError):
                judge(Subject(load(LINKS / "stage_lamps.toml")), "zones", Progress())

    shape, *rest = far["nodes"][-1]
    for node in (
        [shape[:-1], *rest],
        [[10**9] * len(shape), *rest],
        [["x"] * len(shape), *rest],
        [shape, [[0]], *rest[1:]],
        [shape, *rest[:2], len(far["nodes"]), *rest[3:]],
        [shape, *rest[:3], [10**9], *rest[4:]],
        [],
        None,
    ):
        refused(far | {"nodes": [*far["nodes"][:-1], node]})
    for heap in ([[0, 10**9, None]], [[0, 0, [-1]]], [[None, 0, None]], 7):
        refused(far | {"heap": heap})
    for other in ({}, [], "far", 1, far | {"states": "many"}):
        refused(other)


def test_a_search_packed_too_tightly_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    cut(path)
    bombs = [
        base64.b64encode(zlib.compress(b"[" * 50_000_000)).decode(),
        base64.b64encode(zlib.compress(b"[]")[:-3]).decode(),
        "not base64",
    ]
    for bomb in bombs:
        with keeping(str(path), "a link") as there:
            (key,) = there.searches
            there.searches[key] = bomb
            with pytest.raises(UsageError, match="a damaged file"):
                there.far(key)


# -- inside of the solver -----------------------------------------------------------


JITTERY = make_link(PulseGap((4, 8), 1, (1, 1)), Operator(spacing=12), faults=Faults(jitter=1))


@pytest.mark.parametrize(
    ("link", "latencies"),
    [
        (JITTERY, False),
        (JITTERY, True),
        (JITTERY.with_operator(spacing=7), False),
    ],
)
def test_what_the_solver_said_is_not_asked_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, link: Link, latencies: bool
) -> None:
    subject = Subject(link)
    asked: list[int] = []
    ask_z3 = Search._asked

    def counted(search: Search, terms: Any) -> Any:
        asked[-1] += 1
        return ask_z3(search, terms)

    monkeypatch.setattr(Search, "_asked", counted)
    asked.append(0)
    whole = judge(subject, "solver", Progress(), latencies=latencies)
    asked_once = asked.pop()
    found = whole
    for piece in range(1, 40):
        asked.append(0)
        budget = looks(piece * (asked_once // 2 + 1))
        with keeping(str(tmp_path / "kept"), "a link"):
            found = judge(subject, "solver", Progress(), budget=budget, latencies=latencies)
        if found.verdict is not Verdict.UNDECIDED and (found.complete or not latencies):
            break

    assert (found.verdict, found.complete) == (whole.verdict, whole.complete)
    for mine, known in ((found.best, whole.best), (found.worst, whole.worst)):
        assert {i: d.ticks for i, d in mine.items()} == {i: d.ticks for i, d in known.items()}
    assert len(asked) >= 2
    # Models are asked for again where a run is shown; nothing else is.
    runs = 1 + 2 * len(whole.best) * len(asked)
    assert asked_once <= sum(asked) <= asked_once + runs
    assert asked[-1] < asked_once


def test_outcomes_of_other_questions_are_not_used(tmp_path: Path) -> None:
    kept: list[Any] = [None]
    one, other = (z3.Int(name) > 0 for name in ("a", "b"))
    first = Outcomes(Checkpoint(None, kept.append))
    first.note([one], True)
    first.note([other], False)
    first.save()
    again = Outcomes(Checkpoint(json.loads(json.dumps(kept[-1])), kept.append))
    assert [again.next([one]), again.next([one]), again.next([other])] == [True, None, None]
    for far in (7, [1], [[1]], [[1, 2]], [["a", 1]], {}):
        with pytest.raises(DamagedError):
            Outcomes(Checkpoint(far, kept.append))


# -- the command line -------------------------------------------------------------


def ask(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


@pytest.mark.parametrize(
    "command",
    [("check",), ("spacing",), ("latency", "--traces"), ("margin", "--of", "line.jitter")],
)
def test_a_command_resumed_says_the_same(tmp_path: Path, command: tuple[str, ...]) -> None:
    arguments = [*command, CARILLON, "--json"]
    kept = str(tmp_path / "kept")
    whole = ask(*arguments)

    first, again = (ask(*arguments, "--resume", kept) for _ in range(2))

    assert whole.stdout == first.stdout == again.stdout
    assert "resumed" not in first.stderr
    assert again.stderr.startswith(f"resumed {kept}: ")


def test_a_file_of_another_link_or_version_or_of_anything_else_is_refused(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    assert ask("check", CARILLON, "--resume", str(kept)).exit_code == 0
    good = kept.read_text("utf-8")
    document = json.loads(good)
    (key,) = document["answers"]

    def refused(text: str) -> str:
        kept.write_text(text, encoding="utf-8")
        result = ask("check", CARILLON, "--resume", str(kept))
        assert (result.exit_code, result.stdout, result.stderr.count("\n")) == (2, "", 1)
        assert kept.read_text("utf-8") == text
        return result.stderr

    assert "another version" in refused(json.dumps(document | {"program": "0" * 64}))
    assert "another link file" in refused(json.dumps(document | {"link": "0" * 64}))
    for text in ("", "garbage", good[:-9], "[" * 100_000, "{}", good.replace("holds", "perhaps")):
        assert "what no search kept" in refused(text)
    document["answers"][key]["covered"] = "all 3 states"
    assert "damaged" in refused(json.dumps(document))
    other = ask("check", str(GREENHOUSE), "--resume", str(kept))
    kept.write_text(good, encoding="utf-8")
    assert other.exit_code == 2
    assert ask("check", str(GREENHOUSE), "--resume", str(kept)).exit_code == 2


def test_a_file_is_not_the_link_and_has_a_place(tmp_path: Path) -> None:
    link = tmp_path / "link.toml"
    link.write_text(Path(CARILLON).read_text("utf-8"), encoding="utf-8")
    assert ask("check", str(link), "--resume", str(link)).exit_code == 2
    assert ask("check", str(link), "--resume", str(tmp_path)).exit_code == 2
    assert ask("check", str(link), "--resume", str(tmp_path / "no" / "kept")).exit_code == 2
    assert link.read_text("utf-8") == Path(CARILLON).read_text("utf-8")


def test_what_was_decided_is_saved_when_interrupted(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    subject = Subject(make_link(even_gaps(3), Operator(spacing=9)))

    def interrupted() -> None:
        with keeping(str(path), "a link"):
            judge(subject, "explorer", Progress())
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert len(Kept(str(path), "a link").answers) == 1
    with pytest.raises(UsageError):
        Kept(str(path), "another link")


@pytest.mark.slow
def test_an_interrupted_command_goes_on_inside_of_its_search(tmp_path: Path) -> None:
    link, kept = tmp_path / "link.toml", tmp_path / "kept"
    link.write_text(
        'tick = "1 ms"\n[inputs]\ncount = 2\nkind = "level"\n[link]\nscheme = "synced-scan"\n'
        "slot = 4\n[line]\ndelay = 2\nshortest = 2\n[operator]\nrepeat = 16\n"
    )
    command = [sys.executable, "-m", "verify", "check", str(link), "--json"]
    began = monotonic()
    whole = subprocess.run(command, capture_output=True, text=True, check=True)
    command += ["--resume", str(kept)]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    with pytest.raises(subprocess.TimeoutExpired):
        running.communicate(timeout=(monotonic() - began) / 2)
    running.send_signal(signal.SIGINT)

    _, stderr = running.communicate(timeout=20)

    assert (running.returncode, "interrupted; exploring zones: " in stderr) == (130, True)
    assert json.loads(kept.read_text())["searches"]
    again = subprocess.run(command, capture_output=True, text=True, check=True)
    assert "searches under way" in again.stderr
    assert json.loads(again.stdout) == json.loads(whole.stdout)
    assert json.loads(kept.read_text())["searches"] == {}
