"""Whether a scheme that somebody else wrote is put together as engines expect it.

Engines look at machines in their own ways: one checks bounds, another relies on them. What would
make them see different machines, or would break one of them, is found here, before any is asked.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields
from functools import partial
from typing import Any

from verify.errors import ModelError
from verify.language.machine import Machine, System
from verify.language.picks import parts_of
from verify.language.sound import UnsoundError, check_machine, hulls
from verify.language.state import Bank, Number, Signal, Timer
from verify.parts.monitor import Queue
from verify.parts.scheme import Scheme
from verify.parts.signals import (
    PRESS,
    RELEASE,
    cleared,
    decoded,
    far_fall,
    far_rise,
    line_fall,
    line_rise,
    misframed,
)
from verify.units import MOST_TICKS

MOST_LINES = 1000
# Names of signals of a link's other parts: a scheme may only use those that are its own to use.
_SHARED = re.compile(
    r"(move|press|release|line\d+(\.branch\d+)?\.(rise|fall)|pause\..*|clock\..*|"
    r"(decoded|cleared|misframed|rest|strike|delivered|failure)\d+)"
)
# Names of memory of a link's other parts.
_TAKEN = re.compile(r"(operator|monitor\d*|line\d+|outputs\d*|clock|pause|recovery)(\..*)?|hold")


# What a scheme says of its machines beyond making them, on which proofs are built.
_CLAIMS = (
    *("split", "alone", "amid_any", "one_move", "closed", "exchangeable", "alike", "on_whole"),
    *("numbers_lines", "unqueued", "at_any_step", "drifts_away", "stretch", "steps", "step"),
)
# What is for people only.
_SHOWN = ("per_input", "settings", "wiring", "delays")


class ImproperError(Exception):
    """Something is wrong with a scheme. ``found`` and ``allowed`` in words."""

    def __init__(self, found: str, allowed: str) -> None:
        super().__init__(found, allowed)
        self.found, self.allowed = found, allowed


def check_scheme(scheme: Scheme) -> None:
    """Raise ImproperError for a scheme that is not put together as engines expect."""
    _check_kind(scheme)
    _check_claims(type(scheme))
    _check_facts(scheme)
    transmitter = _machines(scheme, "transmitter()", scheme.transmitter)
    receivers = [
        _machines(scheme, f"receiver({branch})", partial(scheme.receiver, branch))
        for branch in (0, 1)
    ]
    lines = range(scheme.lines)
    moves = {s for k in lines for s in (line_rise(k), line_fall(k))}
    _check_end("transmitter()", transmitter, {PRESS, RELEASE}, moves, scheme)
    if not scheme.watches_release and any(RELEASE in m.listens() for m in transmitter):
        raise ImproperError(
            "a transmitter that listens to releases, and watches_release that is False",
            "watches_release that is True",
        )
    for branch, machines in enumerate(receivers):
        heard = {s for k in lines for s in (far_rise(k, branch), far_fall(k, branch))}
        said = {decoded(branch), cleared(branch), misframed(branch)}
        _check_end(f"receiver({branch})", machines, heard, said, scheme)
    _check_apart(transmitter, *receivers)


# -- what a scheme says of itself ------------------------------------------------------


def _check_kind(scheme: Scheme) -> None:
    kind = type(scheme)
    made = getattr(kind, "__dataclass_params__", None)
    if "__dataclass_params__" not in vars(kind) or not (made and made.frozen and made.eq):
        raise ImproperError(
            f"a class {kind.__name__} that is no frozen dataclass",
            "one with @dataclass(frozen=True): equal schemes have to behave alike",
        )
    for field in fields(scheme):  # type: ignore[arg-type]
        if field.compare and not field.repr:
            raise ImproperError(
                f"a field {kind.__name__}.{field.name} that is not in the text of a scheme",
                "fields with repr=True, by which what is kept of a link is found again",
            )
    if " at 0x" in repr(scheme):
        raise ImproperError(
            f"a {kind.__name__} with something in it that has no text of its own",
            "numbers, texts, tuples of these, and frozen dataclasses",
        )
    try:
        hash(scheme)
    except TypeError as error:
        raise ImproperError(
            f"a {kind.__name__} with something in it that may change ({error})",
            "numbers, texts, tuples of these, and frozen dataclasses",
        ) from None


def _check_claims(kind: type[Scheme]) -> None:
    """A class that changes machines of another says anew what that other says of them."""
    above = [c for c in kind.__mro__ if c.__module__.startswith(("models.", "verify."))]
    own = kind.__mro__[: kind.__mro__.index(above[0])]
    data = {field.name for field in fields(kind)}  # type: ignore[arg-type]
    changed = {
        name
        for c in own
        for name in vars(c)
        if hasattr(above[0], name) and name not in data and not name.startswith(("__", "_abc_"))
    } - {*_CLAIMS, *_SHOWN}
    said = [
        name
        for name in _CLAIMS
        if getattr(above[0], name) is not getattr(Scheme, name)
        and getattr(kind, name) is getattr(above[0], name)
    ]
    if changed and said:
        raise ImproperError(
            f"a class {kind.__name__} with {min(changed)} of its own, and {said[0]} of "
            f"{above[0].__name__}, which speaks of other machines",
            f"all of its own ({', '.join(f'{name} = Scheme.{name}' for name in said)}: nothing is "
            "said), or none",
        )


def _check_facts(scheme: Scheme) -> None:
    _whole(scheme, "inputs", 1, MOST_TICKS)
    _whole(scheme, "lines", 1, MOST_LINES)
    _whole(scheme, "warm_up", 0, MOST_TICKS)
    _whole(scheme, "steps", 1, MOST_TICKS)
    if scheme.step is not None:
        _whole(scheme, "step", 1, MOST_TICKS)
    if not isinstance(scheme.watches_release, bool):
        raise _fact("watches_release", scheme.watches_release, "True or False")
    reach = getattr(scheme, "offset_reach", None)
    if reach is not None and "offset" not in {f.name for f in fields(scheme)}:  # type: ignore[arg-type]
        raise _fact("offset_reach", reach, "no such name without a field offset, (least, most)")
    others = {"at_any_step": scheme.at_any_step, "unqueued()": scheme.unqueued()}
    for name, other in others.items():
        if not isinstance(other, Scheme) and (name == "at_any_step" or other is not None):
            raise _fact(name, other, "a scheme")
    queue = scheme.queue
    if queue is not None and not (isinstance(queue, Queue) and len(queue.sends) == scheme.inputs):
        raise _fact("queue", queue, f"None, or a Queue with {scheme.inputs} sends")
    columns: dict[str, tuple[Mapping[Any, Any], type]] = {
        "per_input()": (scheme.per_input(), int),
        "wiring()": (scheme.wiring(), str),
        "delays()": (scheme.delays(), int),
    }
    for name, (found, kind) in columns.items():
        allowed = f"a dict of names, each with a tuple of {scheme.inputs} {kind.__name__}"
        if not isinstance(found, Mapping):
            raise _fact(name, found, allowed)
        for key, column in found.items():
            proper = isinstance(column, tuple) and all(isinstance(x, kind) for x in column)
            if not isinstance(key, str) or not proper or len(column) != scheme.inputs:
                raise _fact(name, found, allowed)
    if stray := set(scheme.delays()) - {"transmitter", "receiver"}:
        raise _fact("delays()", min(stray), '"transmitter" and "receiver"')
    settings = scheme.settings()
    if not isinstance(settings, Mapping) or not all(
        isinstance(key, str) and isinstance(value, str | int) for key, value in settings.items()
    ):
        raise _fact("settings()", settings, "a dict of names, each with a text or a number")
    _check_split(scheme)


def _check_split(scheme: Scheme) -> None:
    parts = {"split()": scheme.split()}
    parts |= {f"alone({k})": scheme.alone(k) for k in range(min(scheme.inputs, 2))}
    allowed = "a tuple of pairs, each a scheme and the tuple of inputs that it carries"
    for name, found in parts.items():
        proper = isinstance(found, tuple) and found
        if not proper or not all(isinstance(p, tuple) and len(p) == 2 for p in found):
            raise _fact(name, found, allowed)
        for part, carried in found:
            if not isinstance(part, Scheme) or not isinstance(carried, tuple):
                raise _fact(name, found, allowed)
            if len(carried) != part.inputs or not set(carried) <= set(range(scheme.inputs)):
                raise _fact(name, found, f"{allowed}, of the {scheme.inputs} of the whole")
            if part != scheme:
                _check_kind(part)
    missing = set(range(scheme.inputs)) - {k for _, carried in parts["split()"] for k in carried}
    if missing:
        raise _fact("split()", f"no part with input {min(missing)}", "every input in some part")


def _whole(scheme: Scheme, name: str, least: int, most: int) -> None:
    value = getattr(scheme, name)
    if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
        raise _fact(name, value, f"a whole number, {least} to {most}")


def _fact(name: str, value: object, allowed: str) -> ImproperError:
    text = repr(value)
    return ImproperError(f"{name} that is {text[:80]}{'...' if len(text) > 80 else ''}", allowed)


# -- machines --------------------------------------------------------------------------


def _machines(
    scheme: Scheme, name: str, make: Callable[[], tuple[Machine, ...]]
) -> tuple[Machine, ...]:
    made = make()
    if not isinstance(made, tuple) or not all(isinstance(m, Machine) for m in made):
        raise _fact(name, made, "a tuple of machines")
    if make() != made:
        raise ImproperError(
            f"{name} that makes other machines each time", "the same, for equal schemes"
        )
    for machine in made:
        if machine.offer is not None:
            raise ImproperError(f"{name} with an offer", "machines without: the world is no scheme")
    return made


def _check_end(
    name: str, machines: tuple[Machine, ...], heard: set[Signal], said: set[Signal], scheme: Scheme
) -> None:
    """One end: it hears and says what it may, and nothing of it leaves its bounds."""
    try:
        System(machines)
    except ModelError as error:
        raise ImproperError(
            f"{name}: {error}", "machines in the order in which they hear"
        ) from None
    memory = {item for machine in machines for item in machine.memory}
    emitted = {signal for machine in machines for signal in machine.emits()}
    for machine in machines:
        for item in machine.memory:
            if _TAKEN.fullmatch(item.name):
                raise ImproperError(
                    f'{name} with memory called "{item.name}"',
                    "a name that no other part of a link has",
                )
        for signal in sorted(machine.emits() - said, key=_name):
            if _SHARED.fullmatch(signal.name):
                raise ImproperError(
                    f'{name} that emits "{signal.name}"',
                    f"signals of its own, and {_listed(said)}",
                )
        for waker in sorted(machine.listens(), key=_name):
            known = waker in (heard | emitted if isinstance(waker, Signal) else memory)
            if not known:
                raise ImproperError(
                    f'{name} that listens to "{waker.name}", which nobody emits there',
                    f"signals and timers of its own, and {_listed(heard)}",
                )
        for seen in parts_of((machine.body, machine.possible)):
            if isinstance(seen, Number | Timer | Bank) and seen not in memory:
                raise ImproperError(
                    f'{name} that looks at "{seen.name}", which is not among its memory',
                    "memory of its own machines",
                )
    fields_of: dict[Signal | Bank, int] = {PRESS: scheme.inputs - 1, RELEASE: scheme.inputs - 1}
    outputs = {s: scheme.inputs - 1 for s in said if s.fields}
    try:
        known_hulls = hulls(machines, fields_of)
        for machine in machines:
            check_machine(machine, known_hulls, outputs)
    except UnsoundError as error:
        raise ImproperError(f"{name}: {error.found}", error.allowed) from None


def _check_apart(*ends: tuple[Machine, ...]) -> None:
    """Nothing is shared by the two ends, or by receivers of several branches."""
    seen: dict[str, str] = {}
    for end, machines in zip(("transmitter()", "receiver(0)", "receiver(1)"), ends, strict=True):
        names = {item.name for m in machines for item in m.memory}
        names |= {s.name for m in machines for s in m.emits()}
        for name in sorted(names):
            if name in seen:
                raise ImproperError(
                    f'"{name}" in {seen[name]} and in {end}',
                    "a name of its own, such as with the number of the branch in it",
                )
        seen.update(dict.fromkeys(names, end))


def _name(item: Signal | Timer | Bank) -> str:
    return item.name


def _listed(signals: Iterable[Signal]) -> str:
    names = sorted(signal.name for signal in signals)
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""
    return ", ".join(names[:6]) + more
