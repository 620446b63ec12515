"""`sim://` URLs are read as written, and every mistake in one is named."""

from __future__ import annotations

import pytest

from bench.cli.sim import Simulation, is_simulated, parse_url
from bench.errors import UsageError
from tests.end_to_end.command import mitbench


def test_nothing_said_is_the_default() -> None:
    assert parse_url("sim://") == Simulation(profile=None, faults=(), seed=0, draw="inside")


def test_everything_said() -> None:
    url = "sim://?profile=invented-air-handler&fault=stuck-on:W&fault=hold-short=20 s&seed=7&draw=anywhere"
    assert parse_url(url) == Simulation(
        "invented-air-handler", ("stuck-on:W", "hold-short=20 s"), 7, "anywhere"
    )


def test_the_plug() -> None:
    assert parse_url("sim://?plug=loop-back").plug
    assert not parse_url("sim://?seed=1").plug


def test_escaped_and_plain_spaces_and_signs() -> None:
    assert parse_url("sim://?fault=hold-short=20%20s").faults == ("hold-short=20 s",)
    assert parse_url("sim://?fault=trip-high=+3%25LFL").faults == ("trip-high=+3%LFL",)


@pytest.mark.parametrize(
    ("url", "said"),
    [
        ("sim://invented-air-handler", "key=value"),
        ("sim:", "with two slashes"),
        ("sim:/", "with two slashes"),
        ("sim", "with two slashes"),
        ("sim:?seed=1", "with two slashes"),
        ("sim://?sed=3", "sed is not known"),
        ("sim://?seed=-3", "seed=-3"),
        ("sim://?seed=1&seed=2", "twice"),
        ("sim://?draw=wild", "draw=wild"),
        ("sim://?plug=yes", "the one plug is loop-back"),
        ("sim://?profile=", "no value"),
    ],
)
def test_mistakes_are_named(url: str, said: str) -> None:
    with pytest.raises(UsageError) as caught:
        parse_url(url)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_which_urls_are_simulated() -> None:
    assert is_simulated("sim://")
    assert is_simulated("SIM://?seed=1")
    assert is_simulated("sim:")
    assert not is_simulated("/dev/ttyACM0")
    assert not is_simulated("./sim")
    assert not is_simulated("socket://localhost:5025")


@pytest.mark.parametrize("url", ["sim:", "sim:?seed=1", "", " "])
@pytest.mark.parametrize(
    "command", [("run", "invented-split-furnace", "--json", "--fixture"), ("fixture", "check")]
)
def test_what_names_no_fixture_is_a_mistake_of_the_command_line(command: tuple[str, ...], url: str) -> None:
    answer = mitbench(*command, url)
    assert (answer.code, answer.out) == (2, "")
    assert len(answer.err.strip().splitlines()) == 1
    assert "sim://" in answer.err
