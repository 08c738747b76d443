"""Curves of time and memory, both axes logarithmic, as SVG."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import matplotlib
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from .growth import Measured
    from .growth_point import Outcome

# A colour and a marker per scheme, so that they are told apart without colour as well; dashes for
# levers. The colours are Okabe and Ito's, safe for colour-blind eyes.
_STYLES = {
    "wire-per-input": ("#0072B2", "o"),
    "parallel-code": ("#D55E00", "s"),
    "pulse-gap": ("#009E73", "^"),
    "framed-serial": ("#CC79A7", "D"),
    "free-scan": ("#000000", "v"),
    "synced-scan": ("#E69F00", "P"),
}


def svg(words: str, points: Sequence[Measured]) -> bytes:
    """Two panels over what grows, which ``words`` name; a cross marks where a curve was cut off."""
    stream = io.BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "fewwire", "font.size": 9}):
        drawn = Figure(figsize=(10.5, 4.8), facecolor="white")
        time, memory = drawn.subplots(1, 2)
        _panel(time, points, lambda outcome: max(outcome.seconds, 1e-4))
        _panel(memory, points, lambda outcome: outcome.added)
        time.set_yscale("log")
        time.yaxis.set_major_locator(LogLocator(subs=(1, 3)))
        time.yaxis.set_major_formatter(FuncFormatter(lambda seconds, _: f"{seconds:g}"))
        time.minorticks_off()
        memory.set_ylim(0, max(1, 1.05 * memory.get_ylim()[1]))
        for axes, title in (
            (time, "CPU time, s"),
            (memory, "peak memory, MB more than at rest"),
        ):
            axes.set_title(title, loc="left", fontsize=10)
            axes.set_xlabel(words)
        handles, labels = time.get_legend_handles_labels()
        drawn.legend(handles, labels, loc="center right", frameon=False)
        drawn.subplots_adjust(left=0.06, right=0.81, bottom=0.12, top=0.92, wspace=0.2)
        drawn.savefig(stream, format="svg", metadata={"Date": None, "Creator": None})
    return stream.getvalue()


def _panel(axes: Axes, points: Sequence[Measured], value: Callable[[Outcome], float]) -> None:
    # Values that go up by the same factor stand at the same distance; few are just counted.
    values = sorted({p.value for p in points})
    if values[-1] > 4:
        axes.set_xscale("log")
    axes.set_xticks(values, labels=[_tick_text(v) for v in values])
    axes.minorticks_off()
    axes.grid(color="#dddddd", linewidth=0.6)
    for kind in dict.fromkeys(p.kind for p in points):
        own = [(p.value, p.outcome) for p in points if p.kind == kind]
        known = [(n, value(outcome)) for n, outcome in own if outcome is not None]
        style = _style(kind.scheme, kind.inputs)
        axes.plot(*zip(*known, strict=True), label=str(kind), markersize=4, linewidth=1.4, **style)
        if own[-1][1] is None and known:
            axes.plot(*known[-1], marker="x", markersize=10, color=style["color"])


def _tick_text(value: int) -> str:
    return f"{value:,}" if value < 10_000 else f"$10^{len(str(value)) - 1}$"


def _style(scheme: str, inputs: str) -> dict[str, Any]:
    colour, marker = _STYLES[scheme]
    dashes = (0, (4, 2)) if inputs == "level" else "-"
    return {"color": colour, "marker": marker, "linestyle": dashes}
