"""The deepest stack of an AVR image: `avr-objdump -d IMAGE | python stack.py FILE.su ...` prints a number of bytes.

Each function's frame comes from what the compiler says of it (-fstack-usage,
its own return address included), who calls whom from the disassembly.  The
deepest interrupt comes on top of the deepest path from main.  An upper bound
where it holds: recursion and calls through pointers are refused.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path

_RETURN_BYTES = 2
_HEAD = re.compile(r"^[0-9a-f]+ <([^>]+)>:")
_CALL = re.compile(r"\t(?:call|rcall|jmp|rjmp)\t.*<([^>+]+)>\s*$")
_POINTER = re.compile(r"\t(?:icall|eicall|ijmp|eijmp)\b")
_PUSH = re.compile(r"\tpush\t")


class Unbounded(ValueError):
    """No bound can be given; the text says why."""


def frames(usage: Iterable[str]) -> dict[str, int]:
    """Function -> bytes of its frame and return address, of the compiler's lines."""
    found: dict[str, int] = {}
    for line in usage:
        place, size, kind = line.split("\t")
        if not kind.startswith("static"):
            raise Unbounded(f"{place}: its frame is {kind.strip()}")
        found[place.rsplit(":", 1)[1].strip()] = int(size)
    return found


def calls(listing: Iterable[str]) -> tuple[dict[str, set[str]], dict[str, int]]:
    """Who calls whom, and how many registers each function pushes, of a disassembly."""
    called: dict[str, set[str]] = {}
    pushed: dict[str, int] = {}
    name = ""
    for line in listing:
        if head := _HEAD.match(line):
            name = head[1]
            called[name], pushed[name] = set(), 0
        elif not name:
            continue
        elif _POINTER.search(line):
            raise Unbounded(f"{name} calls through a pointer")
        elif (call := _CALL.search(line)) and call[1] != name:
            called[name].add(call[1])
        elif _PUSH.search(line):
            pushed[name] += 1
    return called, pushed


def deepest(start: str, called: Mapping[str, set[str]], bytes_of: Mapping[str, int], path: tuple[str, ...] = ()) -> int:  # fmt: skip
    if start in path:
        raise Unbounded(f"{start} calls itself")
    below = (deepest(c, called, bytes_of, (*path, start)) for c in called.get(start, ()))
    return bytes_of.get(start, _RETURN_BYTES) + max(below, default=0)


def worst(usage: Iterable[str], listing: Iterable[str]) -> int:
    """Bytes of stack that the image can need at most."""
    called, pushed = calls(listing)
    # Library functions come without the compiler's word: what they push, and their return address.
    bytes_of = {name: n + _RETURN_BYTES for name, n in pushed.items()} | frames(usage)
    interrupts = (deepest(n, called, bytes_of) for n in called if n.startswith("__vector_"))
    return deepest("main", called, bytes_of) + max(interrupts, default=0)


if __name__ == "__main__":
    lines = [line for path in sys.argv[1:] for line in Path(path).read_text().splitlines()]
    print(worst(lines, sys.stdin))
