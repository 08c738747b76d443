"""Command ``manual``: a page per question, and the schema of its JSON answer."""

from __future__ import annotations

import sys

import click
from click.shell_completion import CompletionItem

from verify.commands.shared import HOLDS, guarded, print_json


def _pages(_: click.Context, __: click.Parameter, incomplete: str) -> list[CompletionItem]:
    from verify.manuals import pages

    return [CompletionItem(name) for name in pages() if name.startswith(incomplete)]


@click.command()
@click.option("--schema", is_flag=True, help="The JSON Schema of the answer to --json.")
@click.argument("question", required=False, shell_complete=_pages)
@guarded
def manual(question: str | None, schema: bool) -> int:
    """The manual: a page for every command, with the keys of its JSON answer.

    Without QUESTION: the list of pages. Pages are Markdown, laid out on a terminal.

    Example: fewwire manual check
    """
    from verify.manuals import contents, page, schema_of

    if schema:
        print_json(schema_of(question))
        return HOLDS
    text = contents() if question is None else page(question)
    if sys.stdout.isatty():
        from rich.markdown import Markdown

        from verify.reports.console import output_console

        output_console().print(Markdown(text))
    else:
        click.echo(text, nl=False)
    return HOLDS
