"""What is wrong with the machines of a link, as people read it in a terminal."""

from __future__ import annotations

from verify.parts.link import Link
from verify.questions.machine_faults import machine_faults
from verify.reports.console import output_console, say
from verify.reports.names import printable

MOST = 12


def show_machine_warnings(link: Link) -> None:
    """A sentence for each mode never reached, rule never used, clash, timer that never ends."""
    console = output_console()
    faults = machine_faults(link)
    for fault in faults.found[:MOST]:
        say(console, f"warning: {printable(fault.words)}")
    if len(faults.found) > MOST:
        say(console, f"warning: and {len(faults.found) - MOST} more.")
    if faults.undecided:
        say(
            console,
            "Whether every rule is used was left open: there are more states than are looked at.",
            "dim",
        )
