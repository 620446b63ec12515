"""The rules of the house, read from the imports of a source file.

`broken_rules` is a pure function, so that `test_house.py` can also show that
each rule is able to fail.
"""

from __future__ import annotations

import ast

#: Rooms that open no port, read no clock and start no thread, and the few plain modules they may share.
PURE_ROOMS = frozenset(
    {"bench.profile", "bench.procedure", "bench.scpi", "bench.judge", "bench.trace", "firmware_ref"}
)
PURE_MODULES = frozenset({"bench", "bench.errors", "bench.data", "bench.run.bench"})

#: Standard modules through which a pure room could open a port, read a clock or start a thread.
IMPURE = frozenset(
    [
        "asyncio",
        "concurrent",
        "datetime",
        "multiprocessing",
        "queue",
        "sched",
        "select",
        "selectors",
        "serial",
        "signal",
        "socket",
        "socketserver",
        "subprocess",
        "threading",
        "time",
        "_thread",
    ]
)
#: Modules that do not exist on Windows.
POSIX_ONLY = frozenset(["fcntl", "grp", "posix", "pty", "pwd", "resource", "syslog", "termios", "tty"])
#: The one module that may use them, for `--pty`.
PTY_MODULE = "bench.link.pty"
CLOCK_MODULE = "bench.clock"

#: Third-party package -> the rooms that may import it.
OUTSIDERS = {
    "serial": {"bench.link"},
    "click": {"bench.cli"},
    "argparse": set(),
    "rich": {"bench.cli", "bench.report"},
    "jinja2": {"bench.report"},
    "yaml": {"bench.profile", "bench.procedure"},
    "pydantic": {"bench.profile", "bench.procedure"},
    "statemachine": {"firmware_ref"},
}


def room_of(module: str) -> str:
    """`bench.judge.live` -> `bench.judge`; `firmware_ref.machine` -> `firmware_ref`."""
    parts = module.split(".")
    return parts[0] if parts[0] != "bench" else ".".join(parts[:2])


def imports(module: str, tree: ast.AST, is_package: bool = False) -> set[str]:
    """Full names of all that a file imports, anywhere in it; `from a import b` counts as `a` and `a.b`."""
    names: set[str] = set()
    package = module.split(".") if is_package else module.split(".")[:-1]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = package[: len(package) - node.level + 1] if node.level else []
            origin = ".".join([*above, *([node.module] if node.module else [])])
            names.add(origin)
            names.update(f"{origin}.{alias.name}" for alias in node.names)
    return names


def reads_wall_clock(tree: ast.AST) -> bool:
    """Whether `now`, `today` or `utcnow` is called on anything named date or datetime."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in ("now", "today", "utcnow"):
            owner = node.value
            name = owner.attr if isinstance(owner, ast.Attribute) else getattr(owner, "id", "")
            if name in ("datetime", "date"):
                return True
    return False


def broken_rules(module: str, source: str, is_package: bool = False) -> list[str]:
    """One sentence for each rule that the file breaks."""
    tree = ast.parse(source)
    found = imports(module, tree, is_package)
    tops = {name.split(".")[0] for name in found}
    room = room_of(module)
    wrong: list[str] = []

    if room in PURE_ROOMS:
        wrong += [f"{module} is pure and imports {top}" for top in sorted(tops & IMPURE)]
        for name in sorted(found):
            ours = name.split(".")[0] in ("bench", "firmware_ref")
            if ours and room_of(name) not in PURE_ROOMS and not _shared(name):
                wrong.append(f"{module} is pure and imports {name}")
    if room == "firmware_ref":
        wrong += [f"{module} imports {name}" for name in sorted(found) if name.split(".")[0] == "bench"]
    if room not in ("bench.cli", "bench.simulated") and any(room_of(n) == "bench.simulated" for n in found):
        wrong.append(f"{module} imports bench.simulated, which only cli may")
    if room != "bench.cli" and module != "bench.__main__" and any(room_of(n) == "bench.cli" for n in found):
        wrong.append(f"{module} imports bench.cli")
    if room == "bench.simulated":
        for name in sorted(found):
            judge = room_of(name) == "bench.judge" and name != "bench.judge"
            if (judge and not name.startswith("bench.judge.bounds")) or name.startswith(
                "firmware_ref.machine"
            ):
                wrong.append(f"{module} imports {name}: a simulation must not lean on the judge")
    for outsider, rooms in OUTSIDERS.items():
        if outsider in tops and room not in rooms:
            wrong.append(f"{module} imports {outsider}")
    if module != CLOCK_MODULE and ("time" in tops or reads_wall_clock(tree)):
        wrong.append(f"{module} reads a clock; only {CLOCK_MODULE} may")
    if module != PTY_MODULE:
        wrong += [f"{module} imports {top}, which Windows lacks" for top in sorted(tops & POSIX_ONLY)]
    return wrong


def _shared(name: str) -> bool:
    """Whether a name is one of the plain modules, or stands directly in one."""
    return name in PURE_MODULES or (name.rpartition(".")[0] in PURE_MODULES - {"bench"})
