"""A sweep of 200 links in one process against the same in two: ``python -m pytest`` of this file
with ``--benchmark-enable --benchmark-only``; on two idle cores the ratio should be 1.8 or more.

As a user has it: new processes, which import all that they need.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

# Links, and inputs of each; fewer where benchmarks run as plain tests.
MANY, FEW = (200, 128), (4, 8)
ROUNDS = 3

LINK = """tick = "10 ms"
[inputs]
count = {inputs}
[link]
scheme = "pulse-gap"
gaps = [{gaps}]
"""
SWEEP = """link = "link.toml"
ask = "spacing"
[grid]
operator.hold = {{ from = 1, to = {many}, step = 1 }}
"""


def swept(folder: Path, jobs: int) -> bytes:
    for old in folder.glob("table*"):
        old.unlink()
    work = [sys.executable, "-m", "verify.cli", "sweep", "sweep.toml", "-o", "table.csv"]
    subprocess.run([*work, "--jobs", str(jobs)], cwd=folder, check=True, capture_output=True)
    return (folder / "table.csv").read_bytes()


def test_two_processes(compare, benchmark, tmp_path):
    links, inputs = FEW if benchmark.disabled else MANY
    gaps = ", ".join(str(2 * k) for k in range(1, inputs + 1))
    (tmp_path / "link.toml").write_text(LINK.format(inputs=inputs, gaps=gaps))
    (tmp_path / "sweep.toml").write_text(SWEEP.format(many=links))
    tables = set()

    one = compare(
        f"a sweep of {links} links in one process",
        lambda: swept(tmp_path, 1),
        "in two",
        lambda: tables.add(swept(tmp_path, 2)),
        rounds=ROUNDS,
    )

    assert tables == {one}
    assert one.count(b"\n") == links + 1
