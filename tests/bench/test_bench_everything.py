"""What all of the process costs: a plan with everything on takes at most 1.5 times the time of one without."""

from __future__ import annotations

import time

import cadquery as cq
import pytest

from beadwright.pipeline import plan_part
from beadwright.settings import parse_document, resolve

MACHINE = """
[path]
mode = "continuous"
tolerance = 0.1
[extruder]
flow_control = "speed-tied"
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
JOB = '[layer_time]\nleast = 20\ngreatest = 600\n[release]\n[[stop]]\nlayer = 20\nwhy = "measure"\n'
REPEATS = 3


@pytest.mark.bench
def test_everything_on_costs_at_most_half_again(tmp_path):
    part = (
        cq.Workplane()
        .ellipse(400, 250)
        .extrude(400, taper=3)
        .cut(cq.Workplane().ellipse(360, 210).extrude(400))
    )
    machine = parse_document(MACHINE, name="machine.toml", told="machine")
    job = parse_document(JOB, name="job.toml", told="job")
    bare, full = [], []
    for k in range(REPEATS + 1):
        for seconds, told in ((bare, {}), (full, {"machine": machine, "job": job})):
            begun = time.process_time()
            plan_part(part, tmp_path / f"{k}-{len(told)}", resolved=resolve({"workers": 1}, **told))
            seconds.append(time.process_time() - begun)
    # The first pair loads kernels from the cache.
    without, everything = min(bare[1:]), min(full[1:])
    print(f"\nwithout {without:.2f} s, everything on {everything:.2f} s: {everything / without:.2f} times")
    assert everything <= 1.5 * without
