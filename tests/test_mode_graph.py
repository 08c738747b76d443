"""Graphs of modes: what rules say, what runs do, and what is drawn of it."""

from __future__ import annotations

import io
from pathlib import Path
from xml.etree import ElementTree

import networkx as nx
import pytest
from click.testing import CliRunner
from hypothesis import given, settings

from tests.links import links
from verify.cli import main
from verify.engines.concrete import Compiled
from verify.language.modes import Modes, Node, modes_of
from verify.language.state import Number
from verify.linkfile import load
from verify.parts.link import Link, factored
from verify.reports.mode_graph import graphml, mode_graph, mode_svg

LINKS = Path(__file__).parent.parent / "models" / "links"
SVG = "{http://www.w3.org/2000/svg}"


def receiver(name: str) -> Modes:
    return modes_of(load(LINKS / f"{name}.toml").scheme.receiver(0)[0])


def told(modes: Modes) -> set[tuple[str, str, tuple[str, ...]]]:
    return {(modes.label(e.source), modes.label(e.target), e.rules) for e in modes.edges}


def test_the_receiver_of_pulses_arms_and_disarms() -> None:
    assert told(receiver("carillon")) == {
        ("disarmed", "armed", ("arm",)),
        ("armed", "disarmed", ("match", "miss")),
        ("armed", "disarmed", ("too late",)),
        ("armed", "armed", ("arm",)),  # the window is over in the tick of the next rise
    }


def test_a_scan_goes_round_and_begins_again_at_each_mark() -> None:
    ways = {(source, target) for source, target, _ in told(receiver("greenhouse"))}
    around = {(f"slot {k}", f"slot {(k + 1) % 5}") for k in range(5)}
    again = {(f"slot {k}", "slot 4") for k in range(5)}  # before the first

    assert {way for way in ways if way[0] != way[1]} == {
        way for way in around | again if way[0] != way[1]
    }


def node_of(modes: Modes, compiled: Compiled, state: tuple[object, ...]) -> Node:
    values = []
    for axis in modes.axes:
        value = state[compiled.where[axis]]
        values.append(value if isinstance(axis, Number) else int(bool(value)))
    return tuple(values)  # type: ignore[arg-type]


@settings(max_examples=40, deadline=None)
@given(links())
def test_no_step_of_a_run_is_missing(link: Link) -> None:
    """Every step of the engines, from visited state to visited state, is an edge or stays."""
    system = factored(link, None)
    if system.dense:
        return
    compiled = Compiled(system)
    ends = {m.name for m in (*link.scheme.transmitter(), *link.scheme.receiver(0))}
    graphs = [modes_of(m) for m in system.machines if m.name in ends]
    ways = [{(e.source, e.target) for e in g.edges} for g in graphs]
    states, seen = list(compiled.starts())[:4], set()
    for state in states:
        event = compiled.next_event(state)
        passed = event or 1
        for taken in ((), *((i,) for i in range(compiled.count))):
            if not taken and event is None:
                continue
            for after, _, _ in compiled.outcomes(state, passed, taken):
                for graph, way in zip(graphs, ways, strict=True):
                    step = node_of(graph, compiled, state), node_of(graph, compiled, after)
                    assert step[0] == step[1] or step in way, (graph.machine.name, step)
                if after not in seen and len(seen) < 150:
                    seen.add(after)
                    states.append(after)


@pytest.mark.parametrize("name", ["carillon", "card_reader", "greenhouse", "stage_lamps"])
def test_the_drawing_is_sound_xml_and_has_every_mode(name: str) -> None:
    link = load(LINKS / f"{name}.toml")
    drawn = ElementTree.fromstring(mode_svg(link, ["receiver"]))
    texts = {text.text for text in drawn.iter(f"{SVG}text")}
    modes = receiver(name)

    assert {modes.label(node) for node in modes.nodes} <= texts
    # Nothing stands outside the paper.
    width, height = float(drawn.get("width", 0)), float(drawn.get("height", 0))
    assert all(float(r.get("x", 0)) >= 0 for r in drawn.iter(f"{SVG}rect"))
    assert width < 900
    assert height < 900


def test_graphml_is_read_back_by_networkx() -> None:
    link = load(LINKS / "card_reader.toml")
    read = nx.read_graphml(io.BytesIO(graphml(link).encode()))
    made = mode_graph(link)

    assert dict(read.nodes(data=True)) == dict(made.nodes(data=True))
    assert sorted(d["rules"] for *_, d in read.edges(data=True)) == sorted(
        d["rules"] for *_, d in made.edges(data=True)
    )


def test_names_of_a_link_are_escaped(tmp_path: Path) -> None:
    text = (LINKS / "greenhouse.toml").read_text().replace('"north"', '"<b>&\\""')
    (tmp_path / "odd.toml").write_text(text.replace('name = "greenhouse"', 'name = "a<b"'))
    link = load(tmp_path / "odd.toml")

    drawn = ElementTree.fromstring(mode_svg(link))
    assert any("<b>&" in (text.text or "") for text in drawn.iter(f"{SVG}text"))
    assert nx.read_graphml(io.BytesIO(graphml(link).encode())).number_of_nodes() == 10


def test_machines_alike_are_drawn_once(tmp_path: Path) -> None:
    (tmp_path / "wires.toml").write_text(
        'tick = "1 ms"\n[inputs]\ncount = 40\n[link]\nscheme = "wire-per-input"\n'
    )
    drawn = mode_svg(load(tmp_path / "wires.toml"))

    assert drawn.count("and 39 more like it") == 2


def test_show_writes_a_graph_or_says_why_not(tmp_path: Path) -> None:
    file, runner = str(LINKS / "carillon.toml"), CliRunner()
    for ending, begins in ((".svg", "<svg"), (".GRAPHML", "<?xml")):
        where = tmp_path / f"modes{ending}"
        done = runner.invoke(main, ["show", file, "--graph", str(where)])
        assert done.exit_code == 0
        assert done.stderr == f"wrote {where}\n"
        assert where.read_text().startswith(begins) or ending == ".GRAPHML"
        assert runner.invoke(main, ["show", file, "--graph", str(where)]).exit_code == 2
        again = runner.invoke(main, ["show", file, "--graph", str(where), "--force"])
        assert again.exit_code == 0
    wrong = runner.invoke(main, ["show", file, "--graph", str(tmp_path / "modes.png")])
    assert wrong.exit_code == 2
    assert "allowed: a name that ends in .svg or .graphml" in wrong.stderr
