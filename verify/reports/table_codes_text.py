"""Answers to ``table`` about codes, on lines or in frames, as people read them."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from verify.questions.code_table import CodeAnswer, Group
from verify.questions.frame_table import FrameAnswer
from verify.reports.names import printable
from verify.reports.table_pieces import MOST, LinkPage
from verify.units import ticks_text

_TOGETHER = {
    "exact": "This receiver knows whole codes only: while several inputs are held, it shows none "
    "of them, or one that covers the rest.",
    "covered": "This receiver shows every input whose lines are all up, whatever else is.",
    "sets": "This receiver knows what up to {held} inputs show together.",
}


def show_codes(found: CodeAnswer) -> None:
    """Verdict, codes, which cover which, how many may be held."""
    page = LinkPage(link=found.link)
    page.verdict(
        found.verdict,
        "every code is another, and no input shows as another that is not held, on the way or "
        "held together, as far as the operator and the line allow.",
        found.faults,
        found.undecided,
    )
    page.trace(found.trace)
    _rows(page, found.codes, found.width)
    lines = "1 line" if found.width == 1 else f"{found.width} lines"
    page.say(
        f"{lines} carry at most {(1 << found.width) - 1} inputs, and at most "
        f"{found.unordered_most} of which no code covers another (Sperner 1928)."
    )
    page.say(_covers(page, found.covers))
    _held(page, found)
    _groups(page, found)
    if len(found.codes) > 1:
        page.say(_TOGETHER[found.reads].format(held=found.known))
    page.last("By counting.")


def _rows(page: LinkPage, codes: Sequence[int], width: int) -> None:
    named = zip(page.link.names, codes, strict=True)
    rows = [(printable(name), f"{code:0{width}b}") for name, code in named]
    page.rows(("input", "code"), rows)


def _covers(page: LinkPage, pairs: Sequence[tuple[int, int]]) -> str:
    if not pairs:
        return "No code covers another: safe under any skew."
    shown = "; ".join(f"{page.name(i)} covers {page.name(j)}" for i, j in pairs[:MOST])
    more = f"; and {len(pairs) - MOST} more" if len(pairs) > MOST else ""
    return f"Codes that cover another, which shows on the way when lines come apart: {shown}{more}."


def _held(page: LinkPage, found: CodeAnswer) -> None:
    held, number = found.held, len(found.codes)

    def at_once(most: int | None) -> str:
        if most is None:
            return "not known: too many sets to compare"
        return f"all {number}" if most >= number else str(most)

    def shown(by: tuple[tuple[int, ...], int] | None, verb: str) -> str:
        return "" if by is None else f" ({page.names(by[0])} {verb} {page.name(by[1])})"

    def same(by: tuple[tuple[int, ...], tuple[int, ...]] | None) -> str:
        if by is None:
            return ""
        one, other = (page.names(inputs) or "none" for inputs in by)
        return f" ({one} shows as {other})"

    page.say("Inputs that may be held at once:")
    for words, most, why in (
        ("no ghost, lines steady", held.steady, shown(held.steady_broken, "equals")),
        ("no ghost, lines in any order", held.skewed, shown(held.skewed_broken, "covers")),
        ("each kept apart", held.apart, same(held.apart_broken)),
        ("each kept apart, their number known", held.exactly, same(held.exactly_broken)),
    ):
        page.item(f"{words}: {at_once(most)}{why}")


def _groups(page: LinkPage, found: CodeAnswer) -> None:
    def told(group: Group) -> str:
        verb = "equals" if group.exact else "covers"
        return f"{page.names(group.inputs)} together: {verb} {page.name(group.shows)}"

    least = "" if found.listed_sizes >= len(found.codes) else "at least "
    page.items(found.groups, told, least + "{} more; --json has more.")


def show_frames(found: FrameAnswer) -> None:
    """Verdict, codes, how long a frame takes."""
    page = LinkPage(link=found.link)
    page.verdict(
        found.verdict,
        "every code is another, and a receiver waits for the next frame when it comes.",
        found.faults,
    )
    _rows(page, found.codes, found.width)
    bits = "1 bit tells" if found.width == 1 else f"{found.width} bits tell"
    page.say(
        f"{bits} {1 << found.width} inputs apart. A frame takes "
        f"{ticks_text(found.frame, page.link.tick)}, the last {found.idle} low; from the last "
        f"sample to the next start edge {page.ticks(Fraction(found.waiting))} at least (above 0: "
        "in time)."
    )
    page.last("By counting.")
