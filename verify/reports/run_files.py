"""A run as the text of a file, by the file's ending."""

from __future__ import annotations

from verify.engines.trace import Trace
from verify.parts.link import Link
from verify.parts.monitor import Windows


def run_text(
    found: Trace,
    link: Link,
    windows: tuple[Windows, ...] | None,
    ending: str,
    *,
    inside: bool = False,
) -> str:
    """Data for .vcd, .csv and .json, a picture for .svg and .txt. ``inside``: a text has rows of
    the machines, too."""
    if ending not in (".svg", ".txt"):
        from verify.recordings.formats import trace_text

        return trace_text(found, link, ending)
    from verify.reports.finer import measured

    finer, windows = measured(link, windows, found.script)
    from verify.reports.inside import inside_rows

    machines = inside_rows(found, link) if inside or ending == ".svg" else []
    if ending == ".svg":
        from verify.reports.timing_svg import timing_svg

        return timing_svg(found, finer, windows=windows, inside=machines)
    from verify.reports.picture import picture

    return picture(found, finer, windows=windows, inside=machines) + "\n"
