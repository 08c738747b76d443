"""The wheel: everything that is needed is in it, and it works away from the repository."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


# Where the module has another name than the package, and what comes with another package.
MODULES = {"z3-solver": "z3", "pyvcd": "vcd"}
COME_WITH = {"pydantic_core": "pydantic", "markupsafe": "jinja2", "numpy": "matplotlib"}
IMPORT = re.compile(r"^\s*(?:import (\w+)|from (\w+)[\w.]* import )", re.MULTILINE)


def modules(requirements: list[str]) -> set[str]:
    names = (re.split(r"[^A-Za-z0-9_-]", text)[0] for text in requirements)
    return {MODULES.get(name, name.replace("-", "_")).lower() for name in names}


def test_every_package_is_needed_and_none_for_tests_alone_is_imported():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    imported: set[str] = set()
    for path in (*ROOT.glob("verify/**/*.py"), *ROOT.glob("models/**/*.py")):
        for plain, source in IMPORT.findall(path.read_text("utf-8")):
            imported.add(COME_WITH.get(plain or source, plain or source))
    others = imported - {*sys.stdlib_module_names, "verify", "models"}
    core = modules(project["dependencies"])
    extras = project["optional-dependencies"]
    for_users = {m for name, texts in extras.items() if name != "test" for m in modules(texts)}
    assert core <= others
    assert others <= core | for_users


def test_the_pythons_that_are_named_are_those_that_are_tried() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    named = {
        name.rpartition(" ")[2]
        for name in project["classifiers"]
        if re.fullmatch(r"Programming Language :: Python :: 3\.\d+", name)
    }
    tried = set(re.findall(r"\b3\.\d\d\b", (ROOT / ".ci" / "run").read_text("utf-8")))
    assert named == tried
    assert project["requires-python"] == f">={min(named)}"


@pytest.mark.slow
def test_a_wheel_brings_models_manual_and_types_and_runs_anywhere(tmp_path: Path) -> None:
    pip = [sys.executable, "-m", "pip"]
    built = [*pip, "wheel", "--no-deps", "--quiet", "--wheel-dir", str(tmp_path), str(ROOT)]
    subprocess.run(built, check=True, timeout=200)
    (wheel,) = tmp_path.glob("fewwire-*.whl")

    inside = set(zipfile.ZipFile(wheel).namelist())
    wanted = {"verify/py.typed", "models/py.typed"}
    for folder in (
        "models/links",
        "verify/manual",
        "verify/schemas",
        "verify/reports/page",
        "verify",
        "models",
    ):
        for file in (ROOT / folder).glob("*.*"):
            wanted.add(file.relative_to(ROOT).as_posix())
    assert wanted <= inside
    assert not any(name.startswith("tests/") for name in inside)

    place = tmp_path / "installed"
    placed = [*pip, "install", "--no-deps", "--quiet", "--target", str(place), str(wheel)]
    subprocess.run(placed, check=True, timeout=200)
    done = subprocess.run(
        [sys.executable, "-m", "verify", "check", str(place / "models/links/carillon.toml")],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(place)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("holds")


SDIST = "import sys; from setuptools.build_meta import build_sdist; print(build_sdist(sys.argv[1]))"


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("git") is None, reason="no git")
def test_a_tag_is_the_version_of_wheel_and_source(tmp_path: Path) -> None:
    def run(*words: str, place: Path = tmp_path, path: str = "") -> str:
        done = subprocess.run(
            words,
            cwd=place,
            env={**os.environ, "PYTHONPATH": path},
            capture_output=True,
            text=True,
            check=False,
            timeout=200,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    if not (ROOT / ".git").exists():
        pytest.skip("not a clone")
    clone, needs = str(tmp_path / "clone"), str(tmp_path / "needs")
    run("git", "clone", "--quiet", str(ROOT), clone)
    run("git", "-C", clone, "tag", "v7.8.9")
    pip = (sys.executable, "-m", "pip")
    required = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["build-system"]
    run(*pip, "install", "--quiet", "--target", needs, *required["requires"])
    # What building needs is fetched once; that pip finds it by itself, the test above shows.
    wheel = (*pip, "wheel", "--no-deps", "--no-build-isolation", "--quiet", "--wheel-dir")
    run(*wheel, str(tmp_path), clone, path=needs)
    made = run(sys.executable, "-c", SDIST, str(tmp_path), place=tmp_path / "clone", path=needs)

    assert [path.name for path in tmp_path.glob("*.whl")] == ["fewwire-7.8.9-py3-none-any.whl"]
    assert made.splitlines()[-1] == "fewwire-7.8.9.tar.gz"
    # What is built of the source knows its version without a repository around it.
    with tarfile.open(tmp_path / "fewwire-7.8.9.tar.gz") as source:
        source.extractall(tmp_path, filter="data")
    again = tmp_path / "again"
    run(*wheel, str(again), "./fewwire-7.8.9", path=needs)
    assert [path.name for path in again.glob("*.whl")] == ["fewwire-7.8.9-py3-none-any.whl"]
    inside = set(zipfile.ZipFile(again / "fewwire-7.8.9-py3-none-any.whl").namelist())
    assert {"models/links/carillon.toml", "verify/manual/check.md", "verify/py.typed"} <= inside
