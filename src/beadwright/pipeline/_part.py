"""What a command may be given as its part."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from beadwright.errors import StepError
from beadwright.pipeline._guard import read_with_picture, reading

if TYPE_CHECKING:  # the process that reads is under way before this one has loaded them
    from beadwright.brep import Model, Triangles

STEP_ENDINGS = (".step", ".stp", ".p21", ".gz")
"""What needs no look at the endings of meshes, for which their room is loaded; any other file may be STEP, too."""


def read_part(part: Any, *, walls: bool = False) -> Model:
    """A model from a path, a model, a cadquery Workplane or Shape, or a kernel shape.

    Parameters
    ----------
    part : str, Path, Model, cadquery.Workplane, cadquery.Shape or TopoDS_Shape
        A model is taken as it is. A mesh file (.stl .obj .ply .3mf, in mm) becomes a solid of plane faces.
    walls : bool
        Take open shells and loose faces too.

    Raises
    ------
    StepError
        It cannot be read, or holds nothing to print.
    """
    with part_coming(part, walls=walls) as model:
        return model()


@contextmanager
def part_coming(part: Any, *, walls: bool = False) -> Iterator[Callable[[], Model]]:
    """`read_part`, where a STEP file is read from now on, while the caller does something else.

    What is given waits for the model, and raises what `read_part` does.
    """
    if isinstance(part, (str, Path)) and not _is_mesh(part):
        with reading(part, walls=walls) as model:
            yield model
    else:
        yield lambda: _at_hand(part, walls)


def _at_hand(part: Any, walls: bool) -> Model:
    """A part that needs no process of its own."""
    from beadwright.brep import Model

    if isinstance(part, Model):
        if not part.faces:
            raise StepError(f"{part.file}: the model has no faces")
        return part
    if isinstance(part, (str, Path)):
        return _read_mesh(Path(part))[0]
    from beadwright.kernel import from_shape

    return from_shape(part, walls=walls)


def read_part_with_picture(part: Any, *, walls: bool = False) -> tuple[Model, Triangles | None]:
    """`read_part`, and triangles of its faces for a picture.

    A file is divided by the process that reads it. A shape of the caller's comes from the caller's own CAD
    kernel, in this process, and is divided here; where the kernel gives up, there is no picture. A mesh shows its
    own triangles.
    """
    if isinstance(part, (str, Path)):
        return _read_mesh(Path(part)) if _is_mesh(part) else read_with_picture(part, walls=walls)
    model = read_part(part, walls=walls)
    if not model.kernel_bytes:
        return model, None
    from beadwright import kernel

    # the kernel's exceptions have no base of their own; a future keeps any
    with ThreadPoolExecutor(1) as thread:
        call = thread.submit(kernel.display_triangles, model)
        return model, None if call.exception() is not None else call.result()


def _is_mesh(part: str | Path) -> bool:
    if Path(part).suffix.lower() in STEP_ENDINGS:
        return False
    from beadwright.mesh import ENDINGS

    return Path(part).suffix.lower() in ENDINGS


def _read_mesh(path: Path) -> tuple[Model, Triangles]:
    """A mesh file as a solid of plane faces, with the finding that says what that is worth, and its triangles."""
    from beadwright.mesh import as_model_with_picture, load

    mesh = load(path)
    return as_model_with_picture(mesh, sha256=hashlib.sha256(path.read_bytes()).hexdigest())


def describe_input(model: Model) -> dict[str, Any]:
    """What the JSON of a result says of its input: as read, before any placement."""
    return {
        "file": model.file,
        "sha256": model.sha256,
        "unit": model.unit,
        "solids": len(model.solids),
        "faces": len(model.faces),
        "volume_mm3": model.volume,
        "area_mm2": model.area,
        "box_mm": model.box.tolist(),
        "gap_mm": model.gap,
        "healing": list(model.healing),
    }
