"""What the benchmarks share: comparing in turn, and the table of ratios at the end."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from statistics import median
from time import perf_counter
from typing import Any

import pytest

# Seconds for a plain encoding: where benchmarks run as plain tests, and where they measure.
SHORT_LIMIT, LIMIT = 2.0, 120.0


@dataclass(frozen=True)
class Ratio:
    """Median seconds of two pieces of work that took turns. ``stopped``: ``over`` was cut off."""

    over: str
    over_seconds: float
    under: str
    under_seconds: float
    stopped: bool

    @property
    def value(self) -> float:
        """How many times as long ``over`` takes; a lower bound if it was stopped."""
        return self.over_seconds / self.under_seconds


RATIOS = pytest.StashKey[list[Ratio]]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--plain-limit",
        type=float,
        default=LIMIT,
        help=f"seconds for each plain encoding in tests/bench (default {LIMIT:g})",
    )


@pytest.fixture
def plain_limit(pytestconfig: pytest.Config, benchmark: Any) -> float:
    """Seconds for one plain encoding."""
    # pytest knows the option only where tests/bench is named on its command line.
    limit = float(pytestconfig.getoption("plain_limit", default=LIMIT))
    return SHORT_LIMIT if benchmark.disabled else limit


@pytest.fixture
def compare(benchmark: Any, pytestconfig: pytest.Config) -> Callable[..., Any]:
    """``compare(over, work, under, other, rounds)``: benchmark ``work`` against ``other``.

    Each round runs ``other`` (``others`` times), then ``work``, so that a machine that is
    busy for a while is so for both. Returns what the last ``work`` returned. ``stopped``
    tells from that whether it was cut off.
    """

    def run(
        over: str,
        work: Callable[[], Any],
        under: str,
        other: Callable[[], Any],
        *,
        rounds: int,
        others: int = 1,
        stopped: Callable[[Any], bool] = lambda result: False,
    ) -> Any:
        other_seconds: list[float] = []

        def turn() -> None:
            for _ in range(others):
                started = perf_counter()
                other()
                other_seconds.append(perf_counter() - started)

        if benchmark.disabled:
            other()
            return benchmark(work)
        other()  # warms up what both import and cache
        result = benchmark.pedantic(work, setup=turn, rounds=rounds)
        ratio = Ratio(
            over, benchmark.stats.stats.median, under, median(other_seconds), stopped(result)
        )
        pytestconfig.stash.setdefault(RATIOS, []).append(ratio)
        benchmark.extra_info["compared with"] = under
        benchmark.extra_info["ratio"] = ratio.value
        benchmark.extra_info["ratio is a lower bound"] = ratio.stopped
        return result

    return run


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    ratios = config.stash.get(RATIOS, [])
    if not ratios:
        return
    terminalreporter.section("ratios of median seconds")
    left = max(len(r.over) for r in ratios)
    right = max(len(r.under) for r in ratios)
    for r in ratios:
        least = ">=" if r.stopped else "  "
        terminalreporter.write_line(
            f"{least}{r.value:9.3g} x = {r.over:{left}} {r.over_seconds:9.4f}"
            f" / {r.under:{right}} {r.under_seconds:9.4f}"
        )
