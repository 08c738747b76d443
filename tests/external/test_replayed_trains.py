"""Pulse trains of a general-purpose infrared library, recorded as files and decoded by ``replay``.

Library: PiIR 0.2.5 from PyPI, which turns bytes into marks and spaces; the remote is the one
that its documentation shows (pypi.org/project/PiIR, "Recording"; read there, S), with bits that
last 2 or 4 units of 430 us. Taps read every bit of such a train, and two zeros as a one, since
they last as long together (tests/external/test_recorded_trains.py says why).
"""

from __future__ import annotations

import json
from pathlib import Path

import piir
import pytest
from click.testing import CliRunner

from tests.external.test_recorded_trains import LIGHT, bits_of, rises_of_train
from verify.cli import main

LINK = """
tick = "10 us"
[inputs]
names = ["zero", "one"]
[link]
scheme = "pulse-gap"
gaps = ["860 us", "1720 us"]
pulse = "430 us"
window = "170 us"
receiver = "taps"
"""


def recorded(train: list[float], ending: str) -> str:
    """Marks and spaces in us as a recording; the line starts low."""
    rows, now = [], 1000
    for place, duration in enumerate([*train, 0]):
        rows.append((now, 1 - place % 2))
        now += int(duration)
    if ending == ".csv":
        return "time,signal,value\n" + "".join(f"{at} us,line,{v}\n" for at, v in rows)
    head = "$timescale 1 us $end\n$var wire 1 ! ir $end\n$enddefinitions $end\n#0\n0!\n"
    return head + "".join(f"#{at}\n{v}!\n" for at, v in rows)


@pytest.mark.parametrize("ending", [".csv", ".vcd"])
@pytest.mark.parametrize("key", ["on", "cool"])
def test_a_recorded_train_is_decoded(tmp_path: Path, key: str, ending: str) -> None:
    train = piir.Remote(LIGHT, 0).encode(LIGHT["keys"][key])[0]
    if len(train) % 2 == 0:
        train = train[:-1]  # the pause after the last mark
    bits = bits_of(bytes.fromhex(f"2C 52 {LIGHT['keys'][key]}"))
    (tmp_path / "link.toml").write_text(LINK)
    recording = tmp_path / f"light{ending}"
    recording.write_text(recorded(train, ending))

    result = CliRunner().invoke(
        main,
        ["replay", str(tmp_path / "link.toml"), str(recording), "--name", "ir=line", "--json"],
    )

    assert result.exit_code == 0, result.output
    answer = json.loads(result.stdout)
    assert answer["verdict"] == "decoded"
    begin = 100  # ticks before the leader
    ends = [begin + round(rise / 10) for rise in rises_of_train([int(t) for t in train])[2:]]
    ghosts = {(ends[k], "out.one") for k in range(1, len(bits)) if bits[k - 1 : k + 1] == [0, 0]}
    sent = {(at, f"out.{'one' if bit else 'zero'}") for at, bit in zip(ends, bits, strict=True)}
    assert ghosts
    assert {(c["tick"], c["signal"]) for c in answer["outputs"]} == sent | ghosts
    assert answer["outputs_in_all"] == len(sent | ghosts)
