"""The same source, compiled: judges, simulated boards and their stand run about twice as fast.

    python -m tests.performance.compiled campaign.py good --boards 1000000

The tracked files are copied into build/compiled, the modules of `ROOMS` are compiled there by
mypyc (three minutes, once for each state of the files), and the script runs in that copy.  What
is compiled is typed Python as it stands; what it prints must be what the plain source prints,
which `--same N` shows for N good boards.  Needs a C compiler.  The tool itself is never compiled.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
COPY = ROOT / "build" / "compiled"
#: What is compiled: folders, and files of folders of which only some are needed.
ROOMS = (
    "bench/judge",
    "bench/trace",
    "bench/simulated",
    "firmware_ref",
    "tests/judge/stand.py",
    "tests/judge/random_runs.py",
    "tests/judge/random_profiles.py",
)
#: What stays as it is: pydantic's models and the state machine's class are made while they are
#: imported, the judge's entry is patched by the campaign, mypyc cannot compile some (version 2.4).
PLAIN = {
    "bench/judge/judge.py",
    "firmware_ref/machine.py",
    "firmware_ref/reference.py",
    "bench/simulated/mains.py",
    "bench/simulated/faults.py",
    "bench/simulated/fault_table.py",
    "bench/simulated/flawed.py",
    "bench/simulated/expected.py",
}
#: The simulated fixture is not used by campaigns, which stand a board on a `Stand`.
FIXTURE = {
    "absent", "bus", "commands", "fixture", "hardware", "peer", "relays", "ring", "rtu", "serve", "unruly",
}  # fmt: skip


def tracked() -> list[str]:
    """Names of the files that git knows and that are there."""
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, check=True, capture_output=True, text=True)
    return [name for name in listed.stdout.split("\n") if name and (ROOT / name).is_file()]


def modules() -> list[str]:
    """Names of the files that are compiled."""
    found = []
    for room in ROOMS:
        folder = ROOT / room
        files = [folder] if folder.is_file() else sorted(folder.glob("*.py"))
        found += [file.relative_to(ROOT).as_posix() for file in files if file.name != "__init__.py"]
    return [
        name
        for name in found
        if name not in PLAIN and not (name.startswith("bench/simulated/") and Path(name).stem in FIXTURE)
    ]


def built() -> Path:
    """The compiled copy of these files; made anew where a file has changed."""
    names = tracked()
    state = hashlib.sha256(sys.version.encode())
    for name in names:
        if name.endswith((".py", ".csv", ".toml")):
            state.update(name.encode() + (ROOT / name).read_bytes())
    mark = COPY / "state"
    if mark.is_file() and mark.read_text() == state.hexdigest():
        return COPY
    shutil.rmtree(COPY, ignore_errors=True)
    for name in names:
        (COPY / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(ROOT / name, COPY / name)
    # The compiler's set-up would read the project's own file and take the copy for that project.
    settings = COPY / "pyproject.toml"
    settings.rename(COPY / "mypy.toml")
    print("compiling into build/compiled: about three minutes", file=sys.stderr, flush=True)
    command = [sys.executable, "-m", "mypyc", "--config-file", "mypy.toml", *modules()]
    log = COPY / "compiling.txt"
    with log.open("w") as out:
        if subprocess.run(command, cwd=COPY, stdout=out, stderr=out, env=_env()).returncode:
            sys.exit(f"could not be compiled; build/compiled/{log.name} says why")
    mark.write_text(state.hexdigest())
    return COPY


def _env() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(COPY)}


def same(boards: int) -> bool:
    """Whether plain and compiled source say the same of so many good boards."""
    printed = []
    for root in (ROOT, built()):
        command = [sys.executable, "tests/performance/campaign.py", "good", "--boards", str(boards)]
        run = subprocess.run(
            command, cwd=root, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": str(root)}
        )
        printed.append([line for line in run.stdout.split("\n") if "boards/s a core" not in line])
    return printed[0] == printed[1]


def main() -> int:
    if sys.argv[1:2] == ["--same"]:
        alike = same(int(sys.argv[2]))
        print("the same was printed" if alike else "plain and compiled source differ")
        return 0 if alike else 1
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    script = built() / "tests" / "performance" / sys.argv[1]
    return subprocess.run([sys.executable, str(script), *sys.argv[2:]], cwd=COPY, env=_env()).returncode


if __name__ == "__main__":
    sys.exit(main())
