"""Command ``show``: what was understood of a link file."""

from __future__ import annotations

import click

from verify.commands.shared import HOLDS, guarded, subject_of


@click.command()
@click.argument("file", type=click.Path())
@guarded
def show(file: str) -> int:
    """What was understood of a link file, and its table with the delays.

    Example: fewwire show carillon.toml
    """
    from verify.reports.terminal import show_link

    show_link(subject_of(file))
    return HOLDS
