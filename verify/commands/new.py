"""Command ``new``: a link file to start from."""

from __future__ import annotations

import click

from verify.commands.shared import HOLDS, guarded


@click.command()
@click.argument("file", type=click.Path(), default="-")
@click.option(
    "--scheme",
    type=click.Choice(
        [
            "pulse-gap",
            "wire-per-input",
            "parallel-code",
            "framed-serial",
            "free-scan",
            "synced-scan",
            "own",
        ]
    ),
    default="pulse-gap",
    show_default=True,
)
@click.option("--inputs", type=click.IntRange(1, 1000), default=7, show_default=True, metavar="N")
@click.option("--force", is_flag=True, help="Overwrite a file that is there.")
@guarded
def new(file: str, scheme: str, inputs: int, force: bool) -> int:
    """Write a commented link file to start from, to FILE or to stdout.

    Example: fewwire new my-link.toml --inputs 5
    """
    from verify.files import write_whole
    from verify.starting_file import starting_file

    text = starting_file(scheme, inputs)
    if file == "-":
        click.echo(text, nl=False)
    else:
        write_whole(file, text, overwrite=force)
        click.echo(f"wrote {file}; next: fewwire check {file}", err=True)
    return HOLDS
