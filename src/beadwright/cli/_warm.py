"""The command `warm`."""

from __future__ import annotations

from beadwright.cli._app import AsJson, Edge, Quiet, app, print_json, progress_bar, say


@app.command(epilog="Example: beadwright warm")
def warm(as_json: AsJson = False, quiet: Quiet = False) -> None:
    """Compile the numeric kernels now, once on this machine, so that no later command waits for it."""
    with Edge():
        from beadwright.pipeline import compile_kernels

        with progress_bar(quiet=quiet) as progress:
            warmed = compile_kernels(progress)
        if as_json:
            print_json({"seconds": round(warmed.seconds, 3), "caches": list(warmed.caches)})
        elif not quiet:
            say(f"compiled kernels are in place after {warmed.seconds:.1f} s, in " + ", ".join(warmed.caches))
