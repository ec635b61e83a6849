"""From what was given to settings in range, or one error that lists every fault."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from pydantic import ValidationError

from beadwright.settings._base import Section, leaves, nested_faults, plain
from beadwright.settings._beside import faults_beside
from beadwright.settings._document import (
    DEFAULT_MATERIAL,
    Document,
    material_document,
    read_document,
)
from beadwright.settings._faults import dotted, fault, refusal
from beadwright.settings._lines import line_of
from beadwright.settings._machine import Machine
from beadwright.settings._material import Material
from beadwright.settings._plan import OF_THE_RUN, PlanSettings, key_of

Model = TypeVar("Model", bound=Section)
KeyPath = tuple[str | int, ...]

# Settings that are not told where they are not used.
IF_GIVEN = frozenset(
    {
        "wall",
        "stock",
        "cut_later",
        "earlier",
        "dialect",
        "heights",
        "stop",
        "override",
        "release",
        "place",
        "beside",
        "pad",
        "cut",
        "cut_down",
        "corner_radius",
        "finished",
        "face_rule",
        "bed_map",
    }
)

# What each document is called, and the option that takes it.
_KINDS: dict[type[Section], tuple[str, str]] = {
    PlanSettings: ("a job", "--job"),
    Machine: ("a machine", "--machine"),
    Material: ("a material", "--material"),
}

NOTHING = Document(name="", told="default", values={})


@dataclass(frozen=True, slots=True, kw_only=True)
class Resolved:
    """Settings, and where each came from.

    Attributes
    ----------
    settings : PlanSettings
        Of the job.
    machine : Machine
    material : Material
    source : mapping of str to str
        By setting: ``option`` where it was given so, ``job`` where it stands in the job file, else ``default``.
        Values of the machine by ``machine.`` and their dotted path, those of the material likewise.
    folder : Path or None
        Where the machine file stands, for files that it names.
    job_folder : Path or None
        Where the job file stands, likewise.
    """

    settings: PlanSettings
    machine: Machine
    material: Material
    source: Mapping[str, str]
    folder: Path | None = None
    job_folder: Path | None = None

    def as_dict(self) -> dict[str, dict[str, Any]]:
        """What the plan's JSON says of its settings: value and source by key with unit.

        Without what does not change the result (workers, overwrite). Spacing and bore are those really used.
        Keys of the machine and the material begin with ``machine.`` and ``material.``.
        """
        told: dict[str, dict[str, Any]] = {}
        for name in PlanSettings.model_fields:
            value, source = getattr(self.settings, name), self.source[name]
            if name in OF_THE_RUN or (name in IF_GIVEN and not value):
                continue
            if name == "spacing":
                value = self.settings.bead_spacing()
            if name == "lean_limit":
                value = self.settings.greatest_lean()
            if name == "bore":
                value = self.settings.nozzle_bore()
            if name == "dialect":
                value = Path(value).name
            if name == "layers":
                first, end = value
                value = f"{first}:{'' if end is None else end}"
            if isinstance(value, Section) and not value.LEAF:
                for path, key, each in leaves(value, (name,)):
                    told[key] = {"value": each, "from": self.source[dotted(path)]}
            else:
                told[key_of(name)] = {"value": _without_folder(name, plain(value)), "from": source}
        for prefix, card in (("machine", self.machine), ("material", self.material)):
            for path, key, value in leaves(card):
                source = self.source[dotted((prefix, *path))]
                value = Path(value).name if key == "controller.dialect" else _without_folder(key, value)
                told[f"{prefix}.{key}"] = {"value": value, "from": source}
        return told


def _without_folder(name: str, value: Any) -> Any:
    """A told value without the place of the file that it names."""
    if name == "finished":
        return Path(value).name
    return {**value, "file": Path(value["file"]).name} if name == "bed_map" else value


def resolve(
    options: Mapping[str, object],
    *,
    job: str | Path | Document | None = None,
    machine: str | Path | Document | None = None,
    material: str | Path | Document | None = None,
    source: str = "option",
) -> Resolved:
    """Check all that was given against its ranges and against each other.

    Parameters
    ----------
    options : mapping of str to object
        By setting name; text is read as numbers where numbers are wanted. None stands for not given. An
        option wins over the job file; of a table only the keys that it holds.
    job, machine, material : str, Path or Document, optional
        TOML files; for the material also the name of a card that comes with the package.
    source : str
        What is said of values that come from the options.

    Returns
    -------
    Resolved

    Raises
    ------
    SettingsError
        At least one is at fault; the message lists all of them, each with its file, line and key, and the
        range allowed.

    Examples
    --------
    >>> resolve({"width": "10", "at": "100,-50"}).settings.at
    (100.0, -50.0)
    >>> resolve({"width": 0, "hieght": 3})
    Traceback (most recent call last):
    ...
    beadwright.errors.SettingsError: 2 settings are at fault:
      width: 0 is out of range; allowed 0.5 to 100 mm
      hieght: there is no such setting; did you mean height?
    """
    given = {name: value for name, value in options.items() if value is not None}
    job_document = _read(job, "job")
    faults: list[str] = []
    values = _merged(_whole_tables(job_document.values), given)
    settings = _checked(PlanSettings, values, job_document, faults, given)
    machine_document = _read(machine, "machine")
    own_machine = _checked(Machine, machine_document.values, machine_document, faults)
    material_read = material_document(material) if isinstance(material, (str, Path)) else material
    own_material = (
        default_material()
        if material_read is None
        else _checked(Material, material_read.values, material_read, faults)
    )
    if settings is None or own_machine is None or own_material is None or faults:
        raise refusal(faults)
    told = {
        name: source if name in given else "job" if name in job_document.values else "default"
        for name in PlanSettings.model_fields
    }
    for name, value in settings:
        if isinstance(value, Section) and not value.LEAF:
            for path, _, _ in leaves(value, (name,)):
                told[dotted(path)] = (
                    source
                    if _holds(given, path)
                    else "job"
                    if _holds(job_document.values, path)
                    else "default"
                )
    told.update(_sources("machine", own_machine, machine_document))
    told.update(_sources("material", own_material, material_read or NOTHING))
    return Resolved(
        settings=settings,
        machine=own_machine,
        material=own_material,
        source=MappingProxyType(told),
        folder=machine_document.folder,
        job_folder=job_document.folder,
    )


def load(model: type[Model], document: Document) -> Model:
    """A document of any model of settings, checked whole.

    Raises
    ------
    SettingsError
        At least one value is at fault; the message lists all, each with file, line and key.
    """
    faults: list[str] = []
    made = _checked(model, document.values, document, faults)
    if made is None or faults:
        raise refusal(faults)
    return made


@functools.lru_cache(maxsize=1)
def default_material() -> Material:
    """The material card that is taken where none is given."""
    return Material.model_validate(dict(material_document(DEFAULT_MATERIAL).values))


def _read(given: str | Path | Document | None, told: str) -> Document:
    if given is None:
        return NOTHING
    return given if isinstance(given, Document) else read_document(given, told)


def _whole_tables(values: Mapping[str, Any]) -> Mapping[str, Any]:
    """A job's values with the file of a map in its table, so that an option may add to it."""
    file = values.get("bed_map")
    return {**values, "bed_map": {"file": file}} if isinstance(file, str) else values


def _merged(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    """Two sets of values: the upper one wins, table by table."""
    result = dict(below)
    for name, value in above.items():
        old = result.get(name)
        both = isinstance(old, Mapping) and isinstance(value, Mapping)
        result[name] = _merged(old, value) if both else value  # type: ignore[arg-type]
    return result


def _checked(
    model: type[Model],
    values: Mapping[str, Any],
    document: Document,
    faults: list[str],
    options: Mapping[str, Any] | None = None,
) -> Model | None:
    """The values as a model, or None and the faults told."""

    def tell(path: KeyPath, text: str) -> None:
        given = options is not None and path[0] in options
        place = "" if given else document.place(path)
        faults.append(f"{place}{dotted(path)}: {text}")

    if other := _misplaced(model, document):
        faults.append(f"{document.name}: {other}")
        return None
    try:
        made = model.model_validate(dict(values))
    except ValidationError as error:
        told: dict[KeyPath, str] = {}
        for detail in error.errors():
            told.setdefault(*fault(detail, model))

        def line(pair: tuple[KeyPath, str]) -> int:
            given = options is not None and pair[0][0] in options
            return 0 if given else line_of(pair[0], document.lines) or 0

        for path, text in sorted([*told.items(), *faults_beside(model, values, error)], key=line):
            tell(path, text)
        return None
    for path, text in nested_faults(made):
        tell(path, text)
    return made


def _misplaced(model: type[Section], document: Document) -> str:
    """What to say of a document that holds another kind's settings; "" where it does not."""
    own = {kind: len(document.values.keys() & kind.model_fields.keys()) for kind in _KINDS}
    likeliest = max(_KINDS, key=lambda kind: own[kind])
    if model not in own or own[likeliest] <= 2 * own[model]:
        return ""
    (is_one, option), (wanted, _) = _KINDS[likeliest], _KINDS[model]
    return f"holds the settings of {is_one}, where {wanted} is wanted; give it by {option}"


def _holds(values: Any, path: Sequence[str]) -> bool:
    """Whether values give what lies at a path of keys; one that stands for a whole table gives all of it."""
    for name in path:
        if not isinstance(values, Mapping):
            return values is not None
        values = values.get(name)
    return values is not None


def _sources(prefix: str, card: Section, document: Document) -> dict[str, str]:
    """Where each value of a card came from."""
    found = {}
    for path, _, _ in leaves(card):
        value: Any = document.values
        for name in path:
            value = value.get(name) if isinstance(value, Mapping) else None
        found[dotted((prefix, *path))] = "default" if value is None else document.told
    return found
