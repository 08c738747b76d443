"""Which format a file is in: its ending says."""

from __future__ import annotations

import os
from fractions import Fraction

from verify.engines.trace import Trace
from verify.errors import UsageError
from verify.fields import did_you_mean, value_text
from verify.parts.link import Link
from verify.recordings.recording import Recording, rows_of, shown_path, signals_of
from verify.recordings.sources import WANTED

READ = (".csv", ".vcd", ".json")
WRITTEN = (".vcd", ".csv", ".json", ".svg", ".txt")


def ending_of(path: str, allowed: tuple[str, ...] = WRITTEN) -> str:
    """The ending of a file name, in small letters. Raises UsageError for any not allowed."""
    ending = os.path.splitext(path)[1].lower()
    if ending in allowed:
        return ending
    found = f"ending {value_text(ending)}" if ending else "no ending"
    raise UsageError(
        f"{shown_path(path)}: found {found}; allowed: a name that ends in "
        f"{', '.join(allowed[:-1])} or {allowed[-1]}{did_you_mean(ending, allowed)}"
    )


def open_recording(
    path: str, known: tuple[str, ...], tick: Fraction, names: dict[str, str] | None = None
) -> Recording:
    """A recording, to be read row by row. ``known``: the signals that it may have; ``tick``: in
    seconds; ``names``: what it calls some of them. Raises RecordingError, UsageError."""
    ending = ending_of(path, READ)
    renamed = names or {}
    if ending == ".csv":
        from verify.recordings.csvfile import read_csv

        return read_csv(path, known, tick, renamed)
    if ending == ".vcd":
        from verify.recordings.vcdfile import read_vcd

        return read_vcd(path, known, tick, renamed)
    from verify.recordings.jsonfile import read_json

    return read_json(path, known, tick, renamed)


def trace_text(trace: Trace, link: Link, ending: str) -> str:
    """A trace as the text of a file with this ending: .vcd, .csv or .json."""
    signals, rows = rows_of(trace, link)
    if ending == ".json":
        from verify.recordings.jsonfile import json_text

        return json_text(trace, link)
    if ending == ".csv":
        from verify.recordings.csvfile import csv_text

        return csv_text(signals, rows)
    from verify.recordings.vcdfile import vcd_text

    momentary = signals_of(link, trace.script.delay).momentary
    return vcd_text(signals, rows, link.tick, trace.script.resolution, momentary)


__all__ = ["READ", "WANTED", "WRITTEN", "ending_of", "open_recording", "trace_text"]
