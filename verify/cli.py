"""The command line: gathers the commands."""

from __future__ import annotations

import click

from verify.allowed_code import allow
from verify.commands.check import check
from verify.commands.compare import compare
from verify.commands.completion import completion
from verify.commands.design import design
from verify.commands.fuzz import fuzz
from verify.commands.group import ALLOW_CODE, Commands
from verify.commands.latency import latency
from verify.commands.lifetime import lifetime
from verify.commands.manual import manual
from verify.commands.margin import margin
from verify.commands.new import new
from verify.commands.recheck import recheck
from verify.commands.recover import recover
from verify.commands.replay import replay
from verify.commands.report import report
from verify.commands.schedule import schedule
from verify.commands.sheet import sheet
from verify.commands.show import show
from verify.commands.spacing import spacing
from verify.commands.summary import summary
from verify.commands.sweep import sweep
from verify.commands.table import table
from verify.commands.trace import trace


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="fewwire", message="%(prog)s %(version)s")
@click.option(
    ALLOW_CODE, is_flag=True, help="Run the Python file that a link file names as its scheme."
)
def main(allow_code: bool) -> None:
    """Find out whether a link that squeezes many controls onto few lines misfires.

    A link file says what is built; `fewwire new` writes one to start from, and
    `fewwire FILE` gives the main answers about one.

    Exit status: 0 it holds, or the question was answered; 1 it fails; 2 bad usage
    or bad file; 3 undecided.
    """
    allow(allow_code)


questions = (
    summary,
    check,
    spacing,
    latency,
    margin,
    recover,
    lifetime,
    compare,
    sweep,
    table,
    design,
    sheet,
    schedule,
    trace,
    recheck,
    fuzz,
    replay,
    report,
)
for command in (*questions, show, new, manual, completion):
    main.add_command(command)

if __name__ == "__main__":
    main(prog_name="fewwire")
