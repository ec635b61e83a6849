"""The stock that a program says it was asked to leave on faces, found on the part again."""

from __future__ import annotations

import json
import re
import urllib.parse
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from beadwright.brep import Model, placed
from beadwright.errors import InputError, SettingsError
from beadwright.pipeline._later import find_later
from beadwright.pipeline._stock import stock_amounts
from beadwright.settings import resolve
from beadwright.verify import VerifyOptions

_RULE = re.compile(r"^\(setting name=(stock|cut_later) value=(\S+) ", re.MULTILINE)


def asked_of(text: str, model: Model, options: VerifyOptions) -> VerifyOptions:
    """Options with the stock that the program's own settings tell.

    The faces are found on the part by the same rules as when it was planned; what the program makes of them is
    judged.

    Raises
    ------
    InputError
        A rule is told that finds no face of this part, or cannot be read.
    """
    told = {name: urllib.parse.unquote(value) for name, value in _RULE.findall(text)}
    if "stock" not in told or options.stock:
        return options
    try:
        settings = resolve({name: _bare(json.loads(value)) for name, value in told.items()}).settings
        solid = placed(model, _placement(text) if options.matrix is None else options.matrix)
        later = find_later(solid, settings, None)
        amounts = stock_amounts(solid, settings, later, None)
    except (ValueError, SettingsError) as reason:
        raise InputError(f"what the program says of its stock: {reason}") from reason
    return replace(options, stock={solid.faces[row].id: amount for row, amount in amounts.items()})


def _bare(value: object) -> object:
    """Keys without the unit that files of results end them with."""
    if isinstance(value, list):
        return [_bare(each) for each in value]
    if isinstance(value, dict):
        return {re.sub(r"_(mm|mm2|deg)$", "", key): _bare(each) for key, each in value.items()}
    return value


def _placement(text: str) -> npt.NDArray[np.float64]:
    """From the model to the machine; several copies stand there already."""
    if re.search(r"^\(copy ", text, re.MULTILINE):
        return np.eye(3, 4)
    rows = re.findall(r"^\(placement row=\d m=([^\s)]+)", text, re.MULTILINE)
    matrix = np.array([[float(v) for v in row.split(",")] for row in rows[:3]])
    if matrix.shape != (3, 4):
        raise InputError("the program does not say where the part stands")
    return matrix
