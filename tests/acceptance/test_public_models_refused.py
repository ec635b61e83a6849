"""Public files without a solid end in an error with a name; what is wrong beside or in a solid is a finding."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

import beadwright
from beadwright import cli
from tests.acceptance._models import MODELS, REFUSED, need_models

need_models()


@pytest.mark.parametrize("name", REFUSED)
def test_a_file_without_a_solid_is_refused(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.app(["plan", str(MODELS / name), "-o", str(tmp_path / "out"), "--quiet"])

    out, err = capsys.readouterr()
    assert (ended.value.code, out) == (2, "")
    assert err.startswith(f"beadwright: error: {name}")
    assert re.search(REFUSED[name], " ".join(err.split()))
    assert list(tmp_path.iterdir()) == []


def test_a_surface_beside_a_solid_is_left_out_with_a_finding(tmp_path: Path) -> None:
    beadwright.plan(MODELS / "nist_ctc_05_inch.stp", tmp_path / "out", layers=(60, 61), workers=1)

    document = json.loads((tmp_path / "out" / "plan.json").read_text())
    found = [f for f in document["findings"] if f["code"] == "loose-surface"]
    assert len(found) == 1
    assert found[0]["level"] == "warning"
    # 209 faces in the file, 208 of them in the solid (index.csv)
    assert document["input"]["faces"] == 208


def test_a_piece_that_is_turned_inside_out_is_a_finding(tmp_path: Path) -> None:
    """The CAD kernel calls the solid invalid; its section is found wound the wrong way round."""
    name = "kcl_multi_axis_robot.step"
    low = float(beadwright.read_step(MODELS / name).box[0, 2])
    # The layer round the height -50.66 mm of the file, where the kernel measures 2070.89 mm2 of that solid.
    row = int((-50.66 - low) // 4.0)

    beadwright.plan(MODELS / name, tmp_path / "out", layers=(row, row + 1), workers=1)

    document = json.loads((tmp_path / "out" / "plan.json").read_text())
    (found,) = [f for f in document["findings"] if f["code"] == "inverted"]
    assert found["unit"] == "mm2"
    assert 1000.0 < found["measured"] < 3000.0
