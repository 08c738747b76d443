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
    from verify.reports.machine_warnings import show_machine_warnings
    from verify.reports.terminal import show_link

    subject = subject_of(file)
    show_link(subject)
    show_machine_warnings(subject.link)
    return HOLDS
