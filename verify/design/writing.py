"""A design as a link file."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from textwrap import fill

from verify.units import decimal_text, duration_text

Value = int | str | Fraction | list[int] | list[list[int]] | list[str]


@dataclass(frozen=True)
class LinkText:
    """Tables of a link file, by name; values of 0 that are defaults may be left out."""

    tick: Fraction
    inputs: int
    scheme: str
    link: dict[str, Value]
    line: dict[str, Value] = field(default_factory=dict)
    clock: dict[str, Value] = field(default_factory=dict)
    operator: dict[str, Value] = field(default_factory=dict)
    kind: str = "press"
    outputs: dict[str, Value] = field(default_factory=dict)

    def text(self, *notes: str) -> str:
        """The file, with what was found as comments."""
        parts = [fill(note, 90, initial_indent="# ", subsequent_indent="# ") for note in notes]
        parts += ["" if notes else "# A link file.", f'tick = "{duration_text(self.tick)}"', ""]
        parts += ["[inputs]", f"count = {self.inputs}"]
        if self.kind != "press":
            parts.append(_entry("kind", self.kind))
        tables = {
            "outputs": self.outputs,
            "link": {"scheme": self.scheme, **self.link},
            "line": {key: value for key, value in self.line.items() if value != 0},
            "clock": {key: value for key, value in self.clock.items() if value != 0},
            "operator": self.operator,
        }
        for name, table in tables.items():
            if table:
                parts += ["", f"[{name}]", *(_entry(key, value) for key, value in table.items())]
        return "\n".join(parts) + "\n"


def _entry(key: str, value: Value) -> str:
    if not isinstance(value, list):
        return f"{key} = {_one(value)}"
    # Pairs are not broken over lines.
    entries = ", ".join(
        f"[{',_'.join(map(str, entry))}]" if isinstance(entry, list) else _one(entry)
        for entry in value
    )
    line = f"{key} = [{entries}]"
    if len(line) > 90:
        body = fill(entries, 90, initial_indent="    ", subsequent_indent="    ")
        line = f"{key} = [\n{body},\n]"
    return line.replace(",_", ", ")


def _one(value: int | str | Fraction) -> str:
    if isinstance(value, Fraction):
        return decimal_text(value)
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else str(value)
