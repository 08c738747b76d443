"""One measurement in a process of its own: ``python -m tests.bench.growth_point`` and one JSON
object as argument, the point. Answers with another, the outcome, on standard output."""

from __future__ import annotations

import json
import resource
import sys
from dataclasses import asdict, dataclass
from pathlib import Path
from time import process_time

from verify.engines import solver, zones  # noqa: F401 - imported before the clock starts
from verify.engines.answer import Budget, Progress
from verify.questions.judging import Subject
from verify.questions.spacing import least_spacing

from .ratios import forget
from .subjects import Kind, subject_link

SHORT, AGAIN = 0.05, 8


@dataclass(frozen=True)
class Point:
    """What is measured: a link (see ``subject_link``), and CPU seconds at which it is cut off."""

    scheme: str
    kind: str
    inputs: int
    finer: int = 1
    bits: int | None = None
    held: int | None = None
    limit: float = 20.0


@dataclass(frozen=True)
class Outcome:
    """CPU seconds, and megabytes: the most there was in all, and of these more than before."""

    seconds: float
    megabytes: float
    added: float
    verdict: str
    spacing: int | None
    engine: str


def _megabytes(row: str) -> float:
    """Of this process alone: ``ru_maxrss`` would include whoever started it."""
    try:
        lines = Path("/proc/self/status").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith(row)) / 1024
    except OSError:
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        return peak / (1024 * 1024 if sys.platform == "darwin" else 1024)


def measure(point: Point) -> Outcome:
    """The whole of `spacing`, from the link on."""
    limit = int(point.limit + process_time()) + 1
    resource.setrlimit(resource.RLIMIT_CPU, (limit, limit))
    kind = Kind(point.scheme, point.kind)
    link = subject_link(kind, point.inputs, finer=point.finer, bits=point.bits, held=point.held)
    before, started = _megabytes("VmHWM"), process_time()
    found = least_spacing(Subject(link), "auto", Progress(), Budget(None))
    seconds, most = process_time() - started, _megabytes("VmHWM")
    if seconds < SHORT:
        # Too little for the clock of some machines.
        started = process_time()
        for _ in range(AGAIN):
            forget()
            least_spacing(Subject(link), "auto", Progress(), Budget(None))
        seconds = (process_time() - started) / AGAIN
    return Outcome(seconds, most, most - before, found.verdict.value, found.ticks, found.engine)


if __name__ == "__main__":
    print(json.dumps(asdict(measure(Point(**json.loads(sys.argv[1]))))))
