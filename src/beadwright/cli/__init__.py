"""The commands as a program: options in, tables and progress on standard error, JSON on standard output.

One module a command; each is registered by its import, in the order in which help lists them.
"""

# isort: off
from beadwright.cli import (
    _examine,
    _section,
    _plan,
    _replan,
    _coupon,
    _init,
    _record,
    _verify,
    _compare,
    _meshway,
    _view,
    _export,
    _warm,
)

# isort: on
from beadwright.cli._app import app, run

__all__ = ["app", "run"]

# Imported for their registration only.
_COMMANDS = (
    _examine,
    _section,
    _plan,
    _replan,
    _coupon,
    _init,
    _record,
    _verify,
    _compare,
    _meshway,
    _view,
    _export,
    _warm,
)
