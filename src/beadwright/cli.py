"""The commands as a program: options in, tables and progress on standard error, JSON on standard output.

Nothing heavy is imported before a command needs it, so that help and completion are quick.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import traceback
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from types import FrameType, TracebackType
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from beadwright import __version__
from beadwright.errors import BeadwrightError, InternalError, unexpected

if TYPE_CHECKING:
    from collections.abc import Mapping
    from concurrent.futures import Executor

    from beadwright.pipeline import Progress

INTERRUPTED = 130
FAULT_OF_OURS = InternalError.exit_code

app = typer.Typer(
    name="beadwright",
    help="From a CAD solid (STEP) to an arc-move program for a large-format bead extruder.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Example: beadwright plan part.step -o out",
)

Part = Annotated[Path, typer.Argument(metavar="PART", help="STEP file: .step .stp .p21, also packed by gzip")]
AsJson = Annotated[
    bool, typer.Option("--json", help="the result on standard output as JSON, nothing else there")
]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="no progress and no tables; only errors")]


def run() -> None:
    """Entry point of the installed command."""
    signal.signal(signal.SIGTERM, _interrupt)
    app()


def _interrupt(_signal: int, _frame: FrameType | None) -> NoReturn:
    """End like an interruption from the keyboard: clean up, leave nothing behind."""
    raise KeyboardInterrupt


class _Edge:
    """The outermost edge of a command: every error becomes a message and an exit code, none a traceback."""

    def __enter__(self) -> None:
        return None

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        if fault is None or isinstance(fault, typer.Exit):
            return
        if isinstance(fault, KeyboardInterrupt):
            _say("interrupted; nothing was written")
            raise typer.Exit(INTERRUPTED)
        if isinstance(fault, BrokenPipeError):
            # Whoever read our output went away; not even the last flush may fail loudly.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            raise typer.Exit(1)
        if isinstance(fault, BeadwrightError) and not isinstance(fault, InternalError):
            _say(f"error: {fault}")
            raise typer.Exit(fault.exit_code)
        if os.environ.get("BEADWRIGHT_TRACEBACK"):
            traceback.print_exception(kind, fault, trace)
        told = fault if isinstance(fault, InternalError) else unexpected(fault)
        _say(
            f"fault of beadwright: {told}\n"
            "This is not your mistake. Please report it to whoever maintains your copy, with the part, the"
            f" command line, this message and the version, {__version__}; BEADWRIGHT_TRACEBACK=1 in the"
            " environment adds where it came from. Nothing was written."
        )
        raise typer.Exit(FAULT_OF_OURS)


def _say(text: str) -> None:
    """One message on standard error."""
    print(f"beadwright: {text}", file=sys.stderr)


def _print_json(document: Mapping[str, Any]) -> None:
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


@app.command(epilog="Example: beadwright examine part.step")
def examine(part: Part, as_json: AsJson = False, quiet: Quiet = False) -> None:
    """What is in the file, is it printable and why not, with advice.

    Exit code 0: printable; 1: read, but not printable as it is; 2: cannot be read.
    """
    with _Edge():
        from beadwright.pipeline import examine as examine_part

        found = examine_part(part)
        if as_json:
            _print_json(found.as_dict())
        elif not quiet:
            from beadwright.pipeline import show_examination

            show_examination(found)
        raise typer.Exit(0 if found.printable else 1)


@app.command(epilog="Example: beadwright section part.step --z 120 -o section.dxf")
def section(
    part: Part,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="FILE", help="written as its ending says: .dxf .svg .step .json"),
    ] = None,
    z: Annotated[
        float | None,
        typer.Option("--z", metavar="MM", help="height of a horizontal plane, as in the file"),
    ] = None,
    plane: Annotated[
        str | None,
        typer.Option("--plane", metavar="X,Y,Z,NX,NY,NZ", help="a point of the plane and its normal instead"),
    ] = None,
    surfaces: Annotated[bool, typer.Option("--surfaces", help="cut open shells and loose faces too")] = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """The exact section of a part by a plane, as lines, arcs, ellipses and splines."""
    with _Edge():
        from beadwright.pipeline import section_at, write_section

        cut = section_at(part, z=z, plane=plane, surfaces=surfaces)
        written = None if out is None else write_section(cut, out)
        if as_json:
            _print_json(cut.as_dict())
        elif not quiet:
            from beadwright.pipeline import show_section

            show_section(cut, written)


@app.command(epilog="Example: beadwright warm")
def warm(as_json: AsJson = False, quiet: Quiet = False) -> None:
    """Compile the numeric kernels now, once on this machine, so that no later command waits for it."""
    with _Edge():
        from beadwright.pipeline import compile_kernels

        with _progress(quiet=quiet) as progress:
            warmed = compile_kernels(progress)
        if as_json:
            _print_json({"seconds": round(warmed.seconds, 3), "caches": list(warmed.caches)})
        elif not quiet:
            _say(
                f"compiled kernels are in place after {warmed.seconds:.1f} s, in " + ", ".join(warmed.caches)
            )


def _option(flag: str, metavar: str, text: str) -> Any:
    return typer.Option(flag, metavar=metavar, help=text)


@app.command(epilog="Example: beadwright plan part.step -o out --width 10 --height 4 --contours 3")
def plan(
    part: Part,
    out: Annotated[
        Path, typer.Option("--out", "-o", metavar="DIR", help="output folder, made whole or not at all")
    ],
    tolerance: Annotated[
        str | None,
        _option("--tolerance", "MM", "greatest distance of arcs from the true curves [default: 0.010]"),
    ] = None,
    width: Annotated[str | None, _option("--width", "MM", "bead width [default: 8.4]")] = None,
    height: Annotated[str | None, _option("--height", "MM", "bead and layer height [default: 4]")] = None,
    bead_section: Annotated[
        str | None,
        _option(
            "--bead-section", "flat|round", "flat: tamped; round: spacing is area / height [default: flat]"
        ),
    ] = None,
    spacing: Annotated[
        str | None,
        _option("--spacing", "MM", "distance of neighbouring beads [default: by the bead section]"),
    ] = None,
    contours: Annotated[
        str | None, _option("--contours", "N", "contour beads of each loop [default: 2]")
    ] = None,
    bore: Annotated[
        str | None, _option("--bore", "MM", "of the nozzle [default: 7.62 for width 8.4]")
    ] = None,
    medial: Annotated[bool, typer.Option(help="one bead in the middle of walls that one can make")] = True,
    rule: Annotated[
        str | None,
        _option(
            "--rule",
            "neutral|outer|inner",
            "a layer covers the section at mid height, or all of the part in it, or nothing but the part"
            " [default: neutral]",
        ),
    ] = None,
    decimals: Annotated[str | None, _option("--decimals", "N", "of the coordinates [default: 4]")] = None,
    clearance: Annotated[
        str | None, _option("--clearance", "MM", "height of traverses above the layer [default: 20]")
    ] = None,
    feed: Annotated[str | None, _option("--feed", "MM/S", "speed along beads [default: 100]")] = None,
    scale: Annotated[str | None, _option("--scale", "S", "factor applied to the part [default: 1]")] = None,
    rotate: Annotated[
        str | None, _option("--rotate", "RX,RY,RZ", "degrees about X, then Y, then Z [default: 0,0,0]")
    ] = None,
    at: Annotated[
        str | None, _option("--at", "X,Y", "where the middle of the part stands, mm [default: 0,0]")
    ] = None,
    layers: Annotated[
        str | None, _option("--layers", "A:B", "only layers A up to B - 1 of the whole plan")
    ] = None,
    wall: Annotated[
        str | None, _option("--wall", "centre|left|right", "print open surfaces as walls of one bead")
    ] = None,
    workers: Annotated[
        str | None, _option("--workers", "N", "processes [default: up to all cores, if it pays]")
    ] = None,
    cluster: Annotated[
        str | None,
        _option("--cluster", "tcp://HOST:PORT", "layers are made by a running dask.distributed scheduler"),
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="replace an earlier output of ours")] = False,
    strict: Annotated[bool, typer.Option("--strict", help="warnings become errors")] = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """The main job: from the part to a program that a machine controller runs.

    Writes program.nc, plan.json and run.json. Exit code 0: done; 1: done, but with findings of level error.
    """
    given = {
        "tolerance": tolerance,
        "width": width,
        "height": height,
        "bead_section": bead_section,
        "spacing": spacing,
        "contours": contours,
        "bore": bore,
        "medial": None if medial else False,
        "rule": rule,
        "decimals": decimals,
        "clearance": clearance,
        "feed": feed,
        "scale": scale,
        "rotate": rotate,
        "at": at,
        "layers": layers,
        "wall": wall,
        "workers": workers,
        "overwrite": overwrite or None,
        "strict": strict or None,
    }
    with _Edge():
        from beadwright.pipeline import plan_part
        from beadwright.settings import resolve

        resolved = resolve(given)
        with _progress(quiet=quiet) as progress, _executor(cluster) as executor:
            result = plan_part(part, out, resolved=resolved, progress=progress, executor=executor)
        if as_json:
            _print_json(result.document)
        elif not quiet:
            from beadwright.pipeline import show_plan

            show_plan(result)
        raise typer.Exit(1 if result.has_errors else 0)


Number = float | None
Text = str | None


@app.command(epilog="Example: beadwright verify out/program.nc part.step --all")
def verify(
    program: Annotated[Path, typer.Argument(metavar="PROGRAM", help="RS274/NGC text, ours or not")],
    part: Part,
    layers: Annotated[int, _option("--layers", "N", "how many layers to measure, evenly spread")] = 10,
    every: Annotated[bool, typer.Option("--all", help="measure every layer")] = False,
    tolerance: Annotated[Number, _option("--tolerance", "MM", "allowed; else as stated, or 0.1")] = None,
    width: Annotated[Number, _option("--width", "MM", "of beads; else as stated, or inferred")] = None,
    height: Annotated[Number, _option("--height", "MM", "of layers; else as stated, or their step")] = None,
    bead_section: Annotated[Text, _option("--bead-section", "flat|round", "of the beads")] = None,
    density: Annotated[Number, _option("--density", "G/CM3", "for the mass")] = None,
    matrix: Annotated[Text, _option("--matrix", "12,NUMBERS", "part to machine, by rows")] = None,
    envelope: Annotated[Text, _option("--envelope", "X,Y,Z,X,Y,Z", "least and greatest place, mm")] = None,
    greatest_feed: Annotated[Number, _option("--greatest-feed", "MM/S", "limit of the feed")] = None,
    traverse: Annotated[Number, _option("--traverse-speed", "MM/S", "for the time of traverses")] = None,
    standstill: Annotated[float, _option("--standstill", "MM3", "what may flow out in one wait")] = 0.0,
    on: Annotated[Text, _option("--on", "WORDS", "extruder on; else as stated, or M3, M4")] = None,
    off: Annotated[Text, _option("--off", "WORDS", "extruder off; else as stated, or M5")] = None,
    axis: Annotated[Text, _option("--extruder-axis", "LETTER", "its advance is flow")] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """A program's text against the part, by a reader of its own and the CAD kernel's own section.

    Exit code 0: all holds; 1: it does not; 2: the program or the part cannot be read.
    """
    with _Edge():
        from beadwright.pipeline import verify_options, verify_program

        options = verify_options(
            layers=None if every else layers,
            tolerance=tolerance,
            bead=(width, height, bead_section),
            density=density,
            matrix=matrix,
            machine=(envelope, greatest_feed, traverse),
            standstill=standstill,
            flow=(on, off, axis),
        )
        with _progress(quiet=quiet) as progress:
            found = verify_program(program, part, options, progress)
        if as_json:
            _print_json(found.as_dict())
        elif not quiet:
            from beadwright.pipeline import show_verification

            show_verification(found)
        raise typer.Exit(0 if found.ok else 1)


def _executor(address: str | None) -> AbstractContextManager[Executor | None]:
    """Where layers are made: a cluster, or, if None, processes of this machine."""
    if address is None:
        return nullcontext()
    from beadwright.pipeline import cluster

    return cluster(address)


class _progress:  # noqa: N801  a context manager that reads as a verb
    """A progress bar on a terminal; elsewhere a line for what takes unexpectedly long, or silence."""

    def __init__(self, *, quiet: bool) -> None:
        self._quiet = quiet
        self._bar: Any = None

    def __enter__(self) -> Progress | None:
        if self._quiet:
            return None
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
            self._bar.update(task, description=stage, completed=done, total=total or None)

        return show

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()


def _note_compiling(stage: str, done: int, _total: int) -> None:
    """Say that compiling begins, where no bar shows it."""
    if stage.startswith("compiling") and not done:
        _say(f"{stage}; this takes half a minute or so")
