"""How long the command line takes to say anything, against a Python program that does nothing."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path

import pytest

ROUNDS = 15
DEMO = str(Path(__file__).parent.parent.parent / "models" / "links" / "carillon.toml")

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


def test_check_of_the_demo_by_the_solver(compare):
    shown = compare(
        "fewwire check by the solver",
        lambda: child("-m", "verify", "check", DEMO, "--engine", "solver"),
        "python -c 'import z3'",
        lambda: child("-c", "import z3"),
        rounds=ROUNDS,
    )
    assert shown.stdout.startswith("holds")


TELL = """
import atexit, sys
atexit.register(lambda: print(*sys.modules, sep="\\n", file=sys.stderr))
from verify.cli import main
main()
"""


def modules(*arguments: str) -> set[str]:
    """Names of the modules that a command imports."""
    return set(child("-c", TELL, *arguments).stderr.split())


def packages(*arguments: str) -> set[str]:
    return {name.split(".")[0] for name in modules(*arguments)}


# None of these is needed to look at a link; all take longer to import than the rest together, or
# belong to one command.
HEAVY = {
    "matplotlib",
    "hypothesis",
    "joblib",
    "networkx",
    "numpy",
    "jinja2",
    "vcd",
    "cvc5",
    "numba",
}


def test_help_loads_nothing_heavy():
    found = packages("--help")
    assert "verify" in found
    assert not found & {"z3", "pydantic", "rich", *HEAVY}


@pytest.mark.parametrize("engine", ["explorer", "solver"])
def test_check_loads_the_solver_only_to_ask_it(engine):
    found = packages("check", DEMO, "--engine", engine)
    assert ("z3" in found) == (engine == "solver")
    assert not found & HEAVY


def test_a_link_file_loads_its_own_scheme_only():
    assert {n for n in modules("check", DEMO) if n.startswith("models.")} == {
        "models.parameters",
        "models.parameters.base",
        "models.parameters.pulse_gap",
        "models.pulse_gap",
        "models.sending",
    }
