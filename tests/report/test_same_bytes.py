"""Another process, another order of hashes: the same bytes in every format."""

import os
import subprocess
import sys
from pathlib import Path

WRITE = """
import sys
from beadwright.report import write_dxf, write_section_json, write_step, write_svg
from tests.report._sections import mixed
loops, _ = mixed()
write_dxf(sys.argv[1] + "/a.dxf", loops, 42.5, face_names=["one", "", "two"])
write_svg(sys.argv[1] + "/a.svg", loops, 42.5)
write_step(sys.argv[1] + "/a.step", loops, 42.5)
write_section_json(sys.argv[1] + "/a.json", loops, asked=42.5, taken=42.5)
"""


def test_two_processes_write_the_same(tmp_path):
    written = []
    for seed in ("1", "2"):
        folder = tmp_path / seed
        folder.mkdir()
        subprocess.run(
            [sys.executable, "-c", WRITE, str(folder)],
            check=True,
            cwd=Path(__file__).parents[2],
            env=os.environ | {"PYTHONHASHSEED": seed},
        )
        written.append({path.name: path.read_bytes() for path in sorted(folder.iterdir())})
    assert len(written[0]) == 4
    assert [name for name in written[0] if written[0][name] != written[1][name]] == []
