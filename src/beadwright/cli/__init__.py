"""The commands as a program: options in, tables and progress on standard error, JSON on standard output.

One module a command; each is registered by its import, in the order in which help lists them.
"""

# isort: off
from beadwright.cli import (
    _examine as _examine,
    _section as _section,
    _plan as _plan,
    _replan as _replan,
    _coupon as _coupon,
    _init as _init,
    _record as _record,
    _verify as _verify,
    _compare as _compare,
    _meshway as _meshway,
    _view as _view,
    _export as _export,
    _warm as _warm,
)

# isort: on
from beadwright.cli._app import app, run

__all__ = ["app", "run"]
