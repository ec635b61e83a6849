"""A file is written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from beadwright.errors import OutputError


def write_whole(path: str | Path, data: bytes) -> Path:
    """Write a file under a temporary name beside its place, then rename it there.

    Parameters
    ----------
    path : str or Path
        An earlier file of that name is replaced at once, never left half written.
    data : bytes

    Returns
    -------
    Path

    Raises
    ------
    OutputError
        The folder is not there, not writable, or full. Nothing is left behind.
    """
    path = Path(path)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
    except OSError as error:
        raise OutputError(f"{path}: cannot be written ({error.strerror}); check the folder") from error
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.chmod(0o666 & ~_mask())
        part.replace(path)
    except OSError as error:
        raise OutputError(f"{path}: cannot be written ({error.strerror}); nothing was left behind") from error
    finally:
        # gone already where the rename went well; else (also on an interrupt) nothing stays behind
        part.unlink(missing_ok=True)
    return path


def _mask() -> int:
    """The process's own mask of permissions, which a temporary file ignores."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
