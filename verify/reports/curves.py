"""How schemes grow with the number of inputs: curves as CSV, PNG and SVG."""

from __future__ import annotations

import io
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isnan, nan
from typing import TYPE_CHECKING, Any

from verify.errors import UsageError
from verify.files import prepare_folder, write_whole
from verify.questions.compare import Row
from verify.questions.growth import CURVES
from verify.reports.comparison_data import comparison_csv
from verify.units import duration_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FILES = ("curves.csv", "curves.png", "curves.svg")

# Told apart without colour as well; the colours are Okabe and Ito's, safe for colour-blind eyes.
_COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000", "#E69F00", "#56B4E9")
_MARKERS = ("o", "s", "^", "D", "v", "P", "X")
_DASHES: tuple[Any, ...] = ("-", (0, (5, 2)), (0, (1, 1.4)), (0, (6, 2, 1, 2)), (0, (3, 1, 1, 1)))
_LIGHT = "#d9d9d9"
_SMALL = 8  # points
# Room that a label needs, as a part of a panel's height.
_LABEL_HEIGHT = 0.075


@dataclass(frozen=True)
class _Panel:
    title: str
    value: Callable[[Row], float]


@dataclass(frozen=True)
class _Curve:
    """Of one scheme: what it is called, its points, and its place among the styles."""

    label: str
    x: list[int]
    y: list[float]
    style: int

    @property
    def end(self) -> tuple[int, float] | None:
        """The last point that is known."""
        known = [(x, y) for x, y in zip(self.x, self.y, strict=True) if not isnan(y)]
        return known[-1] if known else None


def prepare(folder: str, *, overwrite: bool = False) -> None:
    """Make the folder, and see that everything is there that ``write`` needs.

    Raises UsageError if matplotlib is missing, or a file is there or cannot be written.
    """
    try:
        import matplotlib  # noqa: F401
    except ImportError:
        raise UsageError(
            "--curves: found no matplotlib; allowed: with it (pip install matplotlib)"
        ) from None
    prepare_folder(folder, FILES, overwrite=overwrite)


def write(folder: str, rows: Sequence[Row], mark: int | None, *, overwrite: bool = False) -> None:
    """The files, each whole or not at all. ``mark``: a number of inputs to point out."""
    drawn = figure(rows, mark)
    made: tuple[str | bytes, ...] = (
        comparison_csv(rows, CURVES),
        _saved(drawn, "png", {"Software": None}),
        _saved(drawn, "svg", {"Date": None, "Creator": None}),
    )
    for name, data in zip(FILES, made, strict=True):
        write_whole(os.path.join(folder, name), data, overwrite=overwrite)


def _saved(drawn: Figure, form: str, metadata: dict[str, None]) -> bytes:
    """The same bytes every time."""
    import matplotlib

    stream = io.BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "fewwire"}):
        drawn.savefig(stream, format=form, dpi=150, metadata=metadata)
    return stream.getvalue()


def figure(rows: Sequence[Row], mark: int | None = None) -> Figure:
    """Lines, least spacing, worst latency and its spread over the number of inputs."""
    from matplotlib.figure import Figure

    ticks = f"ticks of {duration_text(rows[0].link.tick)}"
    panels = (
        _Panel("Lines", lambda row: row.link.scheme.lines),
        _Panel(f"Least spacing, {ticks}", _of("spacing", "least")),
        _Panel(f"Worst latency, {ticks}", _of("latency", "worst")),
        _Panel(f"Spread of latency, {ticks}", _of("latency", "spread")),
    )
    points = sorted({row.link.inputs for row in rows})
    if mark is not None and not points[0] <= mark <= points[-1]:
        mark = None
    drawn = Figure(figsize=(10.5, 7.6), facecolor="white")
    axes = drawn.subplots(2, 2)
    for place, panel in zip(axes.flat, panels, strict=True):
        _draw(place, panel, rows, mark)
    marked = "" if mark is None else f" (grey: {mark})"
    title = f"Every scheme as fast as it goes, by number of inputs{marked}"
    drawn.suptitle(title, x=0.06, ha="left")
    drawn.subplots_adjust(left=0.06, right=0.86, top=0.89, bottom=0.07, wspace=0.56, hspace=0.3)
    return drawn


def _of(column: str, amount: str) -> Callable[[Row], float]:
    def value(row: Row) -> float:
        ticks = row.cells[column].amounts.get(amount)
        return nan if ticks is None else float(ticks)

    return value


def _curves(panel: _Panel, rows: Sequence[Row]) -> list[_Curve]:
    names = list(dict.fromkeys((row.link.scheme_name, row.link.kind) for row in rows))
    found = []
    for k, (scheme, kind) in enumerate(names):
        mine = [r for r in rows if (r.link.scheme_name, r.link.kind) == (scheme, kind)]
        label = scheme + (" (levers)" if kind == "level" else "")
        found.append(
            _Curve(label, [r.link.inputs for r in mine], [panel.value(r) for r in mine], k)
        )
    return found


def _draw(axes: Axes, panel: _Panel, rows: Sequence[Row], mark: int | None) -> None:
    curves = _curves(panel, rows)
    points = sorted({row.link.inputs for row in rows})
    _scales(axes, points, max((y for c in curves for y in c.y if not isnan(y)), default=1))
    if mark is not None:
        axes.axvline(mark, color=_LIGHT, linewidth=5, zorder=0)
    for curve in curves:
        style = curve.style
        # The first ones are larger, wider and hollow: curves that coincide are all seen.
        axes.plot(
            curve.x,
            curve.y,
            color=_COLOURS[style % len(_COLOURS)],
            linestyle=_DASHES[style % len(_DASHES)],
            marker=_MARKERS[style % len(_MARKERS)],
            markersize=max(4.5, 10 - 1.1 * style),
            markerfacecolor="none",
            linewidth=max(1.1, 2.8 - 0.35 * style),
            clip_on=False,
            zorder=3,
        )
    axes.set_title(panel.title, loc="left", fontsize=11)
    axes.set_xlabel("inputs", fontsize=9)
    _label(axes, curves)


def _scales(axes: Axes, points: Sequence[int], highest: float) -> None:
    """Doublings are equal steps on both axes; below 1 the upward one is even, for there is 0."""
    axes.set_xscale("log", base=2)
    axes.set_yscale("symlog", base=2, linthresh=1, linscale=0.7)
    doublings = [x for x in points if x & (x - 1) == 0]
    axes.set_xticks(doublings, labels=[str(x) for x in doublings], fontsize=_SMALL)
    axes.set_xticks([], minor=True)
    heights = [0, *(1 << k for k in range(max(1, (int(highest) - 1).bit_length()) + 1))]
    axes.set_yticks(heights, labels=[str(y) for y in heights], fontsize=_SMALL)
    axes.set_yticks([], minor=True)
    axes.set_xlim(points[0], points[-1])
    axes.set_ylim(0, heights[-1])
    axes.grid(color=_LIGHT, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)


def _label(axes: Axes, curves: Sequence[_Curve]) -> None:
    """The name of each curve at its right end, moved up or down where others are near."""
    ends = [(curve, end) for curve in curves if (end := curve.end) is not None]

    def height(end: tuple[int, float]) -> float:
        pixels = axes.transData.transform(end)
        return float(axes.transAxes.inverted().transform(pixels)[1])

    ends.sort(key=lambda pair: (height(pair[1]), -pair[0].style))
    places = apart([height(end) for _, end in ends], _LABEL_HEIGHT)
    for (curve, end), place in zip(ends, places, strict=True):
        colour = _COLOURS[curve.style % len(_COLOURS)]
        axes.annotate(
            curve.label,
            xy=end,
            xytext=(1.07, place),
            textcoords="axes fraction",
            fontsize=_SMALL,
            color=colour,
            va="center",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.6, "shrinkB": 4},
        )


def apart(wanted: Sequence[float], room: float) -> list[float]:
    """Places in rising order, near the wanted ones and at least ``room`` from each other.

    Neighbours that are too close become a block, which is centred on what its members want.
    """
    blocks: list[tuple[float, int]] = []  # mean of what is wanted, less the offset; members
    for want in wanted:
        block = (want, 1)
        while blocks and _lowest(block, room) - _highest(blocks[-1], room) < room:
            mean, members = blocks.pop()
            total = members + block[1]
            block = ((mean * members + block[0] * block[1]) / total, total)
        blocks.append(block)
    return [_lowest(block, room) + k * room for block in blocks for k in range(block[1])]


def _lowest(block: tuple[float, int], room: float) -> float:
    return block[0] - (block[1] - 1) / 2 * room


def _highest(block: tuple[float, int], room: float) -> float:
    return block[0] + (block[1] - 1) / 2 * room
