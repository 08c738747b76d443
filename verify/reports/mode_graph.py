"""The modes of a link's machines as a graph: for other programs as GraphML, for people as SVG.

What is drawn is read off the rules (``verify/language/modes.py``). On the drawing an edge has
numbers, and below it stands what each number means: rules, what sets them off, what comes out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from math import cos, hypot, pi, sin
from textwrap import wrap

import networkx as nx

from verify.language import expressions as ex
from verify.language.machine import Machine
from verify.language.modes import Edge, Modes, Node, Trigger, modes_of, own_name
from verify.language.state import Bank, Emit, Signal, Timer
from verify.parts.link import Link
from verify.reports.names import printable

# Machines that differ in numbers only are drawn once; of those that are left, so many.
MOST_MACHINES = 12
# Names of rules in a line; more are counted.
MOST_RULES = 3

LETTER, LINE = 7.4, 18  # of 12 px letters, at most
BOX = 28
GAP = 24
LEAST_WIDTH = 620
LETTERS = 92  # in a line below a drawing

STYLE = """
.mg { font: 12px ui-monospace, Menlo, Consolas, monospace; color: #1b1b1b; background: #fff; }
.mg text { fill: currentColor; }
.mg .title { font-weight: bold; }
.mg .box { fill: none; stroke: currentColor; stroke-width: 1.5; }
.mg .begin { stroke-width: 3.5; }
.mg .way { fill: none; stroke: currentColor; stroke-width: 1.3; }
.mg .head { fill: currentColor; stroke: none; }
.mg .chip { fill: #fff; stroke: none; }
""".strip()


@dataclass(frozen=True)
class Group:
    """Machines of one end that differ in nothing but numbers: the first of them, and how many."""

    end: str
    modes: Modes
    alike: int


@dataclass(frozen=True)
class Told:
    """What an edge means, in words."""

    rules: str
    when: str
    emits: str

    @property
    def line(self) -> str:
        """One line."""
        out = f" ({self.emits})" if self.emits and self.rules else self.emits
        return f"{self.when}: {f'{self.rules}{out}' or 'goes on'}"


def groups(link: Link, ends: Sequence[str] = ("transmitter", "receiver")) -> list[Group]:
    """The machines of a link's ends, those of the first branch."""
    machines: dict[str, tuple[Machine, ...]] = {
        "transmitter": link.scheme.transmitter(),
        "receiver": link.scheme.receiver(0),
    }
    found: dict[tuple[str, str], list[Modes]] = {}
    for end in ends:
        for machine in machines[end]:
            modes = modes_of(machine)
            found.setdefault((end, _shape(modes, link)), []).append(modes)
    return [Group(end, alike[0], len(alike)) for (end, _), alike in found.items()]


def _shape(modes: Modes, link: Link) -> str:
    """The same for graphs that differ in numbers only."""
    nodes = [modes.label(node) for node in modes.nodes]
    edges = [(modes.label(e.source), modes.label(e.target), told(e, link)) for e in modes.edges]
    text = f"{modes.machine.name} {nodes} {edges}"
    for name in sorted(link.names, key=len, reverse=True):
        text = text.replace(_quoted(name), "#")
    return re.sub(r"\d+", "#", text)


def _quoted(name: str) -> str:
    return f"'{printable(name)}'"


# -- words ----------------------------------------------------------------------


def told(edge: Edge, link: Link) -> Told:
    """An edge in words."""
    # What lines do stands among what comes out.
    named = [printable(r) for r in edge.rules if not re.fullmatch(r"line \d+ (rises|falls)", r)]
    rules = ", ".join(named[:MOST_RULES])
    if named[MOST_RULES:]:
        rules += f" and {len(named) - MOST_RULES} more"
    whens = dict.fromkeys(" and ".join(map(_cause, when)) for when in edge.when)
    return Told(rules, f"when {_some(whens)}", _some(_effects(edge.emits, link), "and"))


def _effects(emits: Sequence[Emit], link: Link) -> list[str]:
    """Of several lines together, whatever each of them does."""
    moves: dict[str, set[str]] = {}
    found: dict[str, None] = {}
    for emit in emits:
        if edge := re.fullmatch(r"line(\d+)\.(rise|fall)", emit.signal.name):
            moves.setdefault(edge[1], set()).add(edge[2])
        else:
            found.setdefault(_effect(emit, link))
    does: dict[str, list[str]] = {}
    for line, ways in moves.items():
        verb = "moves" if len(ways) > 1 else "raises" if ways == {"rise"} else "lowers"
        does.setdefault(verb, []).append(line)
    lines = [
        f"{verb} line{'s' * (len(which) > 1)} {', '.join(which)}" for verb, which in does.items()
    ]
    return [*lines, *found]


def _some(words: Iterable[str], between: str = "or") -> str:
    listed = list(words)
    more = f" {between} {len(listed) - MOST_RULES} more" if listed[MOST_RULES:] else ""
    return f" {between} ".join(listed[:MOST_RULES]) + more


def _cause(trigger: Trigger) -> str:
    if isinstance(trigger, Timer):
        return f"{printable(own_name(trigger))} runs out"
    if isinstance(trigger, Bank):
        return f"one of {printable(own_name(trigger))} runs out"
    edge = re.fullmatch(r"line(\d+)(?:\.branch\d+)?\.(rise|fall)", trigger.name)
    if edge:
        return f"line {edge[1]} {edge[2]}s"
    happens = {"press": "an input goes on", "release": "an input goes off"}
    return happens.get(trigger.name, f"{printable(_own(trigger))} comes")


def _effect(emit: Emit, link: Link) -> str:
    name = emit.signal.name
    if name.startswith("misframed"):
        return "drops the frame"
    for begin, goes in (("decoded", "on"), ("cleared", "off")):
        if re.fullmatch(rf"{begin}\d+", name):
            return f"takes {_input(emit.values[0], link)} for {goes}"
    return f"sends {printable(_own(emit.signal))}"


def _input(value: ex.Int, link: Link) -> str:
    if isinstance(value, ex.Constant):
        return _quoted(link.names[int(value.value)])
    return "an input"


def _own(signal: Signal) -> str:
    return signal.name.split(".", 1)[-1]


# -- GraphML --------------------------------------------------------------------


def mode_graph(link: Link) -> nx.MultiDiGraph[str]:
    """Nodes ``MACHINE: MODE`` with ``end``, ``machine``, ``mode``, ``start``; edges with ``rules``,
    ``when`` and ``emits``, as words. All machines of both ends, one branch."""
    graph: nx.MultiDiGraph[str] = nx.MultiDiGraph(name=link.name)
    for end, machines in (
        ("transmitter", link.scheme.transmitter()),
        ("receiver", link.scheme.receiver(0)),
    ):
        for machine in machines:
            modes = modes_of(machine)
            for node in modes.nodes:
                label = modes.label(node)
                graph.add_node(
                    _id(modes, node),
                    end=end,
                    machine=machine.name,
                    mode=label,
                    start=node in modes.starts,
                )
            for edge in modes.edges:
                words = told(edge, link)
                graph.add_edge(
                    _id(modes, edge.source),
                    _id(modes, edge.target),
                    rules=", ".join(edge.rules),
                    when=words.when.removeprefix("when "),
                    emits=words.emits,
                )
    return graph


def _id(modes: Modes, node: Node) -> str:
    return f"{modes.machine.name}: {modes.label(node)}"


def graphml(link: Link) -> str:
    """The graph as a GraphML file."""
    return "\n".join(nx.generate_graphml(mode_graph(link))) + "\n"


# -- SVG ------------------------------------------------------------------------


def mode_svg(link: Link, ends: Sequence[str] = ("transmitter", "receiver")) -> str:
    """The machines one below the other, as an SVG file."""
    drawn, y = [], 12.0
    width = LEAST_WIDTH
    shown = groups(link, ends)
    for group in shown[:MOST_MACHINES]:
        picture = _Picture(group, link)
        drawn.append(f'<g transform="translate(12 {y:g})">{picture.text}</g>')
        y += picture.height + GAP
        width = max(width, int(picture.width) + 24)
    if shown[MOST_MACHINES:]:
        more = len(shown) - MOST_MACHINES
        drawn.append(f'<text x="12" y="{y + 4:g}">and {more} more machines</text>')
        y += LINE
    name = escape(f"modes of {printable(link.name)}")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="mg" role="img" '
        f'viewBox="0 0 {width} {y:g}" width="{width}" height="{y:g}">'
        f"<title>{name}</title><style>{STYLE}</style>{''.join(drawn)}</svg>\n"
    )


class _Picture:
    """One machine: its nodes in a row of two or in a circle, what its edges mean below."""

    def __init__(self, group: Group, link: Link) -> None:
        self.modes = group.modes
        self.labels = [printable(self.modes.label(node)) for node in self.modes.nodes]
        self.numbers: dict[Told, int] = {}
        ways: dict[tuple[Node, Node], list[int]] = {}
        for edge in self.modes.edges:
            number = self.numbers.setdefault(told(edge, link), len(self.numbers) + 1)
            numbers = ways.setdefault((edge.source, edge.target), [])
            if number not in numbers:
                numbers.append(number)
        top = 2 * LINE
        self.at = self._places(top)
        drawn = [self._way(a, b, numbers) for (a, b), numbers in ways.items()]
        drawn += [self._box(node, label) for node, label in zip(self.at, self.labels, strict=True)]
        lines = [
            line
            for words, n in self.numbers.items()
            for line in wrap(f"{n}  {words.line}", LETTERS, subsequent_indent=" " * 4)
        ]
        title = f"{group.end}: {printable(self.modes.machine.name)}"
        if group.alike > 1:
            title += f", and {group.alike - 1} more like it"
        said = [_text("", 0, self.below + LINE * (k + 1), line) for k, line in enumerate(lines)]
        self.text = "".join([_text("title", 0, 12, title), *drawn, *said])
        self.height = self.below + LINE * len(lines) + 6
        longest = max(map(len, [*lines, title]))
        right = max(x + w / 2 for (x, _), w in zip(self.at.values(), self.widths, strict=True))
        self.width = max(longest * LETTER, right + 60)

    def _places(self, top: float) -> dict[Node, tuple[float, float]]:
        nodes = self.modes.nodes
        self.widths = [len(label) * LETTER + 20 for label in self.labels]
        widest = max(self.widths)
        if len(nodes) <= 2:
            y = top + 56
            self.below = y + 62
            self.middle = (0.0, y)
            apart = widest + 190
            return {node: (60 + widest / 2 + k * apart, y) for k, node in enumerate(nodes)}
        # Wide enough that neighbours on the circle do not touch.
        radius = max(78.0, len(nodes) * (BOX + 30) / (2 * pi))
        across = max(radius, len(nodes) * (widest + 46) / (2 * pi), widest / 2 + 80)
        x, y = 60 + widest / 2 + across, top + radius + 50
        self.below = y + radius + 62
        self.middle = (x, y)
        turn = [-pi / 2 + 2 * pi * k / len(nodes) for k in range(len(nodes))]
        return {
            node: (x + across * cos(a), y + radius * sin(a))
            for node, a in zip(nodes, turn, strict=True)
        }

    def _box(self, node: Node, label: str) -> str:
        x, y = self.at[node]
        width = len(label) * LETTER + 20
        kind = "box begin" if node in self.modes.starts else "box"
        return (
            f'<rect class="{kind}" x="{x - width / 2:g}" y="{y - BOX / 2:g}" width="{width:g}" '
            f'height="{BOX}" rx="9"/>' + _text("", x, y + 4, label, "middle")
        )

    def _half(self, node: Node) -> tuple[float, float]:
        return self.widths[self.modes.nodes.index(node)] / 2, BOX / 2

    def _way(self, source: Node, target: Node, numbers: list[int]) -> str:
        label = " ".join(map(str, numbers))
        if source == target:
            return self._loop(source, label)
        (x0, y0), (x1, y1) = self.at[source], self.at[target]
        far = hypot(x1 - x0, y1 - y0)
        # To the right of its direction, so that there and back are two lines.
        bend = 26 if far < 260 else 34
        nx_, ny_ = -(y1 - y0) / far, (x1 - x0) / far
        cx, cy = (x0 + x1) / 2 + nx_ * bend, (y0 + y1) / 2 + ny_ * bend
        sx, sy = _edge_of((x0, y0), self._half(source), (cx, cy))
        tx, ty = _edge_of((x1, y1), self._half(target), (cx, cy))
        mx, my = (sx + 2 * cx + tx) / 4, (sy + 2 * cy + ty) / 4
        return (
            f'<path class="way" d="M {sx:.1f} {sy:.1f} Q {cx:.1f} {cy:.1f} {tx:.1f} {ty:.1f}"/>'
            + _head(tx, ty, tx - cx, ty - cy)
            + _chip(mx, my, label)
        )

    def _loop(self, node: Node, label: str) -> str:
        x, y = self.at[node]
        down = y > self.middle[1] + 1
        side = 1 if down else -1
        edge, out = y + side * BOX / 2, y + side * (BOX / 2 + 34)
        return (
            f'<path class="way" d="M {x - 13:.1f} {edge:.1f} C {x - 26:.1f} {out:.1f} '
            f'{x + 26:.1f} {out:.1f} {x + 13:.1f} {edge:.1f}"/>'
            + _head(x + 13, edge, -13, -side * 34)
            + _chip(x, y + side * (BOX / 2 + 26), label)
        )


def _edge_of(
    at: tuple[float, float], half: tuple[float, float], towards: tuple[float, float]
) -> tuple[float, float]:
    """Where a line from the middle of a box leaves it."""
    dx, dy = towards[0] - at[0], towards[1] - at[1]
    part = min(half[0] / abs(dx) if dx else 9e9, half[1] / abs(dy) if dy else 9e9)
    return at[0] + dx * part, at[1] + dy * part


def _head(x: float, y: float, dx: float, dy: float) -> str:
    length = hypot(dx, dy)
    ux, uy = dx / length, dy / length
    bx, by = x - 9 * ux, y - 9 * uy
    return (
        f'<path class="head" d="M {x:.1f} {y:.1f} L {bx - 4 * uy:.1f} {by + 4 * ux:.1f} '
        f'L {bx + 4 * uy:.1f} {by - 4 * ux:.1f} Z"/>'
    )


def _chip(x: float, y: float, label: str) -> str:
    width = len(label) * LETTER + 8
    return (
        f'<rect class="chip" x="{x - width / 2:.1f}" y="{y - 9:.1f}" width="{width:.1f}" '
        'height="17" rx="4"/>' + _text("", x, y + 4, label, "middle")
    )


def _text(kind: str, x: float, y: float, text: str, anchor: str = "") -> str:
    named = f' class="{kind}"' if kind else ""
    anchored = f' text-anchor="{anchor}"' if anchor else ""
    x += LETTER * (len(text) - len(text.lstrip()))  # blanks at the beginning are not drawn
    return f'<text{named} x="{x:.1f}" y="{y:.1f}"{anchored}>{escape(text.strip())}</text>'


__all__ = ["STYLE", "Group", "Told", "graphml", "groups", "mode_graph", "mode_svg", "told"]
