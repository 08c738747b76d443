"""Every scheme as fast as it goes: the links that are compared when there are no files.

All have the same shortest pulse, one tick, and no tolerance that costs time; so they differ
in their schemes only. A scheme without an entry here is not compared.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from models.parameters import SCHEMES
from verify.errors import UsageError
from verify.fields import value_text
from verify.linkfile import parse
from verify.parts.link import Link
from verify.units import TimeError, parse_duration

_SETTINGS: dict[str, Callable[[int], str]] = {
    "wire-per-input": lambda inputs: "",
    "parallel-code": lambda inputs: "",
    "framed-serial": lambda inputs: "bit = 1",
    "pulse-gap": lambda inputs: f"gaps = {list(range(2, inputs + 2))}",
    # A receiver samples inside a slot, so a slot is at least two ticks.
    "synced-scan": lambda inputs: "slot = 2",
    "free-scan": lambda inputs: "slot = 2",
}


def schemes_for(kind: str | None) -> tuple[str, ...]:
    """The schemes that take a kind of input; all of them for None."""
    return tuple(s for s in _SETTINGS if kind is None or kind in SCHEMES[s].takes)


def link_file(scheme: str, inputs: int, tick: str, kind: str | None = None) -> str:
    """A link file of the fastest link of a scheme.

    ``kind`` None: presses where the scheme takes them. Raises UsageError for a ``tick`` that
    is no duration above 0.
    """
    try:
        seconds = parse_duration(tick)
    except TimeError:
        seconds = None
    if not seconds:
        raise UsageError(
            f"--tick: found {value_text(tick)}; allowed: a duration above 0, "
            'like "50 ms" (ns, us, ms, s, min)'
        )
    settings = _SETTINGS[scheme](inputs)
    return (
        f'tick = "{tick.strip()}"\nname = "{scheme}"\n\n'
        f'[inputs]\ncount = {inputs}\nkind = "{kind or SCHEMES[scheme].takes[0]}"\n\n'
        f'[link]\nscheme = "{scheme}"\n{settings}'
    ).rstrip() + "\n"


def fastest(scheme: str, inputs: int, tick: str, kind: str | None = None) -> Link:
    """The link of ``link_file``, with its errors."""
    return parse(link_file(scheme, inputs, tick, kind), scheme)


def settings_words(scheme: str, inputs: int) -> str:
    """What was set for a scheme, in few words; empty if it has nothing to set."""
    settings = _SETTINGS[scheme](inputs)
    # A long list goes on as it begins.
    settings = re.sub(r"\[(\d+, \d+), .*, (\d+)\]", r"[\1, ..., \2]", settings)
    return f"{scheme} {settings}" if settings else ""
