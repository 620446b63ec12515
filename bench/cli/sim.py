"""`sim://?profile=NAME&fault=NAME[=SIZE]&seed=N&draw=HOW&plug=loop-back`: what the simulated fixture is asked to be."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import parse_qsl, urlsplit

from bench.errors import UsageError

DRAWS = ("inside", "anywhere", "nominal")
PLUG = "loop-back"
_KEYS = ("profile", "fault", "seed", "draw", "plug")


@dataclass(frozen=True, slots=True)
class Simulation:
    """A simulated fixture with a board, or with the loop-back plug in its place.

    `profile` None: that of the run, else the first shipped one.
    """

    profile: str | None = None
    faults: tuple[str, ...] = ()
    seed: int = 0
    draw: str = "inside"
    plug: bool = False


def is_simulated(url: str) -> bool:
    """Whether a URL means the simulated fixture, rightly written or not."""
    return url.lower().partition(":")[0] == "sim"


def parse_url(url: str) -> Simulation:
    """The simulation that a `sim://` URL describes.  Raises UsageError, one sentence."""
    parts = urlsplit(url)
    if not url.lower().startswith("sim://"):
        raise UsageError(f"{url}: the simulated fixture is sim://, with two slashes, as in sim://?seed=1")
    if parts.netloc or parts.path not in ("", "/"):
        raise UsageError(f"{url}: write sim://?key=value&key=value (keys: {', '.join(_KEYS)})")
    once: dict[str, str] = {}
    faults: list[str] = []
    # `+` stays as typed: a fault's size may carry a sign; `%20` and a plain space both work.
    for key, value in parse_qsl(parts.query.replace("+", "%2B"), keep_blank_values=True):
        if key not in _KEYS:
            raise UsageError(f"{url}: {key} is not known; the keys are {', '.join(_KEYS)}")
        if not value:
            raise UsageError(f"{url}: {key} has no value")
        if key == "fault":
            faults.append(value)
        elif key in once:
            raise UsageError(f"{url}: {key} is given twice")
        else:
            once[key] = value
    draw = once.get("draw", "inside")
    if draw not in DRAWS:
        raise UsageError(f"{url}: draw={draw} is not known; write one of {', '.join(DRAWS)}")
    plug = once.get("plug", PLUG)
    if plug != PLUG:
        raise UsageError(f"{url}: plug={plug} is not known; the one plug is {PLUG}")
    seed = _seed(url, once.get("seed", "0"))
    return Simulation(once.get("profile"), tuple(faults), seed, draw, plug="plug" in once)


def _seed(url: str, text: str) -> int:
    if not text.isdecimal():
        raise UsageError(f"{url}: seed={text} is no whole number of 0 or more")
    return int(text)
