"""House rules that no linter knows."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "beadwright"
MODULES = sorted(PACKAGE.rglob("*.py"))
ROOMS = sorted(p.name for p in PACKAGE.iterdir() if p.is_dir() and (p / "__init__.py").exists())

# Labels that belong to the look of some program (the plain words of geometry are not among them).
FOREIGN = ("infill", "skirt", "brim", "raft", "z_hop", "zhop", "retraction", "gyroid", "wipe_tower")


def tracked_files() -> list[Path]:
    """Text files that git tracks or would track."""
    run = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if run.returncode:
        pytest.skip("not a git checkout")
    texts = {".py", ".md", ".toml", ".json", ".yml", ".sh", ""}
    return [
        ROOT / f for f in run.stdout.split("\n") if f and Path(f).suffix in texts and (ROOT / f).is_file()
    ]


@pytest.mark.parametrize("module", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_module_holds_one_concept(module: Path) -> None:
    lines = module.read_text().count("\n")

    assert lines <= 400


def test_the_map_names_every_room_and_no_other() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text()
    table = re.findall(r"^\| `(\w+)` \|", text[text.index("## Rooms") :], flags=re.MULTILINE)

    assert sorted(r for r in table if (PACKAGE / r).is_dir()) == ROOMS


def test_no_foreign_label_in_names() -> None:
    found = [
        f"{module.name}: {word}"
        for module in MODULES
        for word in FOREIGN
        if re.search(rf"\b\w*{word}\w*\b", module.read_text(), flags=re.IGNORECASE)
    ]

    assert found == []


def test_no_path_of_a_machine_and_no_registry_in_any_file() -> None:
    bad = re.compile("|".join(["/wo" + "rk/", "/ro" + "ot/", r"https?://[\w.-]*py" + "pi"]))
    found = [f.name for f in tracked_files() if bad.search(f.read_text(errors="replace"))]

    assert found == []


def test_no_unfinished_work() -> None:
    marks = re.compile(r"\b(TO" + r"DO|FIX" + r"ME|XX" + r"X)\b")
    found = [m.name for m in MODULES if marks.search(m.read_text())]

    assert found == []


def test_nothing_heavy_is_imported_with_the_package() -> None:
    code = (
        "import sys, beadwright, beadwright.cli;"
        "print([m for m in ('numba', 'OCP', 'scipy', 'ezdxf', 'cadquery', 'matplotlib') if m in sys.modules])"
    )
    run = subprocess.run(
        [str(Path(__import__("sys").executable)), "-c", code], capture_output=True, text=True, check=True
    )

    assert run.stdout.strip() == "[]"


def test_codes_of_findings_are_words_with_hyphens() -> None:
    """A program looks for them: lower case, no underscore, no space."""
    codes = [
        (module.name, code)
        for module in MODULES
        for code in re.findall(r'\bcode="([^"]*)"', module.read_text())
    ]

    assert len(codes) > 40
    assert [c for c in codes if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*-?", c[1])] == []
