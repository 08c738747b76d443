"""Sequences as plain data, and the pytest file that puts one to its target."""

from __future__ import annotations

import json
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

from verify.allowed_code import file_named
from verify.engines.trace import Chosen, Press, Script
from verify.linkfile import read, toml_of

if TYPE_CHECKING:
    from verify.fuzzing.opening import Setting


def sequence_of(script: Script) -> dict[str, Any]:
    """What the world does, without what the target answers."""
    return {
        "presses": [[press.tick, press.input] for press in script.presses],
        "delay": script.delay,
        "picks": [[pick.tick, pick.name, pick.value] for pick in script.picks],
        "constants": [list(constant) for constant in script.constants],
    }


def script_of(sequence: dict[str, Any]) -> Script:
    """The same as a script."""
    return Script(
        tuple(Press(*press) for press in sequence["presses"]),
        sequence["delay"],
        tuple(Chosen(*pick) for pick in sequence["picks"]),
        tuple((name, value) for name, value in sequence["constants"]),
    )


_TEST = '''\
"""A sequence that `fewwire fuzz` found; fails until the target does its part.

{told}
"""

import json

from verify.fuzzing.opening import Setting, replayed

LINK = {link!r}
{code}TARGET = Setting(
    end={end!r},
    command={command!r},
    callable_name={name!r},
    patience={patience!r},
    fresh={fresh!r},
    folder={folder!r},
    branch={branch!r},
)
SEQUENCE = json.loads({sequence!r})


def test_the_{end}_does_its_part(tmp_path):
    link = tmp_path / {file!r}
    link.write_text(LINK, encoding="utf-8")

    outcome = replayed(str(link), TARGET, SEQUENCE{argument})

    assert not outcome.model_fails, "the link of this file does not bring the sequence out right"
    assert outcome.trouble is None, outcome.trouble
    assert outcome.trace.failure is None, outcome.trace.failure
'''


def test_text(link_file: str, setting: Setting, script: Script, told: str) -> str:
    """The text of a pytest file that needs nothing but fewwire and the target."""
    text, shown, _ = read(link_file)
    code = file_named(toml_of(text, shown), Path(link_file).parent)
    return _TEST.format(
        told=fill(told.replace("\\", "\\\\").replace('"', "'"), 90),
        link=text,
        code="" if code is None else f"CODE = {code.source!r}  # its Python file\n",
        argument="" if code is None else ", CODE",
        end=setting.end,
        command=list(setting.command),
        name=setting.callable_name,
        patience=setting.patience,
        fresh=setting.fresh,
        folder=setting.folder,
        branch=setting.branch,
        sequence=json.dumps(sequence_of(script)),
        file=Path(link_file).name,
    )
