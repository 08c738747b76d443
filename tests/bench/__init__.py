"""Benchmarks: what the answers cost, always as a ratio to something measured in the same run.

    pytest tests/bench --benchmark-enable --benchmark-only

runs them and ends with a table of ratios (about three minutes, most of them spent on plain
encodings; ``--plain-limit=30`` stops each of those after 30 seconds). Nothing here asserts a
time: machines differ, and a busy one would fail for no fault of the code. What is asserted is
that every answer measured is the right one.

An ordinary test run has ``--benchmark-disable`` in pyproject.toml: each benchmark then runs
once, as a plain test, with a short limit on the plain encodings.

- ``test_spacing_cost``: the least spacing by explorer and by solver, against plain z3
  encodings with one step per tick (``plain_z3``), and against a tick 1,000 times finer.
- ``test_start_up``: the command line's first sign of life, against an empty Python program.
- ``test_plain_z3``: the plain encodings agree with our engines. No benchmark.

The two sides of a ratio take turns, so a machine that is busy for a while is so for both; still,
look at the spread that pytest-benchmark prints, and run it again.
"""
