"""What the benchmarks share: the limit on plain encodings, and the table of ratios at the end."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest

SHORT_LIMIT = 2.0  # seconds, where benchmarks run as plain tests


@dataclass
class Ledger:
    """Seconds by what was measured, and the ratios to print, in the order they were asked for.

    A time in ``unfinished`` is a lower bound: the run was stopped there.
    """

    seconds: dict[str, float] = field(default_factory=dict)
    unfinished: set[str] = field(default_factory=set)
    ratios: list[tuple[str, str]] = field(default_factory=list)

    def lines(self) -> list[str]:
        """The table: what was measured over what it is compared with."""
        rows = []
        for over, under in self.ratios:
            if over not in self.seconds or under not in self.seconds:
                continue
            least = "at least " if over in self.unfinished else ""
            rows.append((over, under, least, self.seconds[over], self.seconds[under]))
        if not rows:
            return []
        wide = max(len(text) for row in rows for text in row[:2])
        return [
            f"{'measured':{wide}}  {'seconds':>9}  {'compared with':{wide}}  {'seconds':>9}  ratio"
        ] + [
            f"{over:{wide}}  {a:9.4f}  {under:{wide}}  {b:9.4f}  {least}{a / b:.3g}"
            for over, under, least, a, b in rows
        ]


LEDGER = pytest.StashKey[Ledger]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--plain-limit",
        type=float,
        default=30.0,
        help="seconds for each plain encoding in tests/bench (default 30)",
    )


@pytest.fixture(scope="session")
def ledger(pytestconfig: pytest.Config) -> Ledger:
    return pytestconfig.stash.setdefault(LEDGER, Ledger())


@pytest.fixture
def plain_limit(pytestconfig: pytest.Config, benchmark: Any) -> float:
    """Seconds for one plain encoding."""
    if benchmark.disabled:
        return SHORT_LIMIT
    return float(pytestconfig.getoption("--plain-limit", default=30.0))


@pytest.fixture
def measure(benchmark: Any, ledger: Ledger) -> Callable[..., Any]:
    """``measure(name, work)``: benchmark ``work``, keep its median time under ``name``.

    ``rounds``: as many runs after one to warm up; None lets pytest-benchmark choose.
    Returns what ``work`` returned.
    """

    def run(name: str, work: Callable[[], Any], rounds: int | None = None) -> Any:
        if rounds is None:
            result = benchmark(work)
        else:
            result = benchmark.pedantic(work, rounds=rounds, warmup_rounds=1)
        if not benchmark.disabled:
            ledger.seconds[name] = benchmark.stats.stats.median
        return result

    return run


@pytest.fixture
def compare(benchmark: Any, ledger: Ledger) -> Callable[..., None]:
    """``compare(over, under)``: the ratio of two measured times, here and in the table."""

    def note(over: str, under: str) -> None:
        ledger.ratios.append((over, under))
        if over in ledger.seconds and under in ledger.seconds:
            benchmark.extra_info["compared with"] = under
            benchmark.extra_info["ratio"] = ledger.seconds[over] / ledger.seconds[under]
            benchmark.extra_info["ratio is a lower bound"] = over in ledger.unfinished

    return note


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    ledger = config.stash.get(LEDGER, None)
    lines = ledger.lines() if ledger is not None else []
    if lines:
        terminalreporter.section("ratios")
        for line in lines:
            terminalreporter.write_line(line)
