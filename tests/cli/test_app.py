"""The frame of the command line: its commands, and what becomes of an error."""

from __future__ import annotations

from pathlib import Path

import click
import pytest

from bench.cli import app as frame
from bench.cli.app import COMMANDS, app, start
from bench.errors import BenchFault, ProfileError


@pytest.mark.parametrize("name", COMMANDS)
def test_the_line_in_the_list_is_the_commands_own(name: str) -> None:
    command = app.get_command(click.Context(app), name)
    assert command is not None
    assert (command.help or "").split("\n")[0] == COMMANDS[name][1]


def broken(error: BaseException) -> click.Command:
    @click.command("broken")
    def command() -> None:
        raise error

    return command


@pytest.fixture
def with_command(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    monkeypatch.chdir(tmp_path)

    def install(error: BaseException) -> None:
        monkeypatch.setattr(frame.LazyGroup, "get_command", lambda self, ctx, name: broken(error))

    return install


@pytest.mark.parametrize(
    ("error", "code", "sentence"),
    [
        (ProfileError("a.yaml:3: hold: is missing"), 2, "mitbench: a.yaml:3: hold: is missing\n"),
        (BenchFault("The fixture does not answer."), 4, "mitbench: The fixture does not answer.\n"),
        (KeyboardInterrupt(), 130, "mitbench: Stopped.\n"),
    ],
)
def test_an_error_is_one_sentence_and_its_exit_code(with_command, capsys, error, code, sentence) -> None:
    with_command(error)
    assert start(["broken"]) == code
    printed = capsys.readouterr()
    assert printed.err.lstrip("\n") == sentence  # after ^C the cursor goes to a fresh line first
    assert printed.out == ""


def test_a_fault_of_our_own_keeps_its_traceback_in_a_file(with_command, capsys, tmp_path: Path) -> None:
    with_command(ZeroDivisionError("deep inside"))
    assert start(["broken"]) == 70
    printed = capsys.readouterr().err
    assert printed.count("\n") == 1
    assert "Traceback" not in printed
    (kept,) = tmp_path.glob("mitbench-traceback-*.txt")
    assert str(kept) in printed
    assert "deep inside" in kept.read_text("utf-8")


@pytest.mark.parametrize("args", [["nonsense"], ["--nonsense"], ["run"], ["judge", "a", "b"]])
def test_a_wrong_command_line_is_one_line_and_exit_2(args: list[str], capsys) -> None:
    assert start(args) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.count("\n") == 1
    assert "--help" in printed.err
