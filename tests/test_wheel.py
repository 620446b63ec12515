"""The installed wheel is complete: in a fresh environment, from a folder elsewhere, it does the main job."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
pytestmark = pytest.mark.slow


def python(
    *args: str, executable: str = sys.executable, cwd: Path = ROOT
) -> subprocess.CompletedProcess[str]:
    # PYTHONPATH would let the source tree stand in for what the wheel lacks.
    env = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "VIRTUAL_ENV")}
    return subprocess.run([executable, *args], cwd=cwd, env=env, capture_output=True, text=True)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    done = python("-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", str(folder), str(ROOT))
    assert done.returncode == 0, done.stderr
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("fresh")
    python("-m", "venv", str(folder))
    executable = folder / ("Scripts" if os.name == "nt" else "bin") / "python"
    done = python("-m", "pip", "install", "--quiet", str(wheel), executable=str(executable))
    assert done.returncode == 0, done.stderr
    return str(executable)


def test_the_wheel_holds_what_is_read_at_run_time_and_nothing_else(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    profiles = {f"bench/_data/profiles/{p.name}" for p in (ROOT / "profiles").glob("*.yaml")}
    assert profiles
    assert profiles <= names
    assert {"bench/_data/channels.csv", "bench/_data/loop-back.csv"} <= names
    in_source = {
        p.relative_to(ROOT).as_posix()
        for top in ("bench", "firmware_ref")
        for p in (ROOT / top).rglob("*")
        if p.is_file() and not {"__pycache__", "_data", "build"} & set(p.parts)
    }
    assert in_source <= names
    tops = {name.split("/")[0] for name in names}
    assert {t for t in tops if not t.endswith(".dist-info")} == {"bench", "firmware_ref"}
    assert any(name.endswith("licenses/LICENSE") for name in names)


def test_the_installed_command_lists_its_profiles(installed: str, tmp_path: Path) -> None:
    done = python("-m", "bench", "profile", "list", executable=installed, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert {line.split()[0] for line in done.stdout.splitlines()} == {
        p.stem for p in (ROOT / "profiles").glob("*.yaml")
    }


def test_the_installed_command_tests_a_board_from_a_folder_elsewhere(installed: str, tmp_path: Path) -> None:
    command = Path(installed).with_name("mitbench" + (".exe" if os.name == "nt" else ""))
    done = subprocess.run(
        [command, "run", "invented-split-furnace", "--fixture", "sim://", "--json"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert answer["verdict"] == "pass"
    assert answer["simulated"] is True
    assert (tmp_path / answer["trace"]).is_file()
