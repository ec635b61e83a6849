"""What a worker process does: calls from standard input, answers on standard output, until those end.

A worker is a fresh interpreter that knows nothing of the caller's main module, so that a plain script may
call `plan` without a guard, and that has not loaded the CAD kernel. It ends when its caller is gone.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, BinaryIO

from beadwright.errors import BeadwrightError, unexpected

BOOT = (
    "import sys, pickle\n"
    "try:\n"
    "    sys.path[:] = pickle.load(sys.stdin.buffer)\n"
    "except EOFError:\n"  # the caller was ended before it could send anything
    "    sys.exit(1)\n"
    "from beadwright.pipeline._worker import serve\n"
    "serve()\n"
)
"""What a worker's interpreter runs first: it looks for modules where its caller does."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a call gave: a value, or the error that it raised."""

    value: Any = None
    error: BeadwrightError | None = None


def serve() -> None:
    """Answer calls until the input ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the caller decides what an interruption means
    answers: BinaryIO = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever a library prints must not get between the answers
    with ThreadPoolExecutor(1) as thread:
        while True:
            try:
                function, arguments = pickle.load(sys.stdin.buffer)
            except EOFError:
                return
            pickle.dump(_answer(thread, function, arguments), answers, pickle.HIGHEST_PROTOCOL)
            answers.flush()


def _answer(thread: ThreadPoolExecutor, function: Callable[..., Any], arguments: tuple[Any, ...]) -> Answer:
    """Call in a thread, whose future keeps any error."""
    call = thread.submit(function, *arguments)
    fault = call.exception()
    if fault is None:
        return Answer(value=call.result())
    if isinstance(fault, BeadwrightError):
        return Answer(error=fault)
    return Answer(error=unexpected(fault))
