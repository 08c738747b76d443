"""A sweep as pictures: its main figure over the keys that vary, as PNG and SVG.

One key that counts: a curve. Otherwise a field per pair of values, with its figure in it; of
more than two keys, a panel for each of the others' values.
"""

from __future__ import annotations

import io
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from itertools import product
from textwrap import fill
from typing import TYPE_CHECKING, Any

from verify.errors import UsageError
from verify.files import prepare_folder, write_whole
from verify.parts.link import Link
from verify.reports.palette import LIGHT
from verify.reports.sweep_axes import figure_scale, scale_of
from verify.sweeps.asking import Figure
from verify.sweeps.cells import Result
from verify.sweeps.file import Axis, Sweep

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing

FILES = ("sweep.png", "sweep.svg")
MOST_PANELS = 12
MOST_FIELDS = 2_500  # in a panel
_MOST_WRITTEN = 150  # fields with a text in each
_LONGEST = 30  # characters of a value
_SMALL = 8  # points
_LETTERS = 13  # of a panel's title, to an inch

_WORDS = {"holds": "holds", "fails": "fails", "undecided": "undecided", None: "not asked"}
_GROUNDS = {
    "holds": LIGHT["good-ground"],
    "fails": LIGHT["bad-ground"],
    "undecided": LIGHT["open-ground"],
    None: "#ececec",
}
_INKS = {
    "holds": LIGHT["good"],
    "fails": LIGHT["bad"],
    "undecided": LIGHT["open"],
    None: "#555555",
}
_MARKERS = {"fails": "X", "undecided": "s", None: "d"}
_SAID = {"fails": "fails", "undecided": "undecided", None: "not asked"}


@dataclass(frozen=True)
class _Plan:
    """Which axes go across, up, and from panel to panel; by their numbers in the sweep."""

    across: int
    up: int | None
    panels: tuple[int, ...]


def prepare(folder: str, sweep: Sweep, *, overwrite: bool) -> None:
    """Make the folder, and see that everything is there that ``write`` needs.

    Raises UsageError if matplotlib is missing, a file is there or cannot be written, or there
    is too much for one picture.
    """
    try:
        import_module("matplotlib")
    except ImportError:
        raise UsageError(
            '--pictures: found no matplotlib; allowed: with it (pip install "fewwire[plots]")'
        ) from None
    plan = _plan(sweep)
    panels = _many(sweep.axes, plan.panels)
    if panels > MOST_PANELS:
        allowed = f"at most {MOST_PANELS}: fewer values of the shortest lists"
        raise UsageError(f"--pictures: found a sweep of {panels} panels; allowed: {allowed}")
    fields = sweep.cells // panels
    if plan.up is not None and fields > MOST_FIELDS:
        allowed = f"at most {MOST_FIELDS} in a panel"
        raise UsageError(f"--pictures: found {fields} cells in a panel; allowed: {allowed}")
    prepare_folder(folder, FILES, overwrite=overwrite)


def write(folder: str, sweep: Sweep, link: Link, done: Mapping[int, Result]) -> list[str]:
    """The files' paths; each is written whole or not at all. ``link``: of one of the cells."""
    import matplotlib

    drawn = figure(sweep, link, done)
    paths = []
    for name, form, metadata in zip(
        FILES, ("png", "svg"), ({"Software": None}, {"Date": None, "Creator": None}), strict=True
    ):
        stream = io.BytesIO()
        with matplotlib.rc_context({"svg.hashsalt": "fewwire"}):
            drawn.savefig(stream, format=form, dpi=150, metadata=metadata)
        paths.append(os.path.join(folder, name))
        write_whole(paths[-1], stream.getvalue(), overwrite=True)
    return paths


def _many(axes: Sequence[Axis], numbers: Sequence[int]) -> int:
    many = 1
    for k in numbers:
        many *= len(axes[k].rows)
    return many


def _plan(sweep: Sweep) -> _Plan:
    """The longest axes go across and up, the shortest from panel to panel."""
    varying = [k for k, axis in enumerate(sweep.axes) if axis.varies] or [0]
    longest = sorted(varying, key=lambda k: -len(sweep.axes[k].rows))
    if len(longest) == 1:
        return _Plan(longest[0], None, ())
    drawn = sorted(longest[:2], key=lambda k: -len(sweep.axes[k].rows))
    return _Plan(drawn[0], drawn[1], tuple(sorted(longest[2:])))


def figure(sweep: Sweep, link: Link, done: Mapping[int, Result]) -> Drawing:
    """The picture. ``link``: of one of the cells."""
    from matplotlib.figure import Figure

    return _Drawing(sweep, link, done).drawn(Figure)


class _Drawing:
    def __init__(self, sweep: Sweep, link: Link, done: Mapping[int, Result]) -> None:
        self.sweep, self.done, self.plan = sweep, done, _plan(sweep)
        self.scales = [scale_of(sweep, k, link) for k in range(len(sweep.axes))]
        self.shown = figure_scale(sweep, done)
        self.by_place = {sweep.places(number): found for number, found in done.items()}

    def drawn(self, new: Any) -> Drawing:
        plan, axes = self.plan, self.sweep.axes
        rest = list(product(*(range(len(axes[k].rows)) for k in plan.panels)))
        wide = min(len(rest), 3)
        high = -(-len(rest) // wide)
        across = len(axes[plan.across].rows)
        up = 1 if plan.up is None else len(axes[plan.up].rows)
        curve = self._is_curve()
        size = (
            (7.5, 4.6)
            if curve
            else (
                max(6.0, wide * min(10.0, 1.6 + 0.62 * across)),
                max(2.6, 1.0 + high * min(9.0, 1.3 + 0.42 * up)),
            )
        )
        drawing: Drawing = new(figsize=size, facecolor="white", layout="constrained")
        panels = drawing.subplots(high, wide, squeeze=False)
        fields = None
        for panel, places in zip(panels.flat, rest, strict=False):
            if curve:
                self._curve(panel)
            else:
                fields = self._fields(panel, places) or fields
            if places:
                names = zip(plan.panels, places, strict=True)
                said = ", ".join(self.scales[k].said(place) for k, place in names)
                broken = fill(said, int(_LETTERS * size[0] / wide), break_long_words=False)
                panel.set_title(broken, loc="left", fontsize=_SMALL + 1)
        for panel in panels.flat[len(rest) :]:
            panel.set_axis_off()
        if fields is not None:
            bar = drawing.colorbar(fields, ax=panels, fraction=0.05, pad=0.02)
            bar.set_label(self.shown.label, fontsize=_SMALL + 1)
            bar.ax.tick_params(labelsize=_SMALL)
        drawing.suptitle(self._title(), x=0.01, ha="left", fontsize=11)
        return drawing

    def _title(self) -> str:
        fixed = [
            scale.said(0)
            for scale, axis in zip(self.scales, self.sweep.axes, strict=True)
            if not axis.varies and len(self.sweep.axes) > 1
        ]
        with_them = f" ({', '.join(fixed)})" if fixed else ""
        return f"{self.sweep.name}: {self.shown.title}{with_them}"

    def _is_curve(self) -> bool:
        across = self.scales[self.plan.across]
        return self.plan.up is None and across.numbers is not None and self.shown.key is not None

    # -- one axis ----------------------------------------------------------------------

    def _curve(self, panel: Axes) -> None:
        from matplotlib.ticker import MaxNLocator

        scale = self.scales[self.plan.across]
        numbers = scale.numbers or ()
        order = sorted(range(len(numbers)), key=lambda k: numbers[k])
        found = [self._at({self.plan.across: k}) for k in order]
        x = [numbers[k] for k in order]
        y = [self._amount(one) for one in found]
        panel.plot(
            x,
            [float("nan") if amount is None else amount for amount in y],
            color="#0072B2",
            marker="o",
            markersize=5,
            linewidth=1.6,
            clip_on=False,
            zorder=3,
        )
        for word, marker in _MARKERS.items():
            at = [
                place
                for place, one, amount in zip(x, found, y, strict=True)
                if one.verdict == word and amount is None
            ]
            if at:
                panel.plot(
                    at,
                    [0.02] * len(at),
                    marker,
                    color=_INKS[word],
                    label=_SAID[word],
                    transform=panel.get_xaxis_transform(),
                    clip_on=False,
                    zorder=4,
                )
        if panel.get_legend_handles_labels()[0]:
            panel.legend(fontsize=_SMALL, frameon=False)
        highest = max((amount for amount in y if amount is not None), default=1)
        lowest = min((amount for amount in y if amount is not None), default=0)
        panel.set_ylim(min(0, lowest * 1.08), highest * 1.08 or 1)
        if all(number == int(number) for number in numbers):
            panel.xaxis.set_major_locator(MaxNLocator(integer=True))
        panel.set_xlabel(scale.label, fontsize=_SMALL + 1)
        panel.set_ylabel(self.shown.label, fontsize=_SMALL + 1)
        panel.tick_params(labelsize=_SMALL)
        panel.grid(color="#d9d9d9", linewidth=0.6)
        panel.spines[["top", "right"]].set_visible(False)

    # -- two axes ----------------------------------------------------------------------

    def _fields(self, panel: Axes, places: tuple[int, ...]) -> Any:
        import numpy

        plan, axes = self.plan, self.sweep.axes
        fixed = dict(zip(plan.panels, places, strict=True))
        wide = len(axes[plan.across].rows)
        high = 1 if plan.up is None else len(axes[plan.up].rows)
        amounts = numpy.full((high, wide), numpy.nan)
        grounds = numpy.ones((high, wide, 3))
        from matplotlib.colors import to_rgb

        found = {}
        for i, j in product(range(high), range(wide)):
            one = self._at({**fixed, plan.across: j, **({} if plan.up is None else {plan.up: i})})
            amount = self._amount(one)
            found[i, j] = one, amount
            if amount is not None:
                amounts[i, j] = amount
            grounds[i, j] = to_rgb(_GROUNDS[one.verdict])
        panel.imshow(grounds, aspect="auto", origin="lower")
        shown = None
        low, high_end = self.shown.ends
        if not numpy.isnan(amounts).all():
            shown = panel.imshow(
                amounts, aspect="auto", origin="lower", cmap="YlGnBu", vmin=low, vmax=high_end
            )
        if wide * high <= _MOST_WRITTEN:
            for (i, j), (one, amount) in found.items():
                self._write(panel, i, j, one, amount, shown)
        self._label(panel, plan.across, panel.set_xticks, panel.set_xlabel)
        if plan.up is None:
            panel.set_yticks([])
        else:
            self._label(panel, plan.up, panel.set_yticks, panel.set_ylabel)
        panel.spines[:].set_visible(False)
        panel.set_xticks([k - 0.5 for k in range(1, wide)], minor=True)
        panel.set_yticks([k - 0.5 for k in range(1, high)], minor=True)
        panel.grid(which="minor", color="white", linewidth=1.2 if wide * high < 500 else 0.3)
        panel.tick_params(which="both", length=0)
        return shown

    def _write(
        self, panel: Axes, i: int, j: int, one: Result, amount: float | None, shown: Any
    ) -> None:
        text, ink = _WORDS[one.verdict], _INKS[one.verdict]
        if amount is not None:
            text = f"{amount:.4g}"
            red, green, blue, _ = shown.cmap(shown.norm(amount))
            # Relative luminance, roughly: which of black and white is easier to read on it.
            light = 0.2126 * red**2.2 + 0.7152 * green**2.2 + 0.0722 * blue**2.2
            ink = "white" if light < 0.18 else "black"
        size = _SMALL if len(text) < 7 else _SMALL - 1.5
        panel.text(j, i, text, ha="center", va="center", fontsize=size, color=ink)

    def _label(self, panel: Axes, k: int, ticks: Any, label: Any) -> None:
        scale, many = self.scales[k], len(self.sweep.axes[k].rows)
        # No more than have room beside one another.
        every = -(-many // 24)
        places = range(0, many, every)
        words = [_cut(scale.words[place]) for place in places]
        slanted = ticks == panel.set_xticks and max(map(len, words)) > 8
        turned = {"rotation": 30, "ha": "right"} if slanted else {}
        ticks(list(places), labels=words, fontsize=_SMALL, **turned)
        label(scale.label, fontsize=_SMALL + 1)

    # -- cells -------------------------------------------------------------------------

    def _at(self, places: Mapping[int, int]) -> Result:
        return self.by_place[tuple(places.get(k, 0) for k in range(len(self.sweep.axes)))]

    def _amount(self, found: Result) -> float | None:
        value: Figure = found.figures.get(self.shown.key) if self.shown.key else None
        if value is None or isinstance(value, bool | str):
            return None
        return value * self.shown.times


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3]}..."
