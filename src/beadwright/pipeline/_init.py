"""Settings files to begin with, written all or none."""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from pathlib import Path

from beadwright.errors import OutputError
from beadwright.pipeline._output import told
from beadwright.settings import DEFAULT_MATERIAL, DOCUMENTS, schema_text, template


def write_settings(folder: str | Path, *, material: str = DEFAULT_MATERIAL) -> tuple[Path, ...]:
    """Write machine.toml, material.toml and job.toml with all defaults, and their JSON Schemas.

    Parameters
    ----------
    folder : str or Path
        Made if it is not there.
    material : str
        Name of the material card that comes with the package.

    Returns
    -------
    tuple of Path
        The files.

    Raises
    ------
    SettingsError
        If there is no such card.
    OutputError
        If one of the files is there already (nothing is changed), or cannot be written.
    """
    texts = {f"{name}.toml": template(name, material=material) for name in DOCUMENTS}
    texts |= {f"{name}.schema.json": schema_text(name) for name in DOCUMENTS}
    path = Path(os.path.realpath(folder))
    for name in texts:
        if os.path.lexists(path / name):
            raise OutputError(
                f"{path} holds a {name} already, and init changes no file; choose another folder"
            )
    if path.exists() and not path.is_dir():
        raise OutputError(f"{path} is a file; give the folder another name")
    new = not path.exists()
    mark = secrets.token_hex(4)
    temporary = {name: path / f".{name}.{mark}.part" for name in texts}
    finished: list[Path] = []
    try:
        with told(f"cannot write settings files to {path}"):
            path.mkdir(exist_ok=True)
            for name, text in texts.items():
                temporary[name].write_text(text, encoding="utf-8", newline="\n")
            for name in texts:
                temporary[name].rename(path / name)
                finished.append(path / name)
    except BaseException:
        for each in (*finished, *temporary.values()):
            with suppress(OSError):  # where there is no folder, there is nothing to take away
                each.unlink(missing_ok=True)
        if new and path.is_dir():
            path.rmdir()
        raise
    return tuple(finished)
