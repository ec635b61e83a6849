"""Every error raised on purpose, each with the exit code it ends a command with.

::

    BeadwrightError                               exit
    ├── InputError      the user can mend it      2   StepError, SettingsError, OutputError
    ├── GeometryError   cannot be made as asked   3   BoundError
    └── InternalError   a broken invariant        70

A print that fails a check is a finding, never an exception.
"""

from __future__ import annotations

import os

INTERRUPTED = 130
"""Exit code of a command that was interrupted, by the keyboard or a signal to end."""


class BeadwrightError(Exception):
    """Base of all errors raised on purpose; never raised itself.

    The message says what was given, what was expected, where (file, entity, place with unit) and,
    where it is known, what to do about it.
    """

    exit_code = 70


class InputError(BeadwrightError):
    """Something that the user gave cannot be used; the message names the remedy."""

    exit_code = 2


class StepError(InputError):
    """A STEP file cannot be read, or what it holds cannot be printed."""


class SettingsError(InputError):
    """A setting is missing, misspelt or out of range."""


class OutputError(InputError):
    """The output cannot be written where it was asked for."""


class GeometryError(BeadwrightError):
    """The geometry cannot be made as asked, for example at this tolerance."""

    exit_code = 3


class BoundError(GeometryError):
    """An approximation could not be brought under its budget.

    Attributes
    ----------
    asked, reached : float
        The budget and the bound that was reached, mm.
    where : str
        Place, face or curve, for the reader.
    """

    def __init__(self, asked: float, reached: float, where: str) -> None:
        super().__init__(f"{where}: bound {reached:.3g} mm is above the {asked:.3g} mm asked for")
        self.asked, self.reached, self.where = asked, reached, where

    def __reduce__(self) -> tuple[type[BoundError], tuple[float, float, str]]:
        """Pickle by its own arguments, so that it comes through from a worker process."""
        return type(self), (self.asked, self.reached, self.where)


class InternalError(BeadwrightError):
    """An invariant of ours is broken: a fault of the program, to be reported."""

    exit_code = 70


def unexpected(fault: BaseException) -> InternalError:
    """An error of ours for one that nobody raised on purpose, with the place where it came up."""
    trace = fault.__traceback__
    where = ""
    while trace is not None:
        code = trace.tb_frame.f_code
        where = f" at {os.path.basename(code.co_filename)}:{trace.tb_lineno} in {code.co_name}"
        trace = trace.tb_next
    return InternalError(f"{type(fault).__name__}: {fault}{where}")
