"""Command ``show``: what was understood of a link file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from verify.commands.shared import HOLDS, guarded, subject_of, time_option
from verify.errors import UsageError

if TYPE_CHECKING:
    from verify.parts.link import Link


@click.command()
@click.option(
    "--graph",
    type=click.Path(),
    metavar="GRAPH",
    help="Also the modes of both ends as a graph: a name that ends in .svg or .graphml.",
)
@click.option("--force", is_flag=True, help="Overwrite a file that is there.")
@time_option("Find out no longer than this what a press or move does alone.")
@click.argument("file", type=click.Path())
@guarded
def show(file: str, graph: str | None, force: bool, seconds: float) -> int:
    """What was understood of a link file, and its table with the delays.

    Then what is odd about its machines: modes never reached, rules never used, rules that
    clash, timers that never run out.

    Example: fewwire show carillon.toml --graph carillon.svg
    """
    if graph is not None:
        _check(graph, file, force)
    from verify.engines.alarm import turn_off
    from verify.reports.machine_warnings import show_machine_warnings
    from verify.reports.terminal import show_link

    subject = subject_of(file)
    turn_off()
    if graph is not None:
        _write(graph, subject.link, force)
    show_link(subject)
    show_machine_warnings(subject.link)
    return HOLDS


def _check(graph: str, file: str, force: bool) -> None:
    """Before anything is asked."""
    from verify.files import check_apart, check_writable

    if not graph.lower().endswith((".svg", ".graphml")):
        raise UsageError(f"--graph: found {graph}; allowed: a name that ends in .svg or .graphml")
    check_apart(file, graph)
    check_writable(graph, overwrite=force)


def _write(graph: str, link: Link, force: bool) -> None:
    from verify.files import write_whole
    from verify.reports.mode_graph import graphml, mode_svg

    text = mode_svg(link) if graph.lower().endswith(".svg") else graphml(link)
    write_whole(graph, text, overwrite=force)
    click.echo(f"wrote {graph}", err=True)
