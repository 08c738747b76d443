"""Command ``table``: is the table of gaps, codes or code words unambiguous?"""

from __future__ import annotations

import click

from verify.commands.shared import (
    STATUS,
    budget_of,
    guarded,
    input_names,
    json_option,
    print_json,
    time_option,
    watched,
)


@click.command()
@click.option(
    "--pair",
    nargs=2,
    metavar="FIRST SECOND",
    shell_complete=input_names,
    help="Gaps: all ghosts of these two presses, and of no others.",
)
@time_option("Work no longer than this; what is then open is undecided.")
@json_option
@click.argument("file", type=click.Path())
@guarded
def table(file: str, as_json: bool, pair: tuple[str, str] | None, seconds: float) -> int:
    """Is the table of gaps, codes or code words unambiguous?

    Also of a file that `check` refuses because its entries do not go together: it says which,
    and by how much. Gaps: windows, rate error, ghosts of two presses. Codes: which cover which,
    how many inputs may be held. Code words sent back to back: can a message be read in two
    ways, and how late is a word certain?

    Example: fewwire table carillon.toml
    """
    from verify.questions.table import judge_table

    with watched():
        budget_of(seconds)
        found = judge_table(file, pair)
    if as_json:
        from verify.reports.table_json import table_json

        print_json(table_json(found))
    else:
        from verify.reports.table_text import show_table

        show_table(found)
    return STATUS[found.verdict.value]
