"""Command ``sheet``: what is there to build?"""

from __future__ import annotations

import click

from verify.commands.shared import HOLDS, guarded, print_json


@click.command()
@click.option("-o", "--output", type=click.Path(), help="Write the sheet there, not to stdout.")
@click.option("--csv", "csv_file", type=click.Path(), metavar="CSV", help="Also as CSV.")
@click.option("--force", is_flag=True, help="Overwrite files that are there.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout, no more.")
@click.argument("file", type=click.Path())
@guarded
def sheet(file: str, output: str | None, csv_file: str | None, force: bool, as_json: bool) -> int:
    """What is there to build: a sheet for the bench, as Markdown.

    A row per input: its output, its gap, code, slot or line, its delays split into the fewest
    delay elements of the sizes that the file's [parts] has; then how many parts in all.

    Example: fewwire sheet carillon.toml -o carillon.md --csv carillon.csv
    """
    from verify.fields import printable
    from verify.files import check_apart, check_writable, write_whole
    from verify.linkfile import load_with_stock
    from verify.questions.sheet import sheet as counted
    from verify.reports.sheet_data import sheet_csv, sheet_json
    from verify.reports.sheet_text import sheet_markdown

    files = [path for path in (output, csv_file) if path is not None]
    check_apart(file, *files)
    for path in files:
        check_writable(path, overwrite=force)
    link, stock = load_with_stock(file)
    found = counted(link, stock, printable(file))
    text = sheet_markdown(found)
    for where, data in ((output, text), (csv_file, sheet_csv(found))):
        if where is not None:
            write_whole(where, data, overwrite=force)
            click.echo(f"wrote {where}", err=True)
    if as_json:
        print_json(sheet_json(found))
    elif output is None:
        click.echo(text, nl=False)
    return HOLDS
