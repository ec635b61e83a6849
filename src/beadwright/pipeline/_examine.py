"""What is in a file, is it printable and why not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Unpack

from beadwright.errors import GeometryError, StepError
from beadwright.numeric import Finding, counted
from beadwright.pipeline._part import describe_input, part_coming, read_part

if TYPE_CHECKING:  # loaded while another process reads the part
    from beadwright.brep import Model
    from beadwright.pipeline._advice import Advice
    from beadwright.settings import PlanOptions, PlanSettings

Progress = Callable[[str, int, int], None]
"""Called with the stage, how much is done, and how much there is (0: not known)."""

# Parts of this field are 0.3 to 6 m long; far outside that a unit was probably taken for another.
SMALL_MM, LARGE_MM = 30.0, 20_000.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Examination:
    """What `examine` found.

    Attributes
    ----------
    model : Model
        As read, in its own coordinates.
    printable : bool
        Whether `plan` takes it without `wall`.
    findings : tuple of Finding
        Of the health check; of level error where it is not printable.
    advice : tuple of str
        What to look at or to do, a sentence each.
    pose : Advice or None
        What was measured in the pose, for the bead; None for what is not printable.
    """

    model: Model
    printable: bool
    findings: tuple[Finding, ...]
    advice: tuple[str, ...]
    pose: Advice | None = None

    def as_dict(self) -> dict[str, Any]:
        """As JSON has it."""
        model = self.model
        return {
            "format": "beadwright examination 1",
            "printable": self.printable,
            "input": {**describe_input(model), "schema": model.schema},
            "size_mm": (model.box[1] - model.box[0]).tolist(),
            "kinds": self.kinds(),
            "solids": [
                {"name": s.name, "colour": s.colour, "volume_mm3": s.volume, "shells": len(s.shells)}
                for s in model.solids
            ],
            "faces": [
                {"id": f.id, "name": f.name, "colour": f.colour, "kind": f.kind, "area_mm2": f.area}
                for f in model.faces
            ],
            "findings": [finding.as_dict() for finding in self.findings],
            "advice": list(self.advice),
            **({} if self.pose is None else {"pose": self.pose.as_dict()}),
        }

    def kinds(self) -> dict[str, int]:
        """Number of faces of each surface kind, the most frequent first."""
        counted = Counter(face.kind for face in self.model.faces)
        return dict(sorted(counted.items(), key=lambda pair: (-pair[1], pair[0])))


def examine(
    part: Any,
    *,
    job: str | Path | None = None,
    progress: Progress | None = None,
    **options: Unpack[PlanOptions],
) -> Examination:
    """Read a part and judge whether it can be printed, and how well in its pose and with a bead.

    Parameters
    ----------
    part : str, Path, cadquery.Workplane, cadquery.Shape or TopoDS_Shape
        A STEP file (plain or packed by gzip) or a shape in mm.
    job : str or Path, optional
        Job file: pose, bead, and by its stock the faces that are machined; an option wins.
    progress : callable, optional
        Called as ``progress(stage, done, total)``.
    **options
        As for `plan`: ``rotate``, ``scale``, ``width``, ``height``, ``bead_section``, ``lean_limit``, ``stock``.

    Returns
    -------
    Examination
        Also for an open surface: not printable, with the reason as a finding of level error.

    Raises
    ------
    StepError
        Nothing can be read from it.
    SettingsError
        Options at fault.
    """
    tell = progress or _silent
    tell("reading", 0, 0)
    try:
        with part_coming(part) as coming:
            settings = _meanwhile(options, job)
            model = coming()
    except StepError as reason:
        opened = read_part(part, walls=True)  # raises its own reason if there is nothing at all
        error = Finding(code="not-printable", level="error", text=str(reason))
        advice = ("as it is, it can be printed as a wall of one bead: `--wall centre`, `left` or `right`",)
        return Examination(
            model=opened,
            printable=False,
            findings=(error, *opened.findings),
            advice=(*advice, *_advice(opened)),
        )
    tell("judging", 0, 0)
    from beadwright.pipeline._advice import advise

    findings, pose, said = model.findings, None, _advice(model)
    try:
        pose = advise(model, settings)
        said = (*said, *pose.sentences(settings))
    except GeometryError as fault:
        text = f"walls, lean and poses could not be judged: {fault}"
        findings = (*findings, Finding(code="advice-missing", level="warning", text=text))
    return Examination(model=model, printable=True, findings=findings, advice=said, pose=pose)


def _meanwhile(options: PlanOptions, job: str | Path | None) -> PlanSettings:
    """Resolve the options, and load what judging needs, while the part is being read."""
    from beadwright.settings import resolve

    settings = resolve(options, job=job).settings
    from beadwright.pipeline import _advice as _advice
    from beadwright.pipeline._load import load_kernels

    load_kernels()
    return settings


def _silent(_stage: str, _done: int, _total: int) -> None:
    """Nobody wants to know how far it is."""


def _advice(model: Model) -> tuple[str, ...]:
    """What a user should look at before planning."""
    size = model.box[1] - model.box[0]
    said = []
    if size.max() < SMALL_MM:
        said.append(f"the part is only {size.max():.4g} mm long; check the unit, or use `--scale`")
    if size.max() > LARGE_MM:
        said.append(f"the part is {size.max() / 1000:.4g} m long; check the unit, or use `--scale`")
    if size[2] > 4 * size[:2].min() and size[2] > 1000:
        said.append("the part is tall and slender as it stands; `--rotate` lays it down")
    if len(model.solids) > 1:
        said.append(
            f"{counted(len(model.solids), 'solid')} are printed together as one region where they touch or overlap"
        )
    if model.healing:
        said.append(f"the reader mended {counted(len(model.healing), 'thing')}; see `healing` in the JSON")
    return tuple(said)
