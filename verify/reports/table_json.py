"""Answers to ``table`` as plain data. The keys are documented and stable."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from verify.questions.code_table import CodeAnswer
from verify.questions.evidence import Fault
from verify.questions.frame_table import FrameAnswer
from verify.questions.gap_table import GapAnswer, GhostList
from verify.questions.table import TableAnswer
from verify.questions.word_table import WordAnswer
from verify.reports.as_json import _head, _trace


def table_json(found: TableAnswer) -> dict[str, Any]:
    """Answer to ``table``."""
    if isinstance(found, GapAnswer):
        return _gaps(found)
    if isinstance(found, CodeAnswer):
        return _codes(found)
    if isinstance(found, FrameAnswer):
        return _frames(found)
    return _words(found)


def exact(number: Fraction | None) -> dict[str, Any] | None:
    """A rational, exactly and as a decimal."""
    return None if number is None else {"exact": str(number), "value": float(number)}


def _verdict(form: str, found: TableAnswer, faults: list[Fault]) -> dict[str, Any]:
    return {
        "form": form,
        "verdict": found.verdict.value,
        "faults": [{"entries": list(fault.entries), "why": fault.why} for fault in faults],
    }


def _gaps(found: GapAnswer) -> dict[str, Any]:
    link = found.link
    names, gaps = link.names, link.scheme.per_input()["gap"]
    tightest, weakest = found.tightest_windows, found.tightest_rate
    rows = zip(names, gaps, found.windows, found.rooms, strict=True)
    return {
        **_head("table", link),
        **_verdict("gaps", found, found.faults),
        "undecided": found.undecided,
        "inputs": [
            {
                "name": name,
                "gap_ticks": gap,
                "window_ticks": list(window),
                "room_before_ticks": exact(before),
                "room_after_ticks": exact(after),
            }
            for name, gap, window, (before, after) in rows
        ],
        "neighbours": [
            {
                "shorter": names[n.shorter],
                "longer": names[n.longer],
                "windows_slack_ticks": n.windows,
                "arrivals_slack_ticks": exact(n.arrivals),
                "rate_error_below": exact(n.rate_below),
            }
            for n in found.neighbours
        ],
        "overlaps": [
            {"shorter": names[o.shorter], "longer": names[o.longer], "ticks": [o.low, o.high]}
            for o in found.overlaps
        ],
        "limiting_windows": tightest and [names[tightest.shorter], names[tightest.longer]],
        "limiting_rate_error": weakest and [names[weakest.shorter], names[weakest.longer]],
        "rate_error_below": weakest and exact(weakest.rate_below),
        "rate_error_in_windows": found.rate
        and {
            "least": exact(found.rate[0][0]),
            "least_by": names[found.rate[0][1]],
            "most": exact(found.rate[1][0]),
            "most_by": names[found.rate[1][1]],
        },
        "ghosts": found.ghosts and _ghosts(found.ghosts, names),
        "trace": _trace(found.trace),
    }


def _ghosts(ghosts: GhostList, names: tuple[str, ...]) -> dict[str, Any]:
    last, same = ghosts.last, ghosts.last_same
    return {
        "last_ticks": last and last[0],
        "last_pair": last and [names[last[1]], names[last[2]]],
        "last_same_ticks": same and same[0],
        "last_same_input": same and names[same[1]],
        "operator_least_ticks": ghosts.bound[0],
        "operator_least_same_ticks": ghosts.bound[1],
        "complete": ghosts.complete,
        "listed": [
            {
                "first": names[g.first],
                "second": names[g.second],
                "distance_ticks": [g.least, g.most],
                "outputs": [names[i] for i in g.outputs],
            }
            for g in ghosts.listed
        ],
    }


def _codes(found: CodeAnswer) -> dict[str, Any]:
    link, held = found.link, found.held
    names = link.names

    def named(inputs: tuple[int, ...]) -> list[str]:
        return [names[i] for i in inputs]

    def broken(by: tuple[tuple[int, ...], int] | None) -> dict[str, Any] | None:
        return by and {"inputs": named(by[0]), "shows": names[by[1]]}

    def same(by: tuple[tuple[int, ...], tuple[int, ...]] | None) -> list[list[str]] | None:
        return by and [named(inputs) for inputs in by]

    return {
        **_head("table", link),
        **_verdict("codes", found, found.faults),
        "undecided": found.undecided,
        "lines": found.width,
        "most_inputs": (1 << found.width) - 1,
        "most_unordered": found.unordered_most,
        "inputs": [
            {"name": name, "code": f"{code:0{found.width}b}"}
            for name, code in zip(names, found.codes, strict=True)
        ],
        "repeated": [named(pair) for pair in found.repeated],
        "idle": [names[i] for i in found.idle],
        "covers": [named(pair) for pair in found.covers],
        "held": {
            "no_ghost_steady": held.steady,
            "no_ghost_skewed": held.skewed,
            "apart": held.apart,
            "apart_known_number": held.exactly,
            "no_ghost_steady_broken": broken(held.steady_broken),
            "no_ghost_skewed_broken": broken(held.skewed_broken),
            "apart_broken": same(held.apart_broken),
            "apart_known_number_broken": same(held.exactly_broken),
        },
        "groups": [
            {"inputs": named(g.inputs), "shows": names[g.shows], "exact": g.exact}
            for g in found.groups
        ],
        "groups_complete_to": found.listed_sizes,
        "trace": _trace(found.trace),
    }


def _frames(found: FrameAnswer) -> dict[str, Any]:
    names = found.link.names
    return {
        **_head("table", found.link),
        **_verdict("frames", found, found.faults),
        "undecided": [],
        "width": found.width,
        "most_inputs": 1 << found.width,
        "inputs": [
            {"name": name, "code": f"{code:0{found.width}b}"}
            for name, code in zip(names, found.codes, strict=True)
        ],
        "repeated": [[names[i], names[j]] for i, j in found.repeated],
        "frame_ticks": found.frame,
        "idle_ticks": found.idle,
        "waiting_ticks": exact(found.waiting),
        "trace": None,
    }


def _words(found: WordAnswer) -> dict[str, Any]:
    file, ambiguity, delay = found.file, found.ambiguity, found.delay
    names = file.names

    def message(symbols: tuple[Any, ...]) -> Any:
        return [s[1] for s in symbols] if file.timed else "".join(symbols)

    return {
        "question": "table",
        "name": file.name,
        "tick_s": None if file.tick is None else float(file.tick),
        "disturbances": {
            "line.jitter": file.jitter,
            "clock.rate": [exact(e) for e in file.rate],
        },
        **_verdict("words", found, found.faults),
        "undecided": [],
        "words": [
            {"name": name, "word": word if isinstance(word, str) else list(word)}
            for name, word in zip(names, file.words, strict=True)
        ],
        "uniquely_decodable": ambiguity is None,
        "ambiguity": ambiguity
        and {
            "message": message(ambiguity.symbols),
            "readings": [[names[i] for i in r] for r in (ambiguity.first, ambiguity.second)],
        },
        "prefix_free": found.prefix_free,
        "delay": delay
        and {
            "bounded": delay.symbols is not None,
            "symbols": delay.symbols,
            "before": message(delay.before),
            "again": message(delay.again),
        },
        "kraft_sum": exact(found.kraft_sum),
        "suffixes": found.suffixes,
        "lengths": [
            {
                "kind": pair.kind,
                "shorter_ticks": pair.shorter,
                "longer_ticks": pair.longer,
                "slack_ticks": exact(pair.slack),
                "rate_error_below": exact(pair.rate_below),
            }
            for pair in found.lengths
        ],
        "trace": None,
    }
