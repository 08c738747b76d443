"""How time and memory of `spacing` grow, for every scheme: ``python -m tests.bench.growth``.

Over the number of inputs (2 to 1,024), over the tick (of the nominal length, down to a millionth
of it), over the bits of a frame or code (2 to 64) and over how many inputs may be held at once (1
to 4). Every point is measured in a process of its own, so that its memory is its own, and cut off
at a limit of CPU seconds; after that the curve ends. Exponents are fitted on the upper half of
each curve: time as a power of what grows, by least squares in logarithms.

Written to ``reports/``: growth.csv (every point), growth.md (exponents, and why those above two are
what they are) and a picture for each of the four, as SVG.
"""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, fields, replace
from math import log
from pathlib import Path

import click

from verify.files import write_whole

from .growth_curves import svg
from .growth_point import Outcome, Point
from .measuring import as_csv, markdown, measured_on, out_option, seconds_text
from .subjects import EVERY, Kind

ROOT = Path(__file__).parent.parent.parent
CODED = tuple(kind for kind in EVERY if kind.scheme in ("framed-serial", "parallel-code"))
# Seven bells; of codes of two bits there are three that are not idle.
SEVEN, THREE = 7, 3
SQUARE = 2.0
# Exponents of less than this in the end say more of the process than of the question.
SHORT, SMALL = 0.02, 1.0  # seconds, megabytes


@dataclass(frozen=True)
class Axis:
    """What grows, by which values, for which links; ``point`` makes one of them."""

    name: str
    words: str
    values: tuple[int, ...]
    kinds: tuple[Kind, ...]
    point: Callable[[Point, int], Point]
    note: str = ""


AXES = (
    Axis(
        "inputs",
        "inputs",
        tuple(2**k for k in range(1, 11)),
        EVERY,
        lambda point, n: replace(point, inputs=n),
    ),
    Axis(
        "tick",
        "ticks to a nominal tick",
        tuple(10**k for k in range(7)),
        EVERY,
        lambda point, n: replace(point, inputs=SEVEN, finer=n),
        "Seven inputs; all times of a link, but its spacing, in so many more ticks.",
    ),
    Axis(
        "bits",
        "bits of a frame or code",
        tuple(2**k for k in range(1, 7)),
        CODED,
        lambda point, n: replace(point, inputs=THREE, bits=n),
        "Three inputs. The frame of a scan has a slot per input: see above.",
    ),
    Axis(
        "held",
        "inputs held at once, at most",
        (1, 2, 3, 4),
        EVERY,
        lambda point, n: replace(point, inputs=SEVEN, held=n),
        "Seven inputs, presses held 1 to 6 nominal ticks; of levers, so many are up. Of presses,"
        " only parallel codes see releases; there, inputs held together show another code, so the"
        " least spacing keeps them apart (but for one at a time, where no spacing is needed).",
    ),
)


@dataclass(frozen=True)
class Measured:
    """A point of a curve, measured under a limit of CPU seconds. ``outcome``: None if it was cut
    off there."""

    axis: str
    kind: Kind
    value: int
    outcome: Outcome | None
    limit: float


@dataclass(frozen=True)
class Fit:
    """Of a curve: exponents of time and memory, None where there is too little to fit."""

    axis: str
    kind: Kind
    last: Measured
    cut: int | None
    time: float | None
    memory: float | None


def measure(axis: Axis, kind: Kind, value: int, limit: float) -> Measured:
    """One point, in a process of its own. Raises RuntimeError if it ends in any other way."""
    point = axis.point(Point(kind.scheme, kind.inputs, 1, limit=limit), value)
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.growth_point", json.dumps(asdict(point))],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode == 0:
        return Measured(axis.name, kind, value, Outcome(**json.loads(done.stdout)), limit)
    if done.returncode < 0:  # the limit of CPU time kills
        return Measured(axis.name, kind, value, None, limit)
    raise RuntimeError(f"{axis.name}, {kind}, {value}: {done.stderr}")


def curve(axis: Axis, kind: Kind, limit: float, values: Sequence[int]) -> Iterator[Measured]:
    """Its points in turn, up to the first that was cut off."""
    for value in values:
        measured = measure(axis, kind, value, limit)
        yield measured
        if measured.outcome is None:
            return


def exponent(points: Sequence[tuple[float, float]]) -> float | None:
    """The slope of a straight line through the logarithms, least squares; None of fewer than 2."""
    logs = [(log(x), log(y)) for x, y in points if x > 0 and y > 0]
    if len(logs) < 2:
        return None
    mean_x = sum(x for x, _ in logs) / len(logs)
    mean_y = sum(y for _, y in logs) / len(logs)
    over = sum((x - mean_x) * (y - mean_y) for x, y in logs)
    return over / sum((x - mean_x) ** 2 for x, _ in logs)


def fit(points: Sequence[Measured]) -> Fit | None:
    """On the upper half of what was not cut off, three points at least; None of fewer."""
    known = [(p.value, p.outcome, p) for p in points if p.outcome is not None]
    if not known:
        return None
    upper = known[-max(3, (len(known) + 1) // 2) :]
    last = upper[-1][1]
    seconds = exponent([(n, o.seconds) for n, o, _ in upper]) if last.seconds > SHORT else None
    memory = exponent([(n, o.added) for n, o, _ in upper]) if last.added > SMALL else None
    cut = next((p.value for p in points if p.outcome is None), None)
    return Fit(points[0].axis, points[0].kind, upper[-1][2], cut, seconds, memory)


# Why what grows faster than with the square does so: findings of a profile.
WHY: dict[tuple[str, str, str], str] = {}

ROWS = ("axis", "scheme", "kind", "value", *(f.name for f in fields(Outcome)), "limit, s")


def csv_rows(points: Sequence[Measured]) -> Iterator[tuple[object, ...]]:
    """Every point, a row each; one that was cut off has no outcome."""
    for p in points:
        outcome = asdict(p.outcome).values() if p.outcome else (None,) * len(fields(Outcome))
        yield p.axis, p.kind.scheme, p.kind.inputs, p.value, *outcome, p.limit


def _exponent_text(found: float | None) -> str:
    return "small" if found is None else f"{round(found, 2) + 0.0:.2f}"


def fit_row(found: Fit) -> tuple[str, ...]:
    """A line of the table of exponents."""
    outcome = found.last.outcome
    if outcome is None:
        raise AssertionError("nothing was measured")
    steep = found.time is not None and found.time > SQUARE
    why = WHY.get((found.axis, found.kind.scheme, found.kind.inputs), "no reason known")
    return (
        str(found.kind),
        str(found.last.value),
        seconds_text(outcome.seconds),
        f"{outcome.megabytes:.0f}",
        _exponent_text(found.time),
        _exponent_text(found.memory),
        "" if found.cut is None else str(found.cut),
        why if steep else "",
    )


def kept(file: Path, axes: Sequence[str]) -> list[Measured]:
    """The points of these axes from an earlier run."""
    if not axes:
        return []
    numbers = {"seconds": float, "megabytes": float, "added": float, "spacing": int}
    found = []
    for row in csv.DictReader(file.read_text().splitlines()):
        values = {f.name: row[f.name] or None for f in fields(Outcome)}
        made = {k: numbers.get(k, str)(v) if v is not None else None for k, v in values.items()}
        outcome = Outcome(**made) if row["seconds"] else None  # type: ignore[arg-type]
        if row["axis"] in axes:
            kind = Kind(row["scheme"], row["kind"])
            found.append(
                Measured(row["axis"], kind, int(row["value"]), outcome, float(row["limit, s"]))
            )
    return found


HEAD = (
    "scheme, inputs",
    "last point",
    "time there, s",
    "memory there, MB",
    "exponent of time",
    "exponent of memory",
    "cut off at point",
    "why above 2",
)


def report(points: Sequence[Measured]) -> str:
    """Markdown: a table of exponents for each of what grows."""
    limits = sorted({p.limit for p in points})
    limit = " or ".join(f"{limit:g}" for limit in limits)
    parts = [
        "# How `spacing` grows\n\n",
        f"{measured_on()} Every point in a process of its own, cut off after {limit} s of CPU"
        " time. Made by `python -m tests.bench.growth`, whose help says how; every point,"
        " with its limit, is in [growth.csv](growth.csv).\n\n",
        "*Exponent*: of the power law fitted to the upper half of a curve, by least squares in"
        f" logarithms; *small*: the last point takes less than {SHORT:g} s, or adds less than"
        f" {SMALL:g} MB to what the process had before.\n\n",
    ]
    for axis in AXES:
        table = []
        for kind in axis.kinds:
            own = [p for p in points if (p.axis, p.kind) == (axis.name, kind)]
            found = fit(own) if own else None
            table += [fit_row(found)] if found else []
        if table:
            picture = f"![time and memory](growth_{axis.name}.svg)"
            note = f"{axis.note}\n\n" if axis.note else ""
            parts.append(f"## By {axis.words}\n\n{note}{markdown(HEAD, table)}\n{picture}\n\n")
    return "".join(parts).rstrip() + "\n"


@click.command(help=__doc__)
@click.option("--limit", default=60.0, help="CPU seconds of a point.", show_default=True)
@click.option(
    "--axis",
    "only",
    multiple=True,
    help="Measure it again, keep the rest.",
)
@click.option("--most", type=int, help="No values above this.")
@out_option
def main(limit: float, only: tuple[str, ...], most: int | None, out: Path) -> None:
    """Measure, and write all files."""
    others = [axis.name for axis in AXES if only and axis.name not in only]
    points = kept(out / "growth.csv", others)
    for axis in AXES:
        values = [v for v in axis.values if most is None or v <= most]
        for kind in axis.kinds if axis.name not in others else ():
            for measured in curve(axis, kind, limit, values):
                points.append(measured)
                print(axis.name, kind, measured.value, measured.outcome, file=sys.stderr)
        own = [p for p in points if p.axis == axis.name]
        write_whole(str(out / f"growth_{axis.name}.svg"), svg(axis.words, own), overwrite=True)
    points.sort(key=lambda p: [axis.name for axis in AXES].index(p.axis))
    write_whole(str(out / "growth.csv"), as_csv(ROWS, csv_rows(points)), overwrite=True)
    write_whole(str(out / "growth.md"), report(points), overwrite=True)


if __name__ == "__main__":
    main()
