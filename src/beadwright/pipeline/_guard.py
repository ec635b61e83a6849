"""Reading a STEP file where a crash, a hang or a memory explosion of the CAD kernel does no harm."""

from __future__ import annotations

import io
import math
import os
import pickle
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from beadwright.errors import BeadwrightError, InternalError, SettingsError, StepError

if TYPE_CHECKING:  # the process is under way before this one has loaded them
    from beadwright.brep import Model, Segments, Triangles

# The kernel's library makes 200,000 objects that stay; looking for unused ones among them takes 0.1 s, and undoing the
# library at the end 0.3 s more.
BOOT = (
    "import gc, os, pickle, sys\n"
    "gc.disable()\n"
    "try:\n"
    "    sys.path[:], request = pickle.load(sys.stdin.buffer)\n"
    "except (EOFError, KeyboardInterrupt):\n"  # the caller was ended before it could ask
    "    sys.exit(1)\n"
    "from beadwright.kernel import serve_reader\n"
    "gc.freeze()\n"
    "gc.enable()\n"
    "serve_reader(*request)\n"
    "os._exit(0)\n"
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
    with reading(path, walls=walls) as model:
        return model()


@contextmanager
def reading(path: str | Path, *, walls: bool = False) -> Iterator[Callable[[], Model]]:
    """`read_step`, begun at once; the model comes when what is given is called, which may wait for it.

    The process ends with the block at the latest. Errors as of `read_step`, when the model is asked for.
    """
    path = Path(path)
    with _begun(path, BOOT, (walls,), (False,)) as done:
        yield lambda: _model(path, *done(), picture=False)[0]


def read_with_picture(path: str | Path, *, walls: bool = False) -> tuple[Model, Triangles | None]:
    """`read_step`, and triangles of the faces for a picture; None where the CAD kernel gave none."""
    path = Path(path)
    with _begun(path, BOOT, (walls,), (True,)) as done:
        return _model(path, *done(), picture=True)


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
    from beadwright.brep import Segments

    path = Path(path)
    with _begun(path, CUTTING, (planes, name)) as ended:
        done, seconds = ended()
    answer = _next(io.BytesIO(done.stdout))
    if isinstance(answer, Segments):
        return answer
    raise _fault(path, answer, done, seconds)


def _model(
    path: Path, done: subprocess.CompletedProcess[bytes], seconds: float, *, picture: bool
) -> tuple[Model, Triangles | None]:
    """What the reading process answered."""
    from beadwright.brep import Model, Triangles

    answers = io.BytesIO(done.stdout)
    answer = _next(answers)
    if isinstance(answer, Model) and (picture or done.returncode == 0):
        triangles = _next(answers)
        return answer, triangles if isinstance(triangles, Triangles) else None
    raise _fault(path, answer, done, seconds)


Ended = Callable[[], tuple[subprocess.CompletedProcess[bytes], float]]
"""Waits for a process; what it left, and how long it might take, s."""


@contextmanager
def _begun(
    path: Path, boot: str, asked: tuple[object, ...], more: tuple[object, ...] = ()
) -> Iterator[Ended]:
    """A process that works on a file under the limits from now on; nothing of it is left after the block."""
    seconds = _from_environment("BEADWRIGHT_READ_SECONDS", SECONDS + SECONDS_PER_MB * _megabytes(path))
    memory = int(1e9 * _from_environment("BEADWRIGHT_READ_GB", GIGABYTES))
    request = (str(path), *asked, math.ceil(seconds), memory, *more)
    command = [sys.executable, "-c", boot]

    def ended() -> tuple[subprocess.CompletedProcess[bytes], float]:
        try:
            out, err = process.communicate(timeout=seconds)
        except subprocess.TimeoutExpired as error:
            raise StepError(_too_slow(path, seconds)) from error
        return subprocess.CompletedProcess(command, process.returncode, out, err), seconds

    with subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,  # an interruption from the keyboard goes to the caller alone
    ) as process:
        try:
            _tell(process, pickle.dumps((sys.path, request)))
            yield ended
        finally:
            process.kill()  # of one that has ended there is nothing to kill


def _tell(process: subprocess.Popen[bytes], request: bytes) -> None:
    """Give a process its request; one that has ended already tells by its end why."""
    if process.stdin is not None:
        with suppress(BrokenPipeError):
            process.stdin.write(request)
        with suppress(BrokenPipeError):
            process.stdin.close()
        process.stdin = None  # else `communicate` would flush what is closed


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
