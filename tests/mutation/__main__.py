"""Plant the faults, one at a time, and report which of them the tests do not notice.

``python -m tests.mutation [WORD...] [--jobs N] [--named]``: only faults whose words or file
contain one of the WORDs. Exit status 1 if any fault survives.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from time import monotonic

import click
from joblib import Parallel, delayed

from tests.mutation.planting import Fault, faults, plant

# A fault may make a search endless; that is noticed too.
SECONDS = 240


@dataclass(frozen=True)
class Outcome:
    fault: Fault
    killer: str  # empty: it survived
    seconds: float


def attempt(fault: Fault, named: bool) -> Outcome:
    begun = monotonic()
    with tempfile.TemporaryDirectory(prefix="planted-") as name:
        place = Path(name)
        plant(fault, place)
        first = [f"tests/{test}.py" for test in fault.tests]
        killer = _killed(place, first) or ("" if named else _killed(place, ["tests"]))
    return Outcome(fault, killer, monotonic() - begun)


def _killed(place: Path, tests: list[str]) -> str:
    """The first test that fails; empty if all pass. What looks at the code's text is left out."""
    environment = {**os.environ, "PYTHONPATH": str(place), "CI": "true"}
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-m", "not slow", "--tb=no"]
    command += ["-p", "no:cacheprovider", "--ignore", "tests/test_mutation.py", *tests]
    try:
        done = subprocess.run(
            command, cwd=place, env=environment, capture_output=True, text=True, timeout=SECONDS
        )
    except subprocess.TimeoutExpired:
        return f"no end within {SECONDS} s"
    if done.returncode == 0:
        return ""
    failed = [line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
    return failed[0].split(" - ")[0] if failed else f"exit status {done.returncode}"


@click.command()
@click.argument("words", nargs=-1)
@click.option("--jobs", default=1, show_default=True, help="Copies tested at the same time.")
@click.option("--named", is_flag=True, help="Run only the tests that a fault names.")
def main(words: tuple[str, ...], jobs: int, named: bool) -> None:
    """Plant the faults, one at a time, and report which of them the tests do not notice."""
    chosen = [f for f in faults() if not words or any(w in f.what or w in f.file for w in words)]
    pool = Parallel(jobs, return_as="generator")
    survived = 0
    for done in pool(delayed(attempt)(fault, named) for fault in chosen):
        survived += not done.killer
        verdict = f"noticed by {done.killer}" if done.killer else "SURVIVED"
        click.echo(f"{done.fault.file}: {done.fault.what}: {verdict} ({done.seconds:.0f} s)")
    click.echo(f"{len(chosen) - survived} of {len(chosen)} faults noticed")
    sys.exit(1 if survived else 0)


main()
