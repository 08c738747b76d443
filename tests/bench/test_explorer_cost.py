"""What compiling the explorer is worth: states a second, bytes per state, and what it costs."""

from __future__ import annotations

from collections.abc import Callable
from time import process_time
from typing import Any

import pytest

from tests.test_packed import system_of
from verify.engines import packed
from verify.engines.answer import Budget, Progress
from verify.engines.concrete import Compiled
from verify.engines.explorer import _Search
from verify.engines.memory import used
from verify.engines.packed import PackedSearch
from verify.linkfile import load

# As many states for each: Python needs a second or two for the former.
PYTHON_STATES, COMPILED_STATES = 20_000, 4_000_000


@pytest.mark.slow
@pytest.mark.parametrize("name", ["greenhouse", "start_stop"])
def test_compiled_explorer_beside_python(
    name: str, compare: Callable[..., Any], benchmark: Any
) -> None:
    pytest.importorskip("llvmlite")
    compiled = Compiled(system_of(load(f"models/links/{name}.toml")))
    states = 100_000 if benchmark.disabled else COMPILED_STATES

    def plain() -> None:
        started, progress = process_time(), Progress()
        _Search(compiled, Budget(None, PYTHON_STATES), progress, False).run()
        rate = progress.states / (process_time() - started)
        benchmark.extra_info["states per CPU second in Python"] = rate

    def fast() -> PackedSearch:
        before, started = used(), process_time()
        search = PackedSearch(compiled, Budget(None, states), Progress(), False)
        search.run()
        rate = search.progress.states / (process_time() - started)
        benchmark.extra_info["states per CPU second"] = rate
        benchmark.extra_info["bytes per state"] = (used() - before) / search.states_packed
        benchmark.extra_info["bytes of a packed state"] = 8 * search.words
        return search

    over, under = f"{PYTHON_STATES} states in Python, {name}", f"{states} compiled"
    search = compare(under, fast, over, plain, rounds=3)

    assert search.progress.states > states


@pytest.mark.slow
@pytest.mark.parametrize("name", ["greenhouse", "stage_lamps"])
def test_compiling_a_step(name: str, benchmark: Any) -> None:
    pytest.importorskip("llvmlite")
    compiled = Compiled(system_of(load(f"models/links/{name}.toml")))

    def build() -> PackedSearch:
        packed._made.cache_clear()
        return PackedSearch(compiled, Budget(None, 0), Progress(), False)

    assert build().words > 0
    benchmark.pedantic(build, rounds=1 if benchmark.disabled else 3)
