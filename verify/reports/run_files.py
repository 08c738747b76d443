"""A run as the text of a file, by the file's ending."""

from __future__ import annotations

from verify.engines.trace import Trace
from verify.parts.link import Link
from verify.parts.monitor import Windows


def run_text(found: Trace, link: Link, windows: tuple[Windows, ...] | None, ending: str) -> str:
    """Data for .vcd, .csv and .json, a picture for .svg and .txt."""
    if ending not in (".svg", ".txt"):
        from verify.recordings.formats import trace_text

        return trace_text(found, link, ending)
    from verify.reports.finer import measured

    finer, windows = measured(link, windows, found.script)
    if ending == ".svg":
        from verify.reports.inside import inside_rows
        from verify.reports.timing_svg import timing_svg

        inside = inside_rows(found, link)
        return timing_svg(found, finer, windows=windows, inside=inside)
    from verify.reports.picture import picture

    return picture(found, finer, windows=windows) + "\n"
