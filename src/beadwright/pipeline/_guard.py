"""Reading a STEP file where a crash, a hang or a memory explosion of the CAD kernel does no harm."""

from __future__ import annotations

import io
import math
import os
import pickle
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from beadwright.brep import Model, Segments, Triangles
from beadwright.errors import BeadwrightError, InternalError, SettingsError, StepError

BOOT = (
    "import pickle, sys\n"
    "try:\n"
    "    sys.path[:], request = pickle.load(sys.stdin.buffer)\n"
    "except (EOFError, KeyboardInterrupt):\n"  # the caller was ended before it could ask
    "    sys.exit(1)\n"
    "from beadwright.kernel import serve_reader\n"
    "serve_reader(*request)\n"
)
"""What the reading process runs: it looks for modules where its caller does."""

CUTTING = BOOT.replace("serve_reader", "serve_segments")
"""What the process runs that cuts a part into segments."""

# The slowest public model needs 4 s a megabyte here; a machine may be ten times slower.
SECONDS, SECONDS_PER_MB = 120.0, 40.0
# The greediest public model takes 0.3 GB.
GIGABYTES = 8.0


def read_step(path: str | Path, *, walls: bool = False) -> Model:
    """Read a STEP file (AP203, AP214, AP242; plain or packed by gzip) in a process of its own.

    Lengths come out in mm whatever the file's unit is. Every placed copy of a body has rows of its own.
    Time and memory are limited; ``BEADWRIGHT_READ_SECONDS`` and ``BEADWRIGHT_READ_GB`` in the environment
    replace the limits (120 s and 40 s a megabyte; 8 GB).

    Parameters
    ----------
    path : str or Path
    walls : bool
        Take open shells and loose faces too. Otherwise they are an error, or left out with a finding
        where there are solids as well.

    Returns
    -------
    Model
        With ``findings`` of the health check and ``healing``, what was changed on the way.

    Raises
    ------
    StepError
        The file cannot be read, holds nothing to print, or crashes the CAD kernel or keeps it busy beyond
        the limits; the message says what to do.
    SettingsError
        A limit in the environment is no positive number.
    """
    return _ask(Path(path), walls, picture=False)[0]


def read_with_picture(path: str | Path, *, walls: bool = False) -> tuple[Model, Triangles | None]:
    """`read_step`, and triangles of the faces for a picture; None where the CAD kernel gave none."""
    return _ask(Path(path), walls, picture=True)


def cut_step(
    path: str | Path, planes: Sequence[tuple[Sequence[float], Sequence[float]]], *, name: str
) -> Segments:
    """Cut the solids of a STEP file by planes, in a process of its own, under the limits of `read_step`.

    Parameters
    ----------
    path : str or Path
    planes : sequence of (point, normal)
        In the model's own coordinates, mm.
    name : str
        Of the segments: ``segment`` gives segment_1 and so on.

    Raises
    ------
    StepError
        The file cannot be read or cut.
    GeometryError
        A plane does not meet the part, or the pieces are not valid.
    """
    path = Path(path)
    done, seconds = _run(path, CUTTING, (planes, name))
    answer = _next(io.BytesIO(done.stdout))
    if isinstance(answer, Segments):
        return answer
    raise _fault(path, answer, done, seconds)


def _ask(path: Path, walls: bool, *, picture: bool) -> tuple[Model, Triangles | None]:
    """What the reading process answers."""
    done, seconds = _run(path, BOOT, (walls,), (picture,))
    answers = io.BytesIO(done.stdout)
    answer = _next(answers)
    if isinstance(answer, Model) and (picture or done.returncode == 0):
        triangles = _next(answers)
        return answer, triangles if isinstance(triangles, Triangles) else None
    raise _fault(path, answer, done, seconds)


def _run(
    path: Path, boot: str, asked: tuple[object, ...], more: tuple[object, ...] = ()
) -> tuple[subprocess.CompletedProcess[bytes], float]:
    """A process that works on a file under the limits, when it has ended, and how long it might take, s."""
    seconds = _from_environment("BEADWRIGHT_READ_SECONDS", SECONDS + SECONDS_PER_MB * _megabytes(path))
    memory = int(1e9 * _from_environment("BEADWRIGHT_READ_GB", GIGABYTES))
    request = (str(path), *asked, math.ceil(seconds), memory, *more)
    try:
        done = subprocess.run(
            [sys.executable, "-c", boot],
            input=pickle.dumps((sys.path, request)),
            capture_output=True,
            timeout=seconds,
            start_new_session=True,  # an interruption from the keyboard goes to the caller alone
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise StepError(_too_slow(path, seconds)) from error
    return done, seconds


def _fault(
    path: Path, answer: object, done: subprocess.CompletedProcess[bytes], seconds: float
) -> BeadwrightError:
    """The error that a process told, or that its end tells."""
    if isinstance(answer, BeadwrightError):
        return answer
    if done.returncode == -signal.SIGXCPU:
        return StepError(_too_slow(path, seconds))
    return _crash(path, done.returncode, done.stderr)


def _next(answers: io.BytesIO) -> object:
    """The next thing that the reading process said; None if it ended in the middle of it."""
    try:
        return pickle.load(answers)
    except (EOFError, pickle.UnpicklingError):
        return None


def _crash(path: Path, code: int, said: bytes) -> BeadwrightError:
    """The error for a reader that ended without an answer."""
    if code < 0:
        return StepError(
            f"{path.name}: the CAD kernel crashed on this file ({_signal_name(-code)}); it is damaged or"
            " holds what the kernel does not master: export it again, or with another schema (AP214 or AP242)"
        )
    last = said.decode(errors="replace").strip().rpartition("\n")[2]
    return InternalError(f"the process that reads {path.name} ended with code {code}: {last}")


def _signal_name(number: int) -> str:
    try:
        return signal.Signals(number).name
    except ValueError:  # real-time signals have no names
        return f"signal {number}"


def _too_slow(path: Path, seconds: float) -> str:
    return (
        f"{path.name}: the CAD kernel did not finish reading within {seconds:.0f} s; the file is damaged or"
        " too large: export it again, or, if it really needs that long, raise BEADWRIGHT_READ_SECONDS in the"
        " environment"
    )


def _megabytes(path: Path) -> float:
    """Size of a file; of none where there is none, which the reader tells better."""
    try:
        return path.stat().st_size / 1e6
    except OSError:
        return 0.0


def _from_environment(name: str, default: float) -> float:
    """A positive number from the environment, or the default."""
    text = os.environ.get(name)
    if text is None:
        return default
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not 0.0 < number < math.inf:
        raise SettingsError(f"{name}: {text!r} in the environment is no positive number")
    return number
