"""`mitbench fixture list | check | watch | simulate`."""

from __future__ import annotations

from pathlib import Path

import click

from bench.cli.options import out_option
from bench.cli.sim import DRAWS, Simulation
from bench.errors import UsageError


@click.group()
def fixture() -> None:
    """Find, check, watch or simulate a fixture."""


@fixture.command("list")
def list_fixtures() -> None:
    """List the serial ports and what answers there."""
    from bench.cli.opening import look_around

    ports = look_around()
    if not ports:
        print("No USB serial ports. A simulated fixture is always at hand: --fixture sim://")
    for device, who in ports:
        print(f"{device}  {who or 'no fixture answers'}")


@fixture.command()
@click.argument("url")
@click.option("--plug", is_flag=True, help="The loop-back plug is fitted; else it is looked for.")
@click.option(
    "--computer-clock",
    metavar="PPM",
    help='How fast this computer\'s clock runs, if you measured it, as in "+12.5 ppm within 3 ppm".',
)
@out_option("Folder for the calibration record: that of the runs that are to use it.")
def check(url: str, plug: bool, computer_clock: str | None, out: Path) -> None:
    """Check that a fixture is sound, and leave its calibration record.

    URL is a serial port, socket://HOST:PORT or sim://. Take the board out
    first: nothing, or the loop-back plug, is to be in its place. Identity,
    error queue, source, every relay and every sensor signal are looked at one
    at a time with nothing energised; then every input, if the plug is fitted;
    then whether the fixture opens everything when this computer falls silent;
    and for a minute its clock. Exit code 0 if it is sound, 4 if not.
    """
    from bench.cli.checking import check_and_record
    from bench.cli.computer import parse_rate
    from bench.cli.opening import open_bare

    computer = None if computer_clock is None else parse_rate(computer_clock)
    bench = open_bare(url)
    try:
        for line in check_and_record(bench, out, plug, computer):
            print(line, flush=True)
    finally:
        bench.close()


@fixture.command()
@click.argument("url")
def watch(url: str) -> None:
    """Show what a fixture sees, until Ctrl-C. Nothing is energised.

    URL is a serial port, socket://HOST:PORT or sim://.
    """
    from bench.cli.checking import watched
    from bench.cli.opening import open_bare
    from bench.cli.stopping import StopSwitch

    with StopSwitch() as stop:
        bench = open_bare(url)
        try:
            for line in watched(bench, stop):
                print(line, flush=True)
        finally:
            bench.close()


@fixture.command()
@click.argument("profile")
@click.option(
    "--fault", "faults", multiple=True, metavar="NAME[=SIZE]", help="A fault to have; see: mitbench faults."
)
@click.option(
    "--seed", type=click.IntRange(min=0), default=0, show_default=True, help="Which board is drawn."
)
@click.option(
    "--draw", type=click.Choice(DRAWS), default="inside", show_default=True, help="How timings are drawn."
)
@click.option(
    "--speed", default="1", show_default=True, metavar="N|max", help="How many times as fast as a clock."
)
@click.option("--pty", is_flag=True, help="Serve on a pseudo-terminal (not on Windows).")
@click.option("--plug", is_flag=True, help="The loop-back plug instead of a board.")
@click.option(
    "--tcp", "tcp_port", type=click.IntRange(0, 65535), metavar="PORT", help="Serve on this port; 0: any."
)
def simulate(
    profile: str,
    faults: tuple[str, ...],
    seed: int,
    draw: str,
    speed: str,
    pty: bool,
    plug: bool,
    tcp_port: int | None,
) -> None:
    """Serve a simulated fixture with a board, until Ctrl-C.

    PROFILE is a file or the name of a shipped profile. The first line printed
    names what to give to --fixture.
    """
    from bench.cli.simulating import serve

    if pty == (tcp_port is not None):
        raise UsageError("write one of --pty and --tcp PORT")
    serve(Simulation(profile, faults, seed, draw, plug), speed, tcp_port)
