"""Command ``completion``: a script that lets a shell complete commands, options and files."""

from __future__ import annotations

import click

from verify.commands.shared import HOLDS, guarded


@click.command()
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
@guarded
def completion(shell: str) -> int:
    """Print a script that teaches a shell to complete fewwire's command lines.

    It completes commands, options and their values, files, and names of inputs. Where to
    put the script: `fewwire manual completion`.

    Example: fewwire completion bash
    """
    from click.shell_completion import get_completion_class

    found = get_completion_class(shell)
    if found is None:
        raise AssertionError(shell)
    main = click.get_current_context().find_root().command
    click.echo(found(main, {}, "fewwire", "_FEWWIRE_COMPLETE").source())
    return HOLDS
