"""An answer to ``replay``, in words and as plain data."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from verify.fields import printable
from verify.parts.link import Link
from verify.parts.stretch import Place, Stretch
from verify.questions.disturbed import Explained
from verify.questions.holding import Change, Parting, Warnings
from verify.questions.judging import Subject
from verify.questions.replay import Replay, Whole
from verify.reports import cautions
from verify.reports.as_json import conditions as conditions_json
from verify.reports.console import output_console, say
from verify.reports.finer import error_text
from verify.reports.terminal import conditions
from verify.units import Ticks, ticks_text

PLACES = {
    Place.INPUT: "inputs",
    Place.NEAR: "line",
    Place.FAR: "line.far",
    Place.OUTPUT: "outputs",
}
# Of a long list of what outputs do no more are told.
MOST_TOLD = 24


def show_replay(subject: Subject, found: Replay, path: str) -> None:
    """The verdict in a sentence, then what it rests on."""
    link, console = subject.link, output_console()
    held = found.held
    name, file = printable(link.name), printable(path)
    if found.verdict == "agrees":
        clock = "" if found.rate is None else f" with a clock off by {error_text(found.rate)}"
        say(console, f"agrees: {file} is a run of '{name}'{clock}.")
    elif found.verdict == "decoded":
        say(
            console,
            f"decoded: from {file} the model makes {_count(held.outputs_in_all, 'change')} of "
            "outputs; there is nothing to compare them with.",
        )
        _list(console, "Outputs", held.outputs, link, held.outputs_in_all)
    elif held.parting is None:
        say(console, "undecided: neither a difference was found, nor can one be excluded.")
    else:
        say(console, f"{found.verdict}: {parting_sentence(held.parting, link)}.")
    if held.parting is not None:
        say(console, _blame(held.parting))
        if found.due or found.seen:
            _list(console, "Outputs due by the model", found.due, link, len(found.due))
            _list(console, "Outputs recorded", found.seen, link, len(found.seen))
    if held.misfire is not None:
        say(console, _misfire(found, link))
    for explained, whole in found.explained:
        say(console, explained_sentence(explained, whole, link))
    if found.verdict == "parts" and not found.explained:
        say(console, "Ask with --within KIND=MOST which disturbance would explain it.")
    for note in found.notes:
        say(console, f"Note: {note}.")
    compared = "; ".join(_between(stretch) for stretch in held.compared) or "nothing"
    off = "exactly" if not held.tolerance else f"give or take {_ticks(held.tolerance)}"
    say(
        console,
        f"{_count(held.rows, 'row')} read; compared {off}: {compared}. {conditions(link)}",
        "dim",
    )
    say(console, cautions.SHORT, "dim")


def parting_sentence(parting: Parting, link: Link) -> str:
    """Example: ``they part at tick 24 (1.2 s), line 57: out.e strikes in the recording, out.c
    in the model``."""
    change = parting.change
    other = "model" if parting.side == "recording" else "recording"
    at = f"they part at {_moment(change.tick, link)}, line {parting.line} of the file"
    what = f"{_does(change, link)} in the {parting.side}"
    if parting.instead:
        instead = ", ".join(_does(c, link) for c in parting.instead)
        return f"{at}: {what}; in the {other} {instead}"
    return f"{at}: {what}, and not in the {other}"


def explained_sentence(found: Explained, whole: Whole | None, link: Link) -> str:
    """What a kind of disturbance has to do with it."""
    kind = found.within.kind
    if found.verdict == "undecided":
        return f"{kind}: undecided; {found.why}."
    if found.verdict == "none":
        most = _amount(kind, found.within.most, link)
        return f"{kind} up to {most}: does not explain it; {found.why}."
    text = f"{kind} of {_amount(kind, found.amount or 0, link)} explains it; {found.why}"
    picks = [c for c in found.picks if c.name.endswith(".loses")]
    if picks:
        ticks = ", ".join(str(Fraction(c.tick, found.resolution)) for c in picks[:MOST_TOLD])
        text += f" (swallowed: the pulse that begins at tick {ticks})"
    if found.stop is not None:
        begins = next(c.tick for c in found.picks if c.name == kind)
        text += f" (it begins at tick {begins})"
    if whole is None:
        return f"{text}."
    if whole.verdict == "undecided":
        return f"{text}. Whether it explains all of the recording is open: {whole.why}."
    if whole.verdict == "none" or whole.amount is None:
        most = _amount(kind, found.within.most, link)
        return f"{text}. No amount up to {most} explains all of the recording."
    if whole.amount == found.amount:
        return f"{text}. All of the recording agrees with it."
    more = _amount(kind, whole.amount, link)
    least = f"; {whole.why}" if whole.why else ", and with no less"
    return f"{text}. All of the recording agrees with {more}{least}."


def replay_json(subject: Subject, found: Replay, path: str, warnings: Warnings) -> dict[str, Any]:
    """The documented object."""
    link, held = subject.link, found.held
    return {
        "question": "replay",
        "name": link.name,
        "scheme": link.scheme_name,
        "kind": link.kind,
        "tick_s": float(link.tick),
        **conditions_json(link),
        "verdict": found.verdict,
        "recording": path,
        "rows": held.rows,
        "tolerance_ticks": held.tolerance,
        "rounded": held.inexact,
        "compared": [_stretch(s) for s in held.compared],
        "parting": _parting(held.parting, link),
        "due": [_change(c) for c in found.due],
        "recorded": [_change(c) for c in found.seen],
        "outputs": [_change(c) for c in held.outputs],
        "outputs_in_all": held.outputs_in_all,
        "wrong": None
        if held.misfire is None
        else {
            "tick": held.misfire.tick + held.begin,
            "line": held.misfire.line,
            "kind": held.misfire.kind,
            "expected": held.misfire.expected,
            "got": held.misfire.got,
        },
        "explained": [_explained(e, w, link) for e, w in found.explained],
        "clock_rate": None if found.rate is None else str(found.rate),
        "warnings": [{"line": line, "text": text} for line, text in warnings.kept],
        "warnings_in_all": warnings.in_all,
        "notes": list(found.notes),
    }


# -- pieces -------------------------------------------------------------------------


def _parting(parting: Parting | None, link: Link) -> dict[str, Any] | None:
    if parting is None:
        return None
    return {
        **_change(parting.change),
        "s": float(parting.change.tick * link.tick),
        "line": parting.line,
        "only_in": parting.side,
        "instead": [_change(c) for c in parting.instead],
        "blame": list(parting.blame),
        "branch": parting.stretch.branch + 1,
    }


def _explained(found: Explained, whole: Whole | None, link: Link) -> dict[str, Any]:
    rate = found.within.kind == "clock.rate"
    amount = found.amount
    return {
        "kind": found.within.kind,
        "most": str(found.within.most) if rate else found.within.most,
        "verdict": found.verdict,
        "amount": amount if amount is None or not rate else str(amount),
        "amount_float": None if amount is None else float(amount),
        "engine": found.engine,
        "why": found.why,
        "picks": [
            {"tick": float(Fraction(c.tick, found.resolution)), "name": c.name, "value": c.value}
            for c in found.picks
        ],
        "whole": whole
        and {
            "verdict": whole.verdict,
            "amount": whole.amount if whole.amount is None or not rate else str(whole.amount),
            "amount_float": None if whole.amount is None else float(whole.amount),
            "why": whole.why,
        },
    }


def _stretch(stretch: Stretch) -> dict[str, Any]:
    return {
        "from": PLACES[stretch.begin],
        "to": PLACES[stretch.end],
        "branch": stretch.branch + 1,
        "parts": list(stretch.parts),
    }


def _change(change: Change) -> dict[str, Any]:
    return {"tick": change.tick, "signal": change.signal, "value": change.value}


def _blame(parting: Parting) -> str:
    *first, last = parting.blame
    if not first:
        return f"To blame: the {last}. What went into it was recorded, and makes something else."
    parts = f"{', '.join(f'the {p}' for p in first)} or the {last}"
    return f"To blame: {parts}; nothing between them was recorded that could tell which."


def _misfire(found: Replay, link: Link) -> str:
    wrong = found.held.misfire
    if wrong is None:
        return ""
    at = _moment(wrong.tick + found.held.begin, link)
    got = {
        "ghost": f"{wrong.got} acts with nothing due",
        "wrong-output": f"{wrong.got} strikes where {wrong.expected} is due",
        "out-of-order": f"{wrong.got or wrong.expected} comes out of order",
    }.get(wrong.kind, f"{wrong.expected} does not come in time")
    model = "; the model does the same" if found.verdict == "agrees" else ""
    return f"First wrong by its inputs: {at}, line {wrong.line}: {wrong.kind}, {got}{model}."


def _list(console: Any, title: str, changes: tuple[Change, ...], link: Link, in_all: int) -> None:
    told = [f"{_moment(c.tick, link)} {_does(c, link)}" for c in changes[:MOST_TOLD]]
    if in_all > len(told):
        told.append(f"{in_all - len(told)} more")
    say(console, f"{title}: {'; '.join(told) or 'none'}.")


def _does(change: Change, link: Link) -> str:
    name = printable(change.signal)
    if change.signal.startswith("in."):
        words = ("is let go", "is pressed") if link.kind == "press" else ("goes down", "goes up")
    elif change.signal.startswith("out."):
        words = ("rests", "strikes") if link.kind == "press" else ("goes off", "goes on")
    else:
        words = ("falls", "rises")
    return f"{name} {words[change.value]}"


def _amount(kind: str, amount: Ticks, link: Link) -> str:
    if kind == "clock.rate":
        return error_text(Fraction(amount))
    if kind == "line.swallowed":
        return _count(int(amount), "pulse")
    return ticks_text(amount, link.tick)


def _between(stretch: Stretch) -> str:
    branch = f" of branch {stretch.branch + 1}" if stretch.branch else ""
    return f"{PLACES[stretch.begin]} to {PLACES[stretch.end]}{branch}"


def _moment(tick: int, link: Link) -> str:
    return f"tick {ticks_text(tick, link.tick).replace(' ticks', '').replace(' tick', '')}"


def _ticks(ticks: int) -> str:
    return f"{ticks} tick{'s' * (ticks != 1)}"


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}{'s' * (n != 1)}"
