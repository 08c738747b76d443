"""That a queue always has a place: SMT-LIB 2 from the numbers of a link, and a time given.

A transmitter sends one press after another, in the order in which they come, a press of input i
for ``sends[i]`` ticks; others wait meanwhile, in so many ``places``. It is *busy* from a press
that finds it idle until it is idle again. Let that press come at tick 0, and let ``came_i``
presses of input i come in the ticks 0 to x.

- Two presses of input i are at least ``apart[i]`` ticks apart, any two ``spacing``. So the first
  and the last of ``came_i`` are at least ``(came_i - 1) * apart[i]`` apart, and no more than x:
  ``(came_i - 1) * apart[i] <= x``; likewise of all presses, ``(sum came_i - 1) * spacing <= x``.
- *busy*: of the ticks 0 to B - 1, ``sum sends[i] * came_i <= B``. Were the transmitter busy up to
  tick B and longer, B ticks of sends would be over then and some not, all of presses that came
  before B: more than B ticks of sends. So it is idle again at tick B, or was before; a press at
  tick B finds it so. (Its send is over before presses of the tick are taken.)
- *places after d*: at a tick x before B let it have been busy since tick 0, and d sends be over.
  Then these and the one under way take more than x ticks, and none takes more than the longest:
  ``x < (d + 1) * longest``. What came and is not over is one under way and those that wait, the
  presses of tick x among them: ``sum came_i - d <= places + 1``. That is shown of the last such
  tick, by which all came that came by an earlier one; and once for the least d that B leaves for
  it, and every greater.

Both hold of every busy time, one by one, so no press ever finds all places taken: the first that
did would be one too many. A query denies what is to be shown; it has to be ``unsat``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from verify.parts.link import Link
from verify.recheck.certificate import MisfitError
from verify.recheck.claims import Query

# Queries about one queue; a longer time is refused.
MOST_QUERIES = 10_000


def always_a_place(link: Link, busy: int) -> Iterator[Query]:
    """What has to be shown of a link with a queue. ``busy``: B, in ticks, at least 1.

    Raises MisfitError for a link that has no queue, and for times of too many sends.
    """
    queue, operator = link.scheme.queue, link.operator
    if queue is None:
        raise MisfitError("a link with a queue")
    if busy > MOST_QUERIES * max(queue.sends):
        raise MisfitError(f"a queue that is busy for no more than {MOST_QUERIES} of its sends")
    # The tick of a release is no press.
    apart = [max(operator.spacing, operator.repeat, operator.hold[0] + 1)] * link.inputs
    if operator.pairs is not None:
        apart = [max(least, operator.pairs[i][i]) for i, least in enumerate(apart)]
    spacing = 0 if operator.together else operator.spacing
    yield from place_queries(queue.sends, queue.places, tuple(apart), spacing, busy)


def place_queries(
    sends: tuple[int, ...], places: int, apart: tuple[int, ...], spacing: int, busy: int
) -> Iterator[Query]:
    """The queries of the numbers above, in ticks: one, then one per longest send up to B."""
    came = [f"came{i}" for i in range(len(sends))]
    work = [f"(* {send} {name})" for send, name in zip(sends, came, strict=True)]
    yield Query("busy", _script(came, apart, spacing, busy - 1, f"(> {_sum(work)} {busy})"))
    longest = max(sends)
    for over in range((busy - 1) // longest + 1):
        last = min(busy, (over + 1) * longest) - 1
        more = f"(> (- {_sum(came)} {over}) {places + 1})"
        yield Query(f"places after {over}", _script(came, apart, spacing, last, more))


def _script(came: list[str], apart: tuple[int, ...], spacing: int, last: int, denied: str) -> str:
    """That ``denied`` is so of presses from tick 0 to ``last``."""
    return "\n".join(
        [
            "(set-logic QF_LIA)",
            *(f"(declare-const {name} Int)" for name in came),
            *(f"(assert (<= 0 {name}))" for name in came),
            *(
                f"(assert (<= (* {least} (- {name} 1)) {last}))"
                for least, name in zip(apart, came, strict=True)
            ),
            f"(assert (<= (* {spacing} (- {_sum(came)} 1)) {last}))",
            f"(assert {denied})",
            "(check-sat)",
            "",
        ]
    )


def _sum(texts: Iterable[str]) -> str:
    parts = list(texts)
    return parts[0] if len(parts) == 1 else f"(+ {' '.join(parts)})"
