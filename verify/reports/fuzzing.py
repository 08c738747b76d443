"""What fuzzing found: as people read it, as plain data, and as a test for pytest."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.text import Text

from verify.engines.trace import Trace
from verify.fuzzing.bench import Bench
from verify.parts.link import Link
from verify.questions.fuzz import Fuzzed
from verify.reports import cautions
from verify.reports.as_json import _head, _trace
from verify.reports.console import output_console, say
from verify.reports.names import moment, printable
from verify.reports.picture import picture
from verify.reports.terminal import _ascii_only, _change, _changes, conditions
from verify.reports.words import failure_sentence


def show_fuzzed(bench: Bench, target: str, found: Fuzzed) -> None:
    """The verdict in a sentence, the sequence if one was found, and how far it was looked."""
    console, link = output_console(), bench.model.link
    said = f"the {bench.end} {printable(target)}"
    if found.outcome is None:
        say(console, f"undecided: {said} got no sequence wrong; that is no proof.")
    else:
        changes = len(found.outcome.script.presses)
        noun = _change(link) if changes == 1 else _changes(link)
        say(console, f"fails: {changes} {noun} break{'s' * (changes == 1)} {said}.")
        trouble = None if found.outcome.trouble is None else trouble_sentence(link, found)
        _show_run(console, bench, found.outcome.trace, trouble)
        if not found.steady:
            say(console, "It did not fail each time: the target does not always do the same.")
        elif not found.minimal:
            say(console, "The time was up before the sequence was as small as can be.")
    say(console, f"By fuzzing: {covered(found)}. {conditions(link)}", "dim")
    say(console, cautions.SHORT, "dim")


def _show_run(console: Console, bench: Bench, trace: Trace, told: str | None) -> None:
    windows = bench.windows if bench.link.kind == "press" else None
    width = max(40, console.width)
    ascii_only = _ascii_only()
    drawn = picture(trace, bench.link, width, windows=windows, ascii_only=ascii_only, told=told)
    console.print(Text(drawn), soft_wrap=True)


def trouble_sentence(link: Link, found: Fuzzed) -> str:
    """How a target did not do its part."""
    trouble = None if found.outcome is None else found.outcome.trouble
    if trouble is None:
        raise AssertionError("no trouble to tell of")
    return f"{moment(trouble.tick, link)}: the target {trouble.kind}: {trouble.found}."


def covered(found: Fuzzed) -> str:
    """How far it was looked, in words."""
    noun = "sequence" if found.runs == 1 else "sequences"
    said = f"{found.runs} {noun} of up to {found.presses} changes, seed {found.seed}"
    if found.left_out:
        said += f"; {found.left_out} left out, which the model itself gets wrong"
    return said + ("; then the time was up" if found.ended else "")


def fuzz_json(bench: Bench, target: str, found: Fuzzed) -> dict[str, Any]:
    """Answer to ``fuzz``."""
    outcome = found.outcome
    trouble = None if outcome is None else outcome.trouble
    return {
        **_head("fuzz", bench.model.link),
        "verdict": found.verdict.value,
        "engine": "fuzzing",
        "covered": covered(found),
        "end": bench.end,
        "branch": bench.branch + 1,
        "target": target,
        "seed": found.seed,
        "sequences": found.runs,
        "left_out": found.left_out,
        "steady": None if outcome is None else found.steady,
        "minimal": found.minimal,
        "trouble": trouble and {"kind": trouble.kind, "tick": trouble.tick, "found": trouble.found},
        "trace": _trace(None if outcome is None else outcome.trace),
    }


def sentence(bench: Bench, found: Fuzzed) -> str:
    """What went wrong, in one sentence."""
    if found.outcome is None:
        raise AssertionError("nothing went wrong")
    if found.outcome.trouble is not None:
        return trouble_sentence(bench.link, found)
    windows = bench.windows if bench.link.kind == "press" else None
    return failure_sentence(found.outcome.trace, bench.link, windows) + "."
