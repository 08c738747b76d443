"""Traces as JSON: the object that ``--json`` prints for a trace, and what it is a trace of."""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from verify.engines.trace import Trace
from verify.fields import key_text, printable, value_text
from verify.parts.link import Link
from verify.recordings.recording import (
    PULSE,
    SAME,
    Recording,
    RecordingError,
    Row,
    Warn,
    shown_path,
    signals_of,
    unknown_signal,
)
from verify.recordings.sources import text_of
from verify.units import MOST_TICKS, whole

# All of them are held in memory.
MOST_CHARACTERS = 16 << 20


def json_text(trace: Trace, link: Link) -> str:
    """A trace as JSON. ``pulses``: signals of which each event is up and down at once."""
    signals = signals_of(link, trace.script.delay)
    script = trace.script
    found: dict[str, Any] = {
        "name": link.name,
        "scheme": link.scheme_name,
        "kind": link.kind,
        "tick_s": str(link.tick),
        "signals": list(signals.shown),
        "pulses": [name for name in signals.shown if name in signals.momentary],
        "script": {
            "presses": [{"tick": p.tick, "input": link.names[p.input]} for p in script.presses],
            "delay": script.delay,
            "picks": [{"tick": c.tick, "name": c.name, "value": c.value} for c in script.picks],
            "constants": dict(script.constants),
        },
        "ticks_per_tick": script.resolution,
        **trace.as_json(),
    }
    return json.dumps(found, indent=1, ensure_ascii=False) + "\n"


class _Event(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)
    tick: int = Field(ge=0, description="a whole number, at least 0")
    signal: str = Field(description="the name of a signal")
    value: int = Field(ge=0, le=1, description="0 or 1")


class _Failure(BaseModel):
    model_config = ConfigDict(extra="ignore", strict=True)
    tick: int = Field(ge=0, description="a whole number, at least 0")


class _File(BaseModel):
    """Other keys say what it is a trace of; they are not needed to read it."""

    model_config = ConfigDict(extra="ignore", strict=True)
    ticks_per_tick: int = Field(1, ge=1, description="a whole number, at least 1")
    signals: list[str] = Field([], description="a list of names")
    pulses: list[str] = Field([], description="a list of names")
    events: list[_Event] = Field(description="a list of objects with tick, signal and value")
    failure: _Failure | None = Field(None, description="null, or an object with tick")


def read_json(
    path: str, known: tuple[str, ...], tick: Fraction, names: dict[str, str]
) -> Recording:
    """Open a recording; as ``read_csv``, but the whole file is held in memory."""
    shown = shown_path(path)
    with text_of(path) as stream:
        try:
            text = stream.read(MOST_CHARACTERS + 1)
        except UnicodeDecodeError as error:
            line = error.object.count(b"\n", 0, error.start) + 1
            raise RecordingError(shown, line, "bytes that are no text", "text in UTF-8") from None
    if len(text) > MOST_CHARACTERS:
        found = f"more than {MOST_CHARACTERS >> 20} million characters"
        raise RecordingError(shown, 0, found, "less, or .csv or .vcd, which are read bit by bit")
    try:
        file = _File.model_validate(json.loads(text))
    except (json.JSONDecodeError, RecursionError) as error:
        line = getattr(error, "lineno", 0)
        what = getattr(error, "msg", "nested too deeply")
        raise RecordingError(shown, line, f"text that is not JSON ({what})", "JSON") from None
    except ValidationError as error:
        raise _refused(shown, error, text) from None
    except ValueError:  # of Python, which makes no number of more than some thousand digits
        raise RecordingError(shown, 0, "a number of too many digits", "JSON") from None
    allowed = {name: name for name in known} | names
    lines = _lines(text)
    rows: list[Row] = []
    pulses = {allowed.get(name, name) for name in file.pulses}
    last = 0
    for k, event in enumerate(file.events):
        line = lines[k] if k < len(lines) else 0
        signal = allowed.get(event.signal)
        if signal is None:
            raise unknown_signal(shown, line, event.signal, known)
        if event.tick < last:
            found = f"events[{k}].tick: {event.tick} after {last}"
            raise RecordingError(shown, line, found, "events in the order of their times")
        last = event.tick
        at = whole(Fraction(event.tick, file.ticks_per_tick))
        if at > MOST_TICKS:
            found = f"events[{k}].tick: a later time"
            raise RecordingError(shown, line, found, f"at most {MOST_TICKS} ticks")
        rows.append(
            Row(at, signal, PULSE if event.value and signal in pulses else event.value, line)
        )
    if file.failure is not None and file.failure.tick > last and rows:
        end = whole(Fraction(file.failure.tick, file.ticks_per_tick))
        if end > MOST_TICKS:
            found = "failure.tick: a later time"
            raise RecordingError(shown, rows[-1].line, found, f"at most {MOST_TICKS} ticks")
        rows.append(Row(end, rows[-1].signal, SAME, rows[-1].line))
    watched = {allowed.get(name, name) for name in file.signals} & {*known}

    def again(warn: Warn) -> Iterator[Row]:
        yield from rows

    return Recording(shown, frozenset(watched | {row.signal for row in rows}), again)


def _lines(text: str) -> list[int]:
    """The line in which each event stands: that of its key ``signal``, as we write them."""
    found = []
    for number, line in enumerate(text.split("\n"), 1):
        found += [number] * line.count('"signal":')
    return found


def _line_of(text: str, place: tuple[int | str, ...]) -> int:
    """The line of what pydantic refused: of its event, or of the key; 0 where that is not clear."""
    if place[:1] == ("events",) and len(place) > 1:
        k, lines = place[1], _lines(text)
        return (
            lines[k] if isinstance(k, int) and len(lines) == len(json.loads(text)["events"]) else 0
        )
    before, key, _ = text.partition(f'"{place[0]}"' if place else "\0")
    return before.count("\n") + 1 if key else 0


def _refused(path: str, error: ValidationError, text: str) -> RecordingError:
    first = error.errors()[0]
    key = key_text(tuple(first["loc"]))
    value = first.get("input")
    found = "nothing" if first["type"] == "missing" else value_text(value)
    allowed = "an object with the key events, as fewwire trace writes it"
    model: Any = _Event if len(first["loc"]) == 3 else _File
    if first["loc"] and str(first["loc"][-1]) in model.model_fields:
        allowed = model.model_fields[str(first["loc"][-1])].description or allowed
    line = _line_of(text, tuple(first["loc"]))
    return RecordingError(path, line, f"{key}: {printable(found)}" if key else found, allowed)
