"""The process that reads a file may crash, hang or take all memory: the caller gets an error in words.

What goes wrong is planted in place of the reader, so that the outcome does not depend on the CAD kernel.
"""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

import beadwright
from beadwright.errors import InternalError, SettingsError, StepError
from beadwright.pipeline import _guard

EXAMPLES = Path(__file__).parents[2] / "step_examples"
TAKE = "import pickle, sys\nsys.path[:], request = pickle.load(sys.stdin.buffer)\n"
PLANTED_READER = (
    TAKE
    + "import beadwright.kernel._reader as reader\n"
    + "def read_step(path, walls):\n    {body}\n"
    + "reader.read_step = read_step\nreader.serve(*request)\n"
)


def plant(monkeypatch: pytest.MonkeyPatch, code: str) -> None:
    monkeypatch.setattr(_guard, "BOOT", code)


@pytest.fixture
def part(tmp_path: Path) -> Path:
    path = tmp_path / "part.step"
    path.write_text("anything")
    return path


def test_a_model_comes_through_as_the_kernel_room_made_it() -> None:
    from beadwright.kernel import read_step

    path = EXAMPLES / "quay_bench.step"

    found = _guard.read_step(path)

    assert pickle.dumps(found) == pickle.dumps(pickle.loads(pickle.dumps(read_step(path))))
    assert np.all(found.box[1] > found.box[0])


def test_the_caller_does_not_load_the_kernel() -> None:
    path = str(EXAMPLES / "quay_bench.step")
    code = f"import beadwright, sys; beadwright.read_step({path!r}); print('OCP' in sys.modules)"

    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout == "False\n"


@pytest.mark.parametrize("number", [signal.SIGSEGV, signal.SIGABRT, signal.SIGFPE])
def test_a_crash_names_the_file_and_the_signal(
    monkeypatch: pytest.MonkeyPatch, part: Path, number: signal.Signals
) -> None:
    plant(monkeypatch, TAKE + f"import os; os.kill(os.getpid(), {int(number)})")

    with pytest.raises(StepError, match=rf"part\.step: the CAD kernel crashed .*{number.name}"):
        _guard.read_step(part)


@pytest.mark.parametrize("body", ["import time; time.sleep(60)", "while True: pass"])
def test_a_hang_ends_at_the_limit(monkeypatch: pytest.MonkeyPatch, part: Path, body: str) -> None:
    plant(monkeypatch, PLANTED_READER.format(body=body))
    monkeypatch.setenv("BEADWRIGHT_READ_SECONDS", "3")
    begun = time.monotonic()

    with pytest.raises(StepError, match=r"part\.step: .* within 3 s"):
        _guard.read_step(part)
    assert time.monotonic() - begun < 30


def test_a_reader_whose_caller_is_gone_does_not_spin_for_ever(part: Path) -> None:
    boot = PLANTED_READER.format(body="while True: pass")
    reader = subprocess.Popen([sys.executable, "-c", boot], stdin=subprocess.PIPE, stderr=subprocess.DEVNULL)

    reader.communicate(pickle.dumps((sys.path, (str(part), False, 3, 10**9))), timeout=60)

    assert reader.returncode == -signal.SIGXCPU


def test_more_memory_than_the_limit_is_refused(monkeypatch: pytest.MonkeyPatch, part: Path) -> None:
    plant(monkeypatch, PLANTED_READER.format(body="return bytes(2_000_000_000)"))
    monkeypatch.setenv("BEADWRIGHT_READ_GB", "1")

    with pytest.raises(StepError, match=r"part\.step: .* more than 1 GB of memory"):
        _guard.read_step(part)


def test_an_exception_of_the_kernel_is_the_files_fault(monkeypatch: pytest.MonkeyPatch, part: Path) -> None:
    plant(
        monkeypatch,
        PLANTED_READER.format(body="from OCP.gp import gp_Dir; gp_Dir(0, 0, 0)"),
    )

    with pytest.raises(StepError, match=r"part\.step: the CAD kernel gives up .*Standard_ConstructionError"):
        _guard.read_step(part)


def test_any_other_exception_is_ours(monkeypatch: pytest.MonkeyPatch, part: Path) -> None:
    plant(monkeypatch, PLANTED_READER.format(body="return 1 // 0"))

    with pytest.raises(InternalError, match=r"ZeroDivisionError: .* at "):
        _guard.read_step(part)


def test_a_reader_that_cannot_start_tells_its_last_words(monkeypatch: pytest.MonkeyPatch, part: Path) -> None:
    plant(monkeypatch, TAKE + "raise SystemExit('no such library')")

    with pytest.raises(InternalError, match="code 1: no such library"):
        _guard.read_step(part)


@pytest.mark.parametrize("value", ["", "soon", "0", "-1", "nan", "inf"])
def test_limits_must_be_positive_numbers(monkeypatch: pytest.MonkeyPatch, part: Path, value: str) -> None:
    monkeypatch.setenv("BEADWRIGHT_READ_SECONDS", value)

    with pytest.raises(SettingsError, match="BEADWRIGHT_READ_SECONDS"):
        _guard.read_step(part)


def test_a_crash_ends_the_command_with_2_and_writes_nothing(tmp_path: Path) -> None:
    # A keyword of this file is damaged such that the kernel's reader follows a null reference.
    from tests.hostile._mutants import mutant

    damaged = tmp_path / "damaged.step"
    damaged.write_bytes(mutant((EXAMPLES / "cradle_chocks.step").read_bytes(), 0)[1])

    done = subprocess.run(
        [sys.executable, "-m", "beadwright", "plan", str(damaged), "-o", str(tmp_path / "out")],
        capture_output=True,
        text=True,
        check=False,
    )

    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("beadwright: error: damaged.step: ")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["damaged.step"]


def test_a_part_of_absurd_size_is_refused(tmp_path: Path) -> None:
    text = (EXAMPLES / "quay_bench.step").read_text()
    head, _, tail = text.partition("CARTESIAN_POINT('',(")
    path = tmp_path / "far.step"
    path.write_text(head + "CARTESIAN_POINT('',(1.E33," + tail.partition(",")[2])

    with pytest.raises(StepError, match=r"far\.step"):
        beadwright.read_step(path)


def test_a_reader_begins_at_once_and_ends_with_its_block(
    monkeypatch: pytest.MonkeyPatch, part: Path, tmp_path: Path
) -> None:
    """The caller may find a fault of its own meanwhile: nobody waits for the file then, and no process is left."""
    told = tmp_path / "pid"
    plant(
        monkeypatch,
        TAKE + f"import os, time\nopen({str(told)!r}, 'w').write(str(os.getpid()))\ntime.sleep(60)",
    )
    begun = time.monotonic()

    def caller() -> None:
        with _guard.reading(part):
            while not (told.exists() and told.read_text()) and time.monotonic() - begun < 30:
                time.sleep(0.02)
            raise SettingsError("a fault of the caller")

    with pytest.raises(SettingsError, match="a fault of the caller"):
        caller()
    assert time.monotonic() - begun < 30
    with pytest.raises(ProcessLookupError):
        os.kill(int(told.read_text()), 0)


def test_an_answer_waits_until_the_caller_asks_for_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """More than a pipe holds (64 kB): the reader stands until it is read, and its answer comes whole."""
    body = "from dataclasses import replace; from beadwright.kernel import read_step as own"
    body += "; return replace(own(path, walls=walls), kernel_bytes=bytes(300_000))"
    plant(monkeypatch, PLANTED_READER.format(body=body))

    with _guard.reading(EXAMPLES / "quay_bench.step") as model:
        time.sleep(2)
        found = model()

    assert found.kernel_bytes == bytes(300_000)
    assert len(found.faces) > 1
