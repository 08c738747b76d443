"""Answers to ``table`` about gaps, as people read them."""

from __future__ import annotations

from fractions import Fraction

from verify.questions.gap_table import GapAnswer, GhostList
from verify.reports.names import printable
from verify.reports.table_pieces import LinkPage, rational
from verify.tables.ghosts import Ghosts
from verify.units import ticks_text


def show_gaps(found: GapAnswer) -> None:
    """Verdict, table, slack, ghosts."""
    page = LinkPage(link=found.link)
    page.verdict(
        found.verdict,
        "every time from rise to rise is taken for one output at most, every send for its own, "
        "and no two presses that the operator allows strike a third.",
        found.faults,
        found.undecided,
    )
    page.trace(found.trace)
    _rows(page, found)
    page.say(" ".join(_slack(page, found)))
    if found.ghosts is not None:
        _ghosts(page, found.ghosts)
    else:
        page.say("Ghosts of two presses are counted once every send alone is understood.")
    page.last("By counting, for one or two presses; `fewwire check` proves longer sequences.")


def _rows(page: LinkPage, found: GapAnswer) -> None:
    gaps = page.link.scheme.per_input()["gap"]
    after = {n.shorter: n for n in found.neighbours}
    rows = []
    for i in found.order:
        low, high = found.windows[i]
        n = after.get(i)
        beyond = ("", "") if n is None else (str(n.windows), rational(n.rate_below))
        rows.append((printable(page.link.names[i]), str(gaps[i]), f"{low} to {high}", *beyond))
    page.rows(("input", "gap", "accepted", "to next window", "rate error below"), rows)


def _slack(page: LinkPage, found: GapAnswer) -> list[str]:
    said = []
    tight, weak = found.tightest_windows, found.tightest_rate
    if tight is not None and weak is not None:
        said.append(
            f"Closest windows: {_pair(page, tight.shorter, tight.longer)}, slack "
            f"{page.ticks(Fraction(tight.windows))} (above 0: apart)."
        )
        pair = _pair(page, weak.shorter, weak.longer)
        said.append(
            f"The right windows would bear a rate error below {rational(weak.rate_below)}: {pair}."
            if weak.rate_below > 0
            else f"No windows tell {pair} apart."
        )
    if found.rate is not None:
        (least, a), (most, b) = found.rate
        said.append(
            f"These windows bear a rate error from {rational(least)} ({page.name(a)}) to "
            f"{rational(most)} ({page.name(b)})."
        )
    return said


def _pair(page: LinkPage, i: int, j: int) -> str:
    return f"{page.name(i)} and {page.name(j)}"


def _ghosts(page: LinkPage, ghosts: GhostList) -> None:
    if not ghosts.listed:
        page.say("No two presses make a ghost.")
        return
    for last, what in ((ghosts.last, "two inputs"), (ghosts.last_same, "one input")):
        if last is not None:
            page.say(
                f"Last ghost of two presses of {what}: {ticks_text(last[0], page.link.tick)} "
                f"apart, {page.name(last[1])} then {page.name(last[2])}."
            )

    def told(g: Ghosts) -> str:
        between = str(g.least) if g.least == g.most else f"{g.least} to {g.most}"
        return f"{page.names((g.first, g.second))}, {between}: {page.names(g.outputs)}"

    page.say("Ghosts of two presses (first, second, ticks between, what strikes):")
    least = "" if ghosts.complete else "at least "
    page.items(ghosts.listed, told, least + "{} more; --json has more, --pair all of a pair.")
