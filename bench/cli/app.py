"""The command `mitbench`: which commands there are, and what happens to an error."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping, Sequence
from importlib import import_module

import click

from bench import __version__
from bench.errors import MitbenchError

#: The person ended it with Ctrl-C.
EXIT_STOPPED = 130
#: Something in mitbench itself is wrong (the customary code for an internal error).
EXIT_OUR_FAULT = 70

#: Command -> (module, its one line in the list).  A command `x` is the function `x` of its module.
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("bench.cli.demo", "Test three simulated boards: one good, two broken."),
    "run": ("bench.cli.run", "Test one board and judge it."),
    "judge": ("bench.cli.judge", "Judge a stored trace again."),
    "procedure": ("bench.cli.procedure", "List procedures, or show what one does and proves."),
    "profile": ("bench.cli.profile", "List and check profiles, or print their schema."),
    "fixture": ("bench.cli.fixture", "Find, check, watch or simulate a fixture."),
    "faults": ("bench.cli.faults", "List the faults that the simulated board and fixture can have."),
}


class LazyGroup(click.Group):
    """A group that imports a command's module only when the command is used."""

    def __init__(self, *args: object, lazy: Mapping[str, tuple[str, str]], **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self._lazy = lazy

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self._lazy)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self._lazy:
            return None
        command: click.Command = getattr(import_module(self._lazy[cmd_name][0]), cmd_name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in self._lazy.items()])


@click.group(
    cls=LazyGroup,
    lazy=COMMANDS,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Start with: mitbench demo",
)
@click.version_option(__version__, message="mitbench %(version)s")
def app() -> None:
    """Bench tester for refrigerant leak-mitigation control boards.

    Applies 24 VAC calls and sensor signals to a board on the bench, watches
    what it does, and decides pass or fail with the evidence.
    """


def start(args: Sequence[str] | None = None) -> int:
    """Runs one command and returns its exit code; whatever goes wrong is one sentence on stderr."""
    try:
        return app.main(args=args, prog_name="mitbench", standalone_mode=False) or 0
    except click.UsageError as e:
        where = e.ctx.command_path if e.ctx else "mitbench"
        return _say(f"{e.format_message()} See: {where} --help", e.exit_code)
    except click.ClickException as e:
        return _say(e.format_message(), e.exit_code)
    except MitbenchError as e:
        return _say(str(e), e.exit_code)
    except (KeyboardInterrupt, click.Abort):
        return _say("Stopped.", EXIT_STOPPED)
    except BrokenPipeError:
        # The reader (a pager, `head`) has had enough; keep the interpreter from flushing into it at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return EXIT_STOPPED
    except Exception:
        from bench.cli.crash import keep_traceback

        return _say(
            "This is a fault of mitbench itself, not of the board or the bench; "
            f"what went wrong is in {keep_traceback()}.",
            EXIT_OUR_FAULT,
        )


def _say(sentence: str, code: int) -> int:
    print(f"mitbench: {sentence}", file=sys.stderr)
    return code
