"""The command `plan`."""

from __future__ import annotations

from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from beadwright.cli._app import AsJson, Edge, Part, Quiet, app, option, print_json, progress_bar

if TYPE_CHECKING:
    from concurrent.futures import Executor


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
        str | None, option("--material", "NAME|FILE", "material card [default: cf-abs-20]")
    ] = None,
    tolerance: Annotated[
        str | None,
        option("--tolerance", "MM", "greatest distance of arcs from the true curves [default: 0.010]"),
    ] = None,
    width: Annotated[str | None, option("--width", "MM", "bead width [default: 8.4]")] = None,
    height: Annotated[str | None, option("--height", "MM", "bead and layer height [default: 4]")] = None,
    bead_section: Annotated[
        str | None,
        option(
            "--bead-section", "flat|round", "flat: tamped; round: spacing is area / height [default: flat]"
        ),
    ] = None,
    spacing: Annotated[
        str | None,
        option("--spacing", "MM", "distance of neighbouring beads [default: by the bead section]"),
    ] = None,
    contours: Annotated[
        str | None, option("--contours", "N|full", "contour beads of each loop [default: 2]")
    ] = None,
    fill: Annotated[
        str | None,
        option("--fill", "none|lines|contour|ribs", "what is laid inside the contour beads [default: none]"),
    ] = None,
    fill_angles: Annotated[
        str | None,
        option("--fill-angles", "A,B,...", "degrees of lines, one a layer, or of ribs [default: 0,90]"),
    ] = None,
    rib_spacing: Annotated[
        str | None, option("--rib-spacing", "MM", "distance of neighbouring ribs [default: 100]")
    ] = None,
    decks: Annotated[
        str | None,
        option("--decks", "N", "closed layers over and under every open place [default: 0]"),
    ] = None,
    contour_order: Annotated[
        str | None,
        option("--contour-order", "inward|outward", "which contour bead comes first [default: inward]"),
    ] = None,
    start_sites: Annotated[
        str | None,
        option("--start-sites", "corner|spread|line", "where closed beads start [default: corner]"),
    ] = None,
    bore: Annotated[str | None, option("--bore", "MM", "of the nozzle [default: 7.62 for width 8.4]")] = None,
    medial: Annotated[bool, typer.Option(help="one bead in the middle of walls that one can make")] = True,
    rule: Annotated[
        str | None,
        option(
            "--rule",
            "neutral|outer|inner",
            "a layer covers the section at mid height, or all of the part in it, or nothing but the part"
            " [default: neutral]",
        ),
    ] = None,
    decimals: Annotated[str | None, option("--decimals", "N", "of the coordinates [default: 4]")] = None,
    clearance: Annotated[
        str | None, option("--clearance", "MM", "height of traverses above the layer [default: 20]")
    ] = None,
    feed: Annotated[str | None, option("--feed", "MM/S", "speed along beads [default: 100]")] = None,
    scale: Annotated[str | None, option("--scale", "S", "factor applied to the part [default: 1]")] = None,
    rotate: Annotated[
        str | None, option("--rotate", "RX,RY,RZ", "degrees about X, then Y, then Z [default: 0,0,0]")
    ] = None,
    at: Annotated[
        str | None, option("--at", "X,Y", "where the middle of the part stands, mm [default: 0,0]")
    ] = None,
    copies: Annotated[
        str | None, option("--copies", "N", "print so many of the part together, in rows [default: 1]")
    ] = None,
    gap: Annotated[
        str | None, option("--gap", "MM", "least distance of parts set in rows [default: 50]")
    ] = None,
    base_beads: Annotated[
        str | None, option("--base-beads", "N", "beads round the part's foot, to hold it [default: 0]")
    ] = None,
    parts: Annotated[
        str | None,
        option(
            "--parts", "together|in-turn", "several: layer by layer, or one after another [default: together]"
        ),
    ] = None,
    contraction: Annotated[
        str | None,
        option(
            "--contraction", "X,Y,Z", "factors that make up for contraction, only as measured [default: 1]"
        ),
    ] = None,
    stock: Annotated[
        str | None, option("--stock", "MM", "material left on all faces for machining; by face in the job")
    ] = None,
    layers: Annotated[
        str | None, option("--layers", "A:B", "only layers A up to B - 1 of the whole plan")
    ] = None,
    fit_arcs: Annotated[
        str | None,
        option(
            "--fit-arcs", "MM", "meshes: arcs this near to the chords of their sections [default: chords]"
        ),
    ] = None,
    bed_map: Annotated[
        str | None,
        option("--bed-map", "FILE", "measured heights x,y,z of the platform; the first layers even them out"),
    ] = None,
    wall: Annotated[
        str | None, option("--wall", "centre|left|right", "print open surfaces as walls of one bead")
    ] = None,
    dialect: Annotated[
        str | None,
        option("--dialect", "NAME|FILE", "words of the controller [default: the machine's, rs274]"),
    ] = None,
    override: Annotated[
        str | None, option("--override", "RULES", "rules of safety that are broken on purpose, with commas")
    ] = None,
    release: Annotated[
        bool,
        typer.Option("--release", help="trial programs, list of files with hashes, and job record beside"),
    ] = False,
    workers: Annotated[
        str | None, option("--workers", "N", "processes [default: up to all cores, if it pays]")
    ] = None,
    cluster: Annotated[
        str | None,
        option("--cluster", "tcp://HOST:PORT", "layers are made by a running dask.distributed scheduler"),
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="replace an earlier output of ours")] = False,
    strict: Annotated[bool, typer.Option("--strict", help="warnings become errors")] = False,
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
        "height": height,
        "bead_section": bead_section,
        "spacing": spacing,
        "contours": contours,
        "fill": table(
            kind=fill, angles=fill_angles, rib_spacing=rib_spacing, decks_top=decks, decks_base=decks
        ),
        "sequence": table(parts=parts, contour_order=contour_order, sites=start_sites),
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
        "layers": layers,
        "fit_arcs": fit_arcs,
        "bed_map": table(file=bed_map),
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
