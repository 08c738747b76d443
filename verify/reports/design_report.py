"""What ``design`` found, for people (on stderr, as the link file is on stdout) and as JSON."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from verify.design.designing import Design
from verify.engines.answer import Verdict
from verify.reports import cautions
from verify.reports.console import error_console, say
from verify.units import ticks_text


def design_json(design: Design, tick: Fraction) -> dict[str, Any]:
    """Answer to ``design``."""
    proof, judged = design.proof, design.judged
    return {
        "question": "design",
        "scheme": design.scheme,
        "inputs": design.inputs,
        "tick_s": float(tick),
        "verdict": design.verdict.value,
        "optimal": design.optimal,
        "least": proof.what.replace(" ", "_"),
        "best": proof.best,
        "bound": proof.bound,
        "ties_settled": proof.settled,
        "refutation": list(proof.reasons),
        "published": list(proof.published),
        "sizes": design.sizes,
        "table": _table(design),
        "checked": judged and judged.verdict.value,
        "engine": judged and judged.engine,
        "covered": judged and judged.covered,
        "trace_below": design.below and design.below.as_json(),
        "chords_replayed": design.chords,
        "notes": list(design.notes),
        "link_file": design.text,
    }


def _table(design: Design) -> Any:
    link = {} if design.link is None else design.link.link
    return link.get("gaps", link.get("codes"))


def show_design(design: Design, tick: Fraction, written: str | None) -> None:
    """The finding, the refutation of anything better, and what the engines say."""
    console = error_console()
    say(console, _headline(design, tick))
    for reason in design.proof.reasons:
        say(console, _sentence(reason), indent="  ", hang="    ")
    for source in design.proof.published:
        say(console, f"Published, not proved anew here: {source}.", indent="  ", hang="    ")
    if design.link is not None:
        say(console, _check(design, tick))
    for note in design.notes:
        say(console, f"Note: {note}.")
    if written is not None and design.link is not None:
        say(console, f"wrote {written}; next: fewwire check {written}")
    say(console, cautions.SHORT, "dim")


def _sentence(reason: str) -> str:
    return reason[0].upper() + reason[1:] + "."


def _headline(design: Design, tick: Fraction) -> str:
    proof, what = design.proof, design.proof.what
    made = f"{design.scheme} for {design.inputs} inputs"
    if design.link is None:
        if proof.impossible:
            return f"none: no {made} is as asked."
        least = _amount(proof.bound, design, tick)
        return f"undecided: no {made} was found; {what} less than {least} cannot do."
    size = _amount(proof.best, design, tick)
    if design.optimal:
        return f"optimal: {made}; {what} {size}, and nothing less can do."
    if proof.best == proof.bound:
        return f"found: {made}; {what} {size}, the least; whether the rest is least is open."
    return (
        f"found: {made}; {what} {size}, not proved to be the least: less than "
        f"{_amount(proof.bound, design, tick)} cannot do."
    )


def _amount(value: int | None, design: Design, tick: Fraction) -> str:
    if value is None:
        return "nothing"
    return str(value) if design.proof.what == "lines" else ticks_text(value, tick)


def _check(design: Design, tick: Fraction) -> str:
    judged = design.judged
    if judged is None:
        return "The file was not checked by the engines."
    by = f"by the {judged.engine}: {judged.covered}"
    if judged.verdict is not Verdict.HOLDS:
        return f"Check of the file: {judged.verdict.value} ({by})."
    text = f"Check of the file: holds ({by})."
    spacing = design.sizes.get("spacing_ticks")
    if spacing and design.below is not None and design.below.failure is not None:
        text += (
            f" Least safe spacing {ticks_text(spacing, tick)}; one tick less fails in a replayed "
            f"run ({design.below.failure.kind})."
        )
    if design.chords:
        text += f" {design.chords} chords replayed, all right."
    return text
