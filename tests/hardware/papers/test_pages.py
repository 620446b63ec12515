"""Pictures and tables are those of the data, and pages point at what is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from hardware.schematic.draw import PICTURES, results
from hardware.schematic.pages import counted
from hardware.schematic.sheet import HARDWARE, table

PAGES = [*sorted(HARDWARE.glob("*.md")), HARDWARE / "schematic" / "README.md"]


def test_pictures_and_tables_are_up_to_date() -> None:
    stale = [path.name for path, text in results().items() if path.read_text("utf-8") != text]
    assert stale == [], "write them anew: python -m hardware.schematic.draw"
    assert {p for p in results() if p.suffix == ".svg"} == set(PICTURES.glob("*.svg"))


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text("utf-8")):
        assert target.startswith("http") or (page.parent / target).exists(), target


def test_relays_and_inputs_are_as_many_as_channels() -> None:
    kinds = [row["kind"] for row in table(HARDWARE / "channels.csv")]
    amounts = counted()
    assert amounts["relay.linked"] == kinds.count("call") + kinds.count("bus") + 1  # and R-BOARD
    assert amounts["relay.signal"] == kinds.count("button") + 4 * kinds.count("sensor")
    assert amounts["driver.fet"] == amounts["relay.linked"] + amounts["relay.signal"]
    assert amounts["opto.ac"] == sum(kinds.count(k) for k in ("call", "sense", "output"))
    assert amounts["ac.dummy"] == kinds.count("output")


def test_every_terminal_is_wired_on_the_page() -> None:
    text = (HARDWARE / "WIRING.md").read_text("utf-8")
    for row in table(HARDWARE / "channels.csv"):
        assert f"| {row['number']} | {row['name']} | {row['terminal']} |" in text
