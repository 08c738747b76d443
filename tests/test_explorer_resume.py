"""Searches of the explorer that are cut go on inside: the same answers, no state visited twice."""

from __future__ import annotations

import hashlib
import importlib.util
import json
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from models.parallel_code import ParallelCode
from models.pulse_gap import PulseGap
from tests.links import make_link
from tests.test_packed import system_of
from verify.engines import native
from verify.engines.answer import Answer, Budget, Progress
from verify.engines.checkpoint import Checkpoint, DamagedError
from verify.engines.concrete import Compiled
from verify.engines.explorer import explore
from verify.engines.packed import PackedSearch
from verify.engines.search_file import SearchFile
from verify.errors import UsageError
from verify.language.machine import System
from verify.linkfile import load
from verify.parts.line import Faults
from verify.parts.operator import Operator

LINKS = Path(__file__).parent.parent / "models" / "links"
SYSTEMS: dict[str, Callable[[], System]] = {
    "a queue that fails": lambda: system_of(
        make_link(
            PulseGap((2, 4, 6), 1, (0, 0, 0), busy="queue", depth=2),
            Operator(spacing=1, hold=(1, 3), overlap=2),
        )
    ),
    "a queue": lambda: system_of(
        make_link(
            PulseGap((2, 4), 1, (0, 0), busy="queue", depth=2),
            Operator(spacing=4, hold=(1, 3), overlap=2),
        )
    ),
    "lines that are late": lambda: system_of(
        make_link(
            ParallelCode((1, 2, 4), 3, 1),
            Operator(spacing=1, hold=(3, 6)),
            faults=Faults(skew=1, jitter=1),
        )
    ),
    "levers": lambda: system_of(load(LINKS / "weather_mast.toml")),
}
MOST = 2_000
ABOUT = {"link file": "a link", "key": "a part"}


def looks(many: int) -> Budget:
    """Spent when it has been asked so often."""
    return Budget(float(many), clock=count().__next__)


def explored(
    compiled: Compiled, latencies: bool, found: Any, keep: Callable[[Any], None], budget: Budget
) -> tuple[Answer, int]:
    progress = Progress()
    budget.states = MOST
    answer = explore(
        compiled.system, budget, progress, latencies=latencies, compiled=compiled,
        checkpoint=Checkpoint(found, keep),
    )  # fmt: skip
    return answer, progress.states


def goes_on_to_the_end(
    whole: Answer, states: int, again: Callable[[], tuple[Answer, int]], times: int
) -> None:
    """Cut and taken up as often as it takes, it never loses states and ends as ``whole``."""
    reached: list[int] = []
    for _ in range(times):
        found, so_far = again()
        reached.append(so_far)
        if (so_far, found.verdict) == (states, whole.verdict):
            break

    assert found == whole
    assert len(set(reached)) >= 2
    assert reached == sorted(reached)


@pytest.mark.parametrize("name", SYSTEMS)
@pytest.mark.parametrize("latencies", [False, True])
def test_a_search_cut_anywhere_ends_as_one_that_was_not(name: str, latencies: bool) -> None:
    compiled = Compiled(SYSTEMS[name]())
    whole, states = explored(compiled, latencies, None, lambda far: None, Budget())
    far: list[Any] = [None]

    def keep(now: Any) -> None:
        far[0] = json.loads(json.dumps(now))

    goes_on_to_the_end(
        whole, states, lambda: explored(compiled, latencies, far[0], keep, looks(60)), 200
    )


def packed(
    system: Compiled, path: Path, turns: int | None, latencies: bool, states: int, fast: bool
) -> tuple[Answer, int]:
    kept = Checkpoint(None, lambda far: None, SearchFile(str(path), ABOUT))
    progress = Progress()
    budget = Budget(None, states) if turns is None else looks(turns)
    budget.states = states
    search = PackedSearch(system, budget, progress, latencies, fast=fast, checkpoint=kept)
    answer = search.run()
    return answer, progress.states


@pytest.mark.parametrize("name", SYSTEMS)
@pytest.mark.parametrize("latencies", [False, True])
def test_a_packed_search_cut_anywhere_ends_as_one_that_was_not(
    name: str, latencies: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(native.Plain, "turn", 60)
    compiled = Compiled(SYSTEMS[name]())
    turns = 4 + sum(1 for _ in compiled.starts())
    whole, states = packed(compiled, tmp_path / "none", None, latencies, MOST, False)
    goes_on_to_the_end(
        whole,
        states,
        lambda: packed(compiled, tmp_path / "kept", turns, latencies, MOST, False),
        200,
    )


def cut_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Compiled, Path]:
    monkeypatch.setattr(native.Plain, "turn", 170)
    compiled = Compiled(SYSTEMS["a queue that fails"]())
    packed(compiled, tmp_path / "kept", 5, True, 3_000, False)
    return compiled, tmp_path / "kept"


def test_a_file_is_of_one_link_and_one_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, path = cut_file(tmp_path, monkeypatch)
    assert SearchFile(str(path), ABOUT).open() is not None
    assert SearchFile(str(path), ABOUT | {"key": "another"}).open() is None
    with pytest.raises(UsageError, match="a search of another link file"):
        SearchFile(str(path), ABOUT | {"link file": "another"}).open()
    good = path.read_bytes()
    changed = good[:500] + bytes([good[500] ^ 1]) + good[501:]
    for bad in (b"", b"{}\n", good[:-1], good + b"x", changed, b"[" * 99):
        path.write_bytes(bad)
        with pytest.raises(UsageError, match=r"found (a damaged file|what no search kept)"):
            SearchFile(str(path), ABOUT).open()


def signed(line: dict[str, Any], body: bytes) -> bytes:
    """A file that was made up, but carefully."""
    text = json.dumps(line).encode() + b"\n" + body
    return text + hashlib.sha256(text).digest()


def test_numbers_that_no_search_can_have_are_refused_before_any_code_sees_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    compiled, path = cut_file(tmp_path, monkeypatch)
    first, rest = path.read_bytes().split(b"\n", 1)
    line, body = json.loads(first), rest[:-32]

    def refused(line: dict[str, Any], body: bytes) -> bool:
        path.write_bytes(signed(line, body))
        try:
            packed(compiled, path, 2, True, 3_000, False)
        except (UsageError, DamagedError):
            return True
        return False

    for name, value in line["head"].items():
        for other in (-2, 1 << 40, "many", None, 1.5, True):
            if name not in ("evaluated", "level", "now") or type(other) is not int:
                assert refused(line | {"head": line["head"] | {name: other}}, body), (name, value)
    assert refused(line | {"rows": [0] * 8}, b"")
    # Any number of any row: refused, or one that a search may have, which then goes on with it.
    rng, many = random.Random(7), 0
    starts = [sum(line["rows"][:k]) for k in range(len(line["rows"]))]
    for k, start in enumerate(starts):
        size = line["rows"][k]
        for _ in range(12):
            at = start + rng.randrange(size)
            changed = body[:at] + bytes([body[at] ^ (1 << rng.randrange(8))]) + body[at + 1 :]
            many += refused(line, changed)
    assert many > 30


def test_states_of_a_search_that_cannot_be_are_refused() -> None:
    compiled = Compiled(SYSTEMS["a queue that fails"]())
    found: list[Any] = [None]
    kept = Checkpoint(None, lambda far: found.append(json.loads(json.dumps(far))))
    explore(compiled.system, looks(200), Progress(), compiled=compiled, checkpoint=kept)
    far = found[-1]
    state, *rest = far["nodes"][-1]
    for changed in (
        far | {"nodes": [*far["nodes"], [state[:-1], *rest]]},
        far | {"nodes": [*far["nodes"], [[10**9] * len(state), *rest]]},
        far | {"nodes": [*far["nodes"], [state, *rest[:2], len(far["nodes"]), *rest[3:]]]},
        far | {"heap": [[0, 10**9, 1, [0]]]},
        far | {"heap": 7},
        far | {"pushed": None},
        {},
        [],
        "far",
    ):
        with pytest.raises(DamagedError):
            explore(
                compiled.system, looks(9), Progress(),
                compiled=compiled, checkpoint=Checkpoint(changed, lambda far: None),
            )  # fmt: skip


@pytest.mark.slow
@pytest.mark.skipif(importlib.util.find_spec("llvmlite") is None, reason="no compiler")
def test_compiled_code_goes_on_where_it_was_cut(tmp_path: Path) -> None:
    compiled = Compiled(SYSTEMS["a queue that fails"]())
    whole, states = packed(compiled, tmp_path / "none", None, True, 700_000, True)
    goes_on_to_the_end(
        whole, states, lambda: packed(compiled, tmp_path / "kept", 3, True, 700_000, True), 20
    )


QUEUE = """tick = "1 ms"
[inputs]
count = 7
[link]
scheme = "pulse-gap"
gaps = [3, 6, 9, 12, 15, 18, 21]
busy = "queue"
depth = 4
[operator]
spacing = 13
repeat = 150
hold = [1, 5]
overlap = 3
"""
# Saved every half second.
COMMAND = """import verify.engines.checkpoint as kept
from verify.cli import main
kept.SELDOM, kept._TIMES = 0.5, 0
main()"""


@pytest.mark.slow
@pytest.mark.skipif(importlib.util.find_spec("llvmlite") is None, reason="no compiler")
def test_a_command_that_is_killed_goes_on_where_it_was_saved(tmp_path: Path) -> None:
    link, kept = tmp_path / "link.toml", tmp_path / "kept"
    states = tmp_path / "kept.states"
    link.write_text(QUEUE, encoding="utf-8")
    command = [sys.executable, "-c", COMMAND, "check", str(link), "--engine", "explorer"]
    command += ["--resume", str(kept), "--time", "60"]

    def evaluated() -> int:
        head = json.loads(states.read_bytes().split(b"\n", 1)[0])["head"]
        return int(head["evaluated"])

    running = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while not states.exists():
        time.sleep(0.05)
        assert running.poll() is None
    running.kill()
    running.wait()
    before = evaluated()
    assert sorted(path.name for path in tmp_path.iterdir()) in (
        ["kept.states", "link.toml"], ["kept", "kept.states", "link.toml"]
    )  # fmt: skip

    again = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    while evaluated() == before:
        time.sleep(0.05)
        assert again.poll() is None
    again.send_signal(signal.SIGINT)
    _, stderr = again.communicate(timeout=30)

    assert (again.returncode, "interrupted; exploring: " in stderr) == (130, True)
    assert evaluated() > before
    assert int(stderr.split("exploring: ")[1].split()[0].replace(",", "")) > before


def test_a_file_of_somebody_else_is_left_alone(tmp_path: Path) -> None:
    there = tmp_path / "kept.states"
    for text in ("mine", '{"about": {}}', "[]", ""):
        there.write_text(text, encoding="utf-8")
        SearchFile(str(there), ABOUT).forget()
        assert there.read_text("utf-8") == text
    SearchFile(str(there), ABOUT).save({}, [])
    SearchFile(str(there), ABOUT | {"key": "another"}).forget()
    assert there.exists()
    SearchFile(str(there), ABOUT).forget()
    assert not there.exists()
