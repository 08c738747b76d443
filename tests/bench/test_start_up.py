"""How long the command line takes to say anything, against a Python program that does nothing."""

from __future__ import annotations

import importlib.util
import subprocess
import sys

import pytest

ROUNDS = 15

pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("verify.cli") is None, reason="there is no command line"
)


def child(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments], capture_output=True, text=True, check=True, timeout=60
    )


def test_help(compare):
    shown = compare(
        "python -m verify.cli --help",
        lambda: child("-m", "verify.cli", "--help"),
        "python -c pass",
        lambda: child("-c", "pass"),
        rounds=ROUNDS,
    )
    assert "Usage" in shown.stdout


def test_help_loads_nothing_heavy():
    found = child("-X", "importtime", "-m", "verify.cli", "--help").stderr
    loaded = {line.rsplit("|", 1)[-1].strip().split(".")[0] for line in found.splitlines()}
    assert "verify" in loaded
    assert not loaded & {"z3", "matplotlib", "hypothesis", "joblib", "numpy"}
