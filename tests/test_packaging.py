"""The wheel: everything that is needed is in it, and it works away from the repository."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


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
