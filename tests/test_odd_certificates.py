"""Certificates that somebody changed, or made up: none is confirmed of what is not so."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from tests.test_recheck import made
from verify.cli import main
from verify.engines.answer import Budget, Progress, Verdict
from verify.engines.simulator import replay
from verify.engines.trace import Chosen, Press, Script
from verify.errors import FewwireError
from verify.questions.certify import link_of
from verify.questions.judging import Subject, judge
from verify.questions.rechecking import Rechecked, recheck
from verify.recheck.certificate import RunFile, certificate_of, text_of
from verify.recheck.solvers import solver_of

HELD = ["carillon", "infrared_bits", "second_marks", "ferry_bell"]


@cache
def text(name: str) -> str:
    return text_of(made(name))


def data(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(text(name))
    return found


def asked(certificate: object) -> Rechecked | str:
    """What comes of it, or one line."""
    told = certificate if isinstance(certificate, str) else json.dumps(certificate)
    try:
        return recheck(certificate_of(told, "x"), "x", {"z3": solver_of("z3")}, budget=Budget(20))
    except FewwireError as error:
        return str(error)


# -- one thing changed ------------------------------------------------------------------


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Where something stands: leaves and lists."""
    if path and not isinstance(value, dict):
        yield path
    if isinstance(value, dict | list):
        inside = value.items() if isinstance(value, dict) else enumerate(value)
        for key, entry in inside:
            yield from places(entry, (*path, key))


def at(value: Any, path: tuple[Any, ...]) -> Any:
    for key in path:
        value = value[key]
    return value


@st.composite
def changed(draw: st.DrawFn, names: list[str]) -> dict[str, Any]:
    """A certificate with one number, name, list or number of its link another."""
    whole = copy.deepcopy(data(draw(st.sampled_from(names))))
    if draw(st.integers(0, 3)) == 0:
        # A time of the operator or the line, or a gap, as it stands in the link file.
        link = whole["link"]
        lines = re.finditer(r"^(?!name|tick)[a-z.]+ = [^#\n]+", link, re.MULTILINE)
        spans = [
            m.span() for line in lines for m in re.compile(r"\d+").finditer(link, *line.span())
        ]
        start, end = draw(st.sampled_from(spans))
        other = int(link[start:end]) + draw(st.sampled_from([-1, 1, -2, 5]))
        assume(other >= 0)
        whole["link"] = f"{link[:start]}{other}{link[end:]}"
        return whole
    path = draw(st.sampled_from([p for p in places(whole) if p[0] != "link"]))
    above, old = at(whole, path[:-1]), at(whole, path)
    new: Any = None
    if isinstance(old, int):
        new = old + draw(st.sampled_from([-1, 1, -3, 10**9]))
    elif isinstance(old, str):
        words = ["t1", "t2", "n1", "holds", "fails", "amid any", f"{old}x", "1/2"]
        new = draw(st.sampled_from(words))
    elif isinstance(old, list):
        new = list(old)
        if new and draw(st.booleans()):
            del new[draw(st.integers(0, len(new) - 1))]
        elif new:
            new.append(copy.deepcopy(draw(st.sampled_from(new))))
    assume(new != old)
    above[path[-1]] = new
    return whole


@given(changed(HELD))
@settings(max_examples=80, suppress_health_check=[HealthCheck.filter_too_much])
def test_a_changed_certificate_is_refused_or_still_true_of_the_link_in_it(
    certificate: dict[str, Any],
) -> None:
    found = asked(certificate)
    if isinstance(found, str):
        assert found.isprintable()
        return
    if found.verdict != "confirmed":
        return

    link = link_of(certificate["link"], "x", certificate["name"])
    assert link.name == certificate["name"]
    assert certificate["verdict"] == "holds"
    judged = judge(Subject(link), "auto", Progress(), budget=Budget(20))
    assert judged.verdict is Verdict.HOLDS


@given(changed(["puppet_theatre"]))
@settings(max_examples=80, suppress_health_check=[HealthCheck.filter_too_much])
def test_a_changed_run_is_refused_or_still_fails(certificate: dict[str, Any]) -> None:
    found = asked(certificate)
    if isinstance(found, str) or found.verdict != "confirmed":
        return

    assert certificate["verdict"] == "fails"
    run = RunFile.model_validate(certificate["run"])
    script = Script(
        tuple(sorted(Press(*press) for press in run.presses)),
        run.delay,
        tuple(Chosen(*pick) for pick in run.picks),  # type: ignore[arg-type]
        tuple(run.constants.items()),
        run.parts,
    )
    subject = Subject(link_of(certificate["link"], "x", certificate["name"]))
    trace = replay(subject.link, subject.windows, script)
    assert trace.failure is not None
    assert trace.failure.tick == run.fails


def test_what_lies_closer_than_is_proved_is_refused() -> None:
    # The one number that makes the claim false, in every certificate.
    for name, old, new in [
        ("carillon", "spacing = 16", "spacing = 15"),
        ("puppet_theatre", "spacing = 4", "spacing = 40"),
    ]:
        whole = data(name)
        assert old in whole["link"]
        found = asked(whole | {"link": whole["link"].replace(old, new)})
        assert isinstance(found, Rechecked)
        assert found.verdict == "refused"


# -- made up -----------------------------------------------------------------------------

CARILLON = "carillon"


def ask(tmp_path: Path, said: str | bytes, *more: str) -> tuple[int, str]:
    path = tmp_path / "odd.json"
    path.write_bytes(said if isinstance(said, bytes) else said.encode())
    result = CliRunner().invoke(main, ["recheck", str(path), *more])
    assert isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code != 0, result.output
    (line,) = (result.stderr if result.exit_code == 2 else result.stdout).splitlines()
    return result.exit_code, line


def with_first_place(value: str) -> str:
    whole = text(CARILLON)
    assert whole.count('"places": [0, ', 0, whole.index('"places"') + 20) == 1
    return whole.replace('"places": [0, ', f'"places": [{value}, ', 1)


def with_group(**parts: Any) -> str:
    whole = data(CARILLON)
    whole["invariants"][0]["groups"][0] |= parts
    return json.dumps(whole)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (b"", "EOF while parsing"),
        (b"\0" * 9, "expected value"),
        (b"\xff\xfe{", "text in UTF-8"),
        ("[]", "should be an object"),
        ("{}", "fewwire_certificate: found"),
        ("[" * 100_000, "recursion limit"),
        ('{"a":' * 100_000, "recursion limit"),
        ('{"\\ud800": 1}', "hex escape"),
        ('{"a\\n\\u001b[31m": 1}', "a\\\\n\\\\x1b[31m"),
    ],
)
def test_what_is_no_certificate_is_said_in_one_line(
    tmp_path: Path, said: str | bytes, told: str
) -> None:
    status, line = ask(tmp_path, said)

    assert status == 2
    assert told in line


@pytest.mark.parametrize(
    "value",
    ["9" * 5000, "1e999", "NaN", "true", "1.5", "null", '"t1) (assert false"', '"t1\\n"'],
)
def test_what_is_no_number_or_variable_is_said_in_one_line(tmp_path: Path, value: str) -> None:
    assert ask(tmp_path, with_first_place(value))[0] == 2


@pytest.mark.parametrize(
    ("parts", "status"),
    [
        ({"places": []}, 1),
        ({"places": [[]] * 5}, 1),
        ({"places": [[[]]] * 5}, 1),
        ({"limits": [[]]}, 2),
        ({"limits": [[1, {}]]}, 1),
        ({"limits": [[1, {"t1": 0}]]}, 1),
        ({"limits": [["1/0", {"t1": 1}]]}, 2),
        ({"limits": [[1, {"t77": 1}]]}, 1),
        ({"limits": [[1, {"(assert false)": 1}]]}, 2),
    ],
)
def test_groups_of_odd_form_are_refused(tmp_path: Path, parts: dict[str, Any], status: int) -> None:
    assert ask(tmp_path, with_group(**parts))[0] == status


def test_halves_are_no_whole_ticks(tmp_path: Path) -> None:
    whole = data(CARILLON)
    group = next(g for g in whole["invariants"][0]["groups"] if g["limits"])
    group["limits"].append(["1/2", {next(iter(group["limits"][0][1])): 1}])

    for solver in ("z3", "cvc5"):
        status, line = ask(tmp_path, json.dumps(whole), "--solver", solver)
        assert status == 1
        assert "whole numbers" in line


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"name": "another"}, 1),
        ({"name": "a\x1b[31m"}, 2),
        ({"name": ""}, 2),
        ({"fewwire_certificate": True}, 2),
        ({"fewwire_certificate": 2}, 2),
        ({"invariants": []}, 1),
        ({"verdict": "fails"}, 1),
        ({"verdict": "fails", "invariants": []}, 1),
        ({"verdict": "undecided"}, 2),
        ({"argument": "amid any"}, 1),
        ({"link": "tick ="}, 2),
        ({"link": "a = " + "[" * 9999}, 2),
        ({"link": "a = " + "1" * 9999}, 2),
        ({"more": 1}, 2),
    ],
)
def test_odd_keys_of_a_proof_confirm_nothing(
    tmp_path: Path, change: dict[str, Any], status: int
) -> None:
    assert ask(tmp_path, json.dumps(data(CARILLON) | change))[0] == status


def test_no_file_is_opened_that_a_link_in_a_certificate_names(tmp_path: Path) -> None:
    scheme = tmp_path / "scheme.py"
    scheme.write_text("raise SystemExit('run')")
    link = f'tick = "1 s"\n[inputs]\ncount = 2\n[link]\nscheme = "own"\npython = "{scheme}"\n'

    status, line = ask(tmp_path, json.dumps(data(CARILLON) | {"link": link}), "--allow-code")

    assert status == 2
    assert "link.python: found a file of Python code" in line


def test_a_key_that_is_there_twice_is_no_certificate(tmp_path: Path) -> None:
    twice = text(CARILLON).replace('"verdict":', '"verdict": "fails", "verdict":', 1)

    status, line = ask(tmp_path, twice)

    assert status == 2
    assert "verdict: found it twice" in line


@pytest.mark.parametrize("entries", [40, 150])
def test_many_times_that_run_side_by_side_do_not_take_longer_than_allowed(
    tmp_path: Path, entries: int
) -> None:
    whole = data("carillon_two_towers")
    groups = whole["invariants"][0]["groups"]
    group = next(g for g in groups if any(p and isinstance(p, list) for p in g["places"]))
    k, place = next((k, p) for k, p in enumerate(group["places"]) if p and isinstance(p, list))
    group["places"][k] = [[f"t{1000 + j}", *place[0][1:]] for j in range(entries)]
    group["limits"] = []
    whole["invariants"][0]["groups"] = [group, *groups]

    status, line = ask(tmp_path, json.dumps(whole), "--time", "0.4")

    assert status == 3
    assert "the time or memory was spent" in line
