"""What every command shares: the app, its outermost edge, options told alike, the progress bar.

Nothing heavy is imported before a command needs it, so that help and completion are quick.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import sys
import traceback
from pathlib import Path
from types import FrameType, TracebackType
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from beadwright import __version__
from beadwright.errors import INTERRUPTED, BeadwrightError, InternalError, unexpected

if TYPE_CHECKING:
    from collections.abc import Mapping

    from beadwright.pipeline import Progress

FAULT_OF_OURS = InternalError.exit_code

app = typer.Typer(
    name="beadwright",
    help="From a CAD solid (STEP) to an arc-move program for a large-format bead extruder.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    # Rich would take "[default: 8.4]" for markup, and drop it.
    rich_markup_mode="markdown",
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Example: beadwright plan part.step -o out",
)

Part = Annotated[
    Path,
    typer.Argument(
        metavar="PART",
        help="STEP file: .step .stp .p21, also packed by gzip; examine and plan take meshes too",
    ),
]
AsJson = Annotated[
    bool, typer.Option("--json", help="the result on standard output as JSON, nothing else there")
]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="no progress and no tables; only errors")]


def run() -> None:
    """Entry point of the installed command."""
    signal.signal(signal.SIGTERM, _interrupt)
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:  # as a job in the background has it
        signal.signal(signal.SIGINT, _interrupt)
    try:
        app()
    except (KeyboardInterrupt, SystemExit) as end:
        if isinstance(end, SystemExit) and end.code != INTERRUPTED:
            raise
        # Python remembers an interruption inside code that was made from a string, such as a dataclass, and
        # would end the process by the signal instead of our exit code.
        with contextlib.suppress(OSError):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(INTERRUPTED)


_interruptions: list[int] = []
"""Signals so far that ask for an end; a library may turn the exception into one of its own."""


def _interrupt(number: int, _frame: FrameType | None) -> NoReturn:
    """End like an interruption from the keyboard: clean up, leave nothing behind."""
    _interruptions.append(number)
    raise KeyboardInterrupt


class Edge:
    """The outermost edge of a command: every error becomes a message and an exit code, none a traceback."""

    def __enter__(self) -> None:
        return None

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        if fault is None or isinstance(fault, typer.Exit):
            return
        if isinstance(fault, KeyboardInterrupt) or _interruptions:
            say("interrupted; nothing was written")
            raise typer.Exit(INTERRUPTED)
        if isinstance(fault, BrokenPipeError):
            # Whoever read our output went away; not even the last flush may fail loudly.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            raise typer.Exit(1)
        if isinstance(fault, BeadwrightError) and not isinstance(fault, InternalError):
            say(f"error: {fault}")
            raise typer.Exit(fault.exit_code)
        if os.environ.get("BEADWRIGHT_TRACEBACK"):
            traceback.print_exception(kind, fault, trace)
        told = fault if isinstance(fault, InternalError) else unexpected(fault)
        say(
            f"fault of beadwright: {told}\n"
            "This is not your mistake. Please report it to whoever maintains your copy, with the part, the"
            f" command line, this message and the version, {__version__}; BEADWRIGHT_TRACEBACK=1 in the"
            " environment adds where it came from. Nothing was written."
        )
        raise typer.Exit(FAULT_OF_OURS)


def say(text: str) -> None:
    """One message on standard error."""
    print(f"beadwright: {text}", file=sys.stderr)


def print_json(document: Mapping[str, Any]) -> None:
    print(json.dumps(document, indent=1, allow_nan=False))


def _version(wanted: bool) -> None:
    if wanted:
        print(f"beadwright {__version__}")
        raise typer.Exit


@app.callback()
def main(
    version: Annotated[
        bool, typer.Option("--version", help="show the version", callback=_version, is_eager=True)
    ] = False,
) -> None:
    """From a CAD solid (STEP) to an arc-move program for a large-format bead extruder."""


def option(flag: str, metavar: str, text: str, *, panel: str | None = None) -> Any:
    return typer.Option(flag, metavar=metavar, help=text, rich_help_panel=panel)


class progress_bar:  # noqa: N801  a context manager that reads as a verb
    """A progress bar on a terminal; elsewhere a line for what takes unexpectedly long, or silence."""

    def __init__(self, *, quiet: bool) -> None:
        self._quiet = quiet
        self._bar: Any = None

    def __enter__(self) -> Progress:
        if self._quiet:
            return _again
        if not sys.stderr.isatty():
            return _note_compiling
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

        self._bar = Progress(
            TextColumn("{task.description}"),
            BarColumn(),
            MofNCompleteColumn(),
            TimeElapsedColumn(),
            console=Console(stderr=True),
            transient=True,
        )
        self._bar.start()
        task = self._bar.add_task("reading", total=None)

        def show(stage: str, done: int, total: int) -> None:
            _again(stage, done, total)
            self._bar.update(task, description=stage, completed=done, total=total or None)

        return show

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()


def _again(_stage: str, _done: int, _total: int) -> None:
    """End after an interruption that was lost: Python drops what is raised while it frees an object or imports."""
    if _interruptions:
        raise KeyboardInterrupt


def _note_compiling(stage: str, done: int, total: int) -> None:
    """Say that compiling begins, where no bar shows it."""
    _again(stage, done, total)
    if stage.startswith("compiling") and not done:
        say(f"{stage}; this takes half a minute or so")
