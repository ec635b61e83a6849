"""What all of the process costs: a plan with everything on takes at most 1.5 times the time of one without.

Both lay the same beads, of several widths, by rules of faces, with ribs, decks and base beads. One of them tells the
machine no more than its beads; the other has a calibrated extruder and its lag, a tamper and devices, places to keep
out of, a measured platform, start leads, laps, ways inside the part, times of layers, stops, prices and a release.
"""

from __future__ import annotations

import time

import cadquery as cq
import pytest

from beadwright.pipeline import plan_part
from beadwright.settings import parse_document, resolve

MACHINE = """
[controller]
dialect = "rs274-axis"
[extruder]
flow_control = "axis"
purge = 0.05
purge_place = [-1500, -800, 50]
[extruder.lag]
dead_up = 0.1
tau_up = 0.2
dead_down = 0.1
tau_down = 0.25
prime = 0.1
[tamper]
on_delay = 0.1
[[volume.keep_out]]
low = [1500, 900, 0]
high = [1600, 1000, 100]
[[device]]
name = "tamper"
on = ["M7"]
off = ["M9"]
on_at = ["bead start"]
off_at = ["bead end", "program end"]
[rates]
machine = 80
labour = 40
energy = 0.3
idle_power = 5
""" + "".join(
    f"[[extruder.calibration]]\nrpm = {rpm}\nrate = {rate}\n" for rpm, rate in ((10, 2), (60, 12), (120, 24))
)
SAME = """
base_beads = 2
face_rule = [{faces = "all", rule = "outer"}]
[widths]
inner = 9.0
rib = 9.0
[fill]
kind = "ribs"
rib_spacing = 150.0
decks_base = 2
decks_top = 2
"""
JOB = """
[sequence]
closure = "lap"
traverses = "inside"
[layer_time]
least = 20
greatest = 600
[release]
[[stop]]
layer = 20
why = "measure"
"""
# A platform that is half a millimetre high at one corner.
MAP = "x,y,z\n-600,-400,0\n600,-400,0\n-600,400,0\n600,400,0.5\n"
REPEATS = 2


@pytest.mark.bench
def test_everything_on_costs_at_most_half_again(tmp_path):
    part = (
        cq.Workplane()
        .ellipse(400, 250)
        .extrude(200, taper=3)
        .cut(cq.Workplane().ellipse(300, 150).extrude(160))
    )
    (tmp_path / "map.csv").write_text(MAP)
    bare_job = parse_document(SAME, name="job.toml", told="job")
    job = parse_document(SAME + JOB, name="job.toml", told="job")
    machine = parse_document(MACHINE, name="machine.toml", told="machine")
    ways = (
        ({}, {"job": bare_job}),
        ({"bed_map": {"file": str(tmp_path / "map.csv")}}, {"machine": machine, "job": job}),
    )
    seconds: list[list[float]] = [[], []]
    told: list[dict[str, float]] = [{}, {}]
    for k in range(REPEATS + 1):
        for row, (options, documents) in enumerate(ways):
            begun = time.process_time()
            made = plan_part(
                part, tmp_path / f"{k}-{row}", resolved=resolve({"workers": 1, **options}, **documents)
            )
            seconds[row].append(time.process_time() - begun)
            told[row] = made.run["seconds"]
    # The first pair loads kernels from the cache.
    without, everything = (min(each[1:]) for each in seconds)
    print(f"\nwithout {without:.2f} s, everything on {everything:.2f} s: {everything / without:.2f} times")
    for stage in sorted(told[1]):
        print(f"{stage:12s} {told[0].get(stage, 0.0):7.2f} {told[1][stage]:7.2f} s")
    assert everything <= 1.5 * without
