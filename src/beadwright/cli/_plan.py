"""The command `plan`."""

from __future__ import annotations

import functools
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from beadwright.cli._app import AsJson, Edge, Part, Quiet, app, option, print_json, progress_bar

if TYPE_CHECKING:
    from concurrent.futures import Executor


# The options in the groups in which help shows them.
beads = functools.partial(option, panel="Beads and layers")
inside = functools.partial(option, panel="Inside the contour beads")
placing = functools.partial(option, panel="Where and how the part stands")
taken = functools.partial(option, panel="What is printed of it")
written = functools.partial(option, panel="The program")
run = functools.partial(option, panel="The run")


@app.command(epilog="Example: beadwright plan part.step -o out --width 10 --height 4 --contours 3")
def plan(
    part: Part,
    out: Annotated[
        Path, typer.Option("--out", "-o", metavar="DIR", help="output folder, made whole or not at all")
    ],
    job: Annotated[
        str | None, option("--job", "FILE", "job file: these options by their names; an option wins")
    ] = None,
    machine: Annotated[
        str | None, option("--machine", "FILE", "machine file [default: a generic gantry]")
    ] = None,
    material: Annotated[
        str | None, option("--material", "CARD", "material file, or the name of a card [default: cf-abs-20]")
    ] = None,
    tolerance: Annotated[
        str | None,
        beads("--tolerance", "MM", "greatest distance of arcs from the true curves [default: 0.010]"),
    ] = None,
    width: Annotated[str | None, beads("--width", "MM", "bead width [default: 8.4]")] = None,
    outer_width: Annotated[
        str | None,
        beads(
            "--outer-width", "MM", "of the outermost contour bead; other roles in the job [default: --width]"
        ),
    ] = None,
    height: Annotated[str | None, beads("--height", "MM", "bead and layer height [default: 4]")] = None,
    bead_section: Annotated[
        str | None,
        beads("--bead-section", "KIND", "flat: tamped; round: spacing is area / height [default: flat]"),
    ] = None,
    spacing: Annotated[
        str | None,
        beads("--spacing", "MM", "distance of neighbouring beads [default: by the bead section]"),
    ] = None,
    rising: Annotated[
        bool,
        typer.Option(
            "--rising",
            rich_help_panel="Beads and layers",
            help="single-bead walls as one bead that climbs steadily, without closures",
        ),
    ] = False,
    rising_planes: Annotated[
        str | None,
        beads(
            "--rising-planes", "N", "planes a turn that follow a leaning rising wall at most [default: 24]"
        ),
    ] = None,
    contours: Annotated[
        str | None, beads("--contours", "N", "contour beads of each loop, or full [default: 2]")
    ] = None,
    fill: Annotated[
        str | None,
        inside("--fill", "KIND", "inside the contour beads: none, lines, contour or ribs [default: none]"),
    ] = None,
    fill_angles: Annotated[
        str | None,
        inside("--fill-angles", "A,B,...", "degrees of lines, one a layer, or of ribs [default: 0,90]"),
    ] = None,
    rib_spacing: Annotated[
        str | None, inside("--rib-spacing", "MM", "distance of neighbouring ribs [default: 100]")
    ] = None,
    decks: Annotated[
        str | None,
        inside("--decks", "N", "closed layers over and under every open place [default: 0]"),
    ] = None,
    corner_radius: Annotated[
        str | None,
        beads(
            "--corner-radius", "MM", "round sharp corners of contour beads by arcs [default: they stay sharp]"
        ),
    ] = None,
    contour_order: Annotated[
        str | None,
        beads("--contour-order", "WAY", "of contour beads: inward or outward [default: inward]"),
    ] = None,
    start_sites: Annotated[
        str | None,
        beads("--start-sites", "KIND", "where closed beads start: corner, spread or line [default: corner]"),
    ] = None,
    bore: Annotated[str | None, beads("--bore", "MM", "of the nozzle [default: 7.62 for width 8.4]")] = None,
    medial: Annotated[
        bool,
        typer.Option(
            rich_help_panel="Beads and layers", help="one bead in the middle of walls that one can make"
        ),
    ] = True,
    rule: Annotated[
        str | None,
        beads(
            "--rule",
            "RULE",
            "a layer covers the section at mid height (neutral), all of the part in it (outer), or nothing but"
            " the part (inner) [default: neutral]",
        ),
    ] = None,
    decimals: Annotated[str | None, written("--decimals", "N", "of the coordinates [default: 4]")] = None,
    clearance: Annotated[
        str | None, written("--clearance", "MM", "height of traverses above the layer [default: 20]")
    ] = None,
    feed: Annotated[str | None, written("--feed", "MM/S", "speed along beads [default: 100]")] = None,
    scale: Annotated[str | None, placing("--scale", "S", "factor applied to the part [default: 1]")] = None,
    rotate: Annotated[
        str | None, placing("--rotate", "RX,RY,RZ", "degrees about X, then Y, then Z [default: 0,0,0]")
    ] = None,
    at: Annotated[
        str | None, placing("--at", "X,Y", "where the middle of the part stands, mm [default: 0,0]")
    ] = None,
    copies: Annotated[
        str | None, placing("--copies", "N", "print so many of the part together, in rows [default: 1]")
    ] = None,
    gap: Annotated[
        str | None, placing("--gap", "MM", "least distance of parts set in rows [default: 50]")
    ] = None,
    base_beads: Annotated[
        str | None, placing("--base-beads", "N", "beads round the part's foot, to hold it [default: 0]")
    ] = None,
    parts: Annotated[
        str | None,
        placing("--parts", "WAY", "several: together by layers, or in-turn, one whole part after another"),
    ] = None,
    contraction: Annotated[
        str | None,
        placing(
            "--contraction", "X,Y,Z", "factors that make up for contraction, only as measured [default: 1]"
        ),
    ] = None,
    stock: Annotated[
        str | None, taken("--stock", "MM", "material left on all faces for machining; by face in the job")
    ] = None,
    finished: Annotated[
        str | None,
        taken("--finished", "FILE", "STEP file of the finished part, against which stock is judged"),
    ] = None,
    layers: Annotated[
        str | None, taken("--layers", "A:B", "only layers A up to B - 1 of the whole plan")
    ] = None,
    fit_arcs: Annotated[
        str | None,
        taken(
            "--fit-arcs",
            "MM",
            "meshes: tangent arcs this near to the chords of their sections [default: chords]",
        ),
    ] = None,
    bed_map: Annotated[
        str | None,
        placing(
            "--bed-map", "FILE", "measured heights x,y,z of the platform; the first layers even them out"
        ),
    ] = None,
    bed_map_layers: Annotated[
        str | None, placing("--bed-map-layers", "N", "how many layers share those heights [default: 3]")
    ] = None,
    wall: Annotated[
        str | None, taken("--wall", "SIDE", "open surfaces as walls of one bead: centre, left or right")
    ] = None,
    dialect: Annotated[
        str | None,
        written(
            "--dialect", "NAME", "words of the controller, or a file of them [default: the machine's, rs274]"
        ),
    ] = None,
    override: Annotated[
        str | None, written("--override", "RULES", "rules of safety that are broken on purpose, with commas")
    ] = None,
    release: Annotated[
        bool,
        typer.Option(
            "--release",
            rich_help_panel="The program",
            help="trial programs, list of files with hashes, and job record beside",
        ),
    ] = False,
    workers: Annotated[
        str | None, run("--workers", "N", "processes [default: up to all cores, if it pays]")
    ] = None,
    cluster: Annotated[
        str | None,
        run("--cluster", "URL", "tcp://HOST:PORT of a running dask.distributed scheduler that makes layers"),
    ] = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", rich_help_panel="The run", help="replace an earlier output of ours")
    ] = False,
    strict: Annotated[
        bool, typer.Option("--strict", rich_help_panel="The run", help="warnings become errors")
    ] = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """The main job: from the part to a program that a machine controller runs.

    Writes program.nc, plan.json, run.json and report.html, the sheet to look at. A job that cuts the part into
    segments ([[cut]]) gets a folder with these for each, and pieces.json. Exit code 0: done; 1: done, but
    with findings of level error.
    """
    given = {
        "tolerance": tolerance,
        "width": width,
        "widths": table(outer=outer_width),
        "height": height,
        "bead_section": bead_section,
        "spacing": spacing,
        "contours": contours,
        "rising": rising or None,
        "rising_planes": rising_planes,
        "fill": table(
            kind=fill, angles=fill_angles, rib_spacing=rib_spacing, decks_top=decks, decks_base=decks
        ),
        "sequence": table(parts=parts, contour_order=contour_order, sites=start_sites),
        "corner_radius": corner_radius,
        "bore": bore,
        "medial": None if medial else False,
        "rule": rule,
        "decimals": decimals,
        "clearance": clearance,
        "feed": feed,
        "scale": scale,
        "rotate": rotate,
        "at": at,
        "copies": copies,
        "gap": gap,
        "base_beads": base_beads,
        "contraction": contraction,
        "stock": stock,
        "finished": finished,
        "layers": layers,
        "fit_arcs": fit_arcs,
        "bed_map": table(file=bed_map, layers=bed_map_layers),
        "wall": wall,
        "dialect": dialect,
        "override": override,
        "release": {} if release else None,
        "workers": workers,
        "overwrite": overwrite or None,
        "strict": strict or None,
    }
    with Edge():
        from beadwright.pipeline import Pieces, plan_any
        from beadwright.settings import resolve

        resolved = resolve(given, job=job, machine=machine, material=material)
        with progress_bar(quiet=quiet) as progress, executor_at(cluster) as executor:
            result = plan_any(part, out, resolved=resolved, progress=progress, executor=executor)
        if as_json:
            print_json(result.document)
        elif not quiet:
            from beadwright.pipeline import show_pieces, show_plan

            if isinstance(result, Pieces):
                show_pieces(result)
            else:
                show_plan(result)
        raise typer.Exit(1 if result.has_errors else 0)


def table(**keys: str | None) -> dict[str, str] | None:
    """Those keys of a table of settings that were given; None if none was."""
    return {key: value for key, value in keys.items() if value is not None} or None


def executor_at(address: str | None) -> AbstractContextManager[Executor | None]:
    """Where layers are made: a cluster, or, if None, processes of this machine."""
    if address is None:
        return nullcontext()
    from beadwright.pipeline import cluster

    return cluster(address)
