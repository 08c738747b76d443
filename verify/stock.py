"""Table ``[parts]`` of a link file: what the user has to build with. Engines know nothing of it."""

from __future__ import annotations

from pydantic import Field, field_validator

from verify import units
from verify.fields import Finding, PositiveTime, Table, refusal

MOST_SIZES = 64


class Stock(Table):
    """``delays``: ticks that the delay elements at hand last, any number of each."""

    delays: list[PositiveTime] = Field(
        [1],
        min_length=1,
        max_length=MOST_SIZES,
        description=f"a list of 1 to {MOST_SIZES} sizes, each {units.allowed_time(1)}",
    )

    @field_validator("delays")
    @classmethod
    def _distinct(cls, delays: list[int]) -> list[int]:
        first: dict[int, int] = {}
        findings = [
            Finding((i,), f"a size of its own; delays[{first[size]}] is the same")
            for i, size in enumerate(delays)
            if first.setdefault(size, i) != i
        ]
        if findings:
            raise refusal(*findings)
        return delays
