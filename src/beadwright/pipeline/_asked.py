"""The stock and the rules that a program says it was asked for on faces, found on the part again."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import TYPE_CHECKING

from beadwright.brep import Model, placed
from beadwright.errors import InputError, SettingsError
from beadwright.pipeline._later import find_later
from beadwright.pipeline._rules import rules_asked
from beadwright.pipeline._stock import stock_amounts
from beadwright.settings import resolve

if TYPE_CHECKING:
    from beadwright.verify import Told, VerifyOptions


ASKED = ("stock", "cut_later", "rule", "face_rule")
"""Settings that say what of the part is covered where."""


def asked_of(text: str, model: Model, options: VerifyOptions) -> VerifyOptions:
    """Options with the stock and the rules of faces that the program's own settings tell.

    The faces are found on the part by the same rules as when it was planned; what the program makes of them is
    judged.

    Raises
    ------
    InputError
        A rule is told that finds no face of this part, or cannot be read.
    """
    from beadwright.verify import told_head  # loads the CAD kernel, which no worker needs

    head = told_head(text)
    told: dict[str, str] = {name: head.settings[name] for name in ASKED if name in head.settings}
    if not {"stock", "face_rule"} & told.keys() or options.stock or options.rules:
        return options
    try:
        # a rule is a word of its own, what stands in tables is JSON
        read = {name: value if name == "rule" else _bare(json.loads(value)) for name, value in told.items()}
        settings = resolve(read).settings
        solid, stretched = _standing(head, model, options)
        later = find_later(solid, settings, None)
        amounts = stock_amounts(solid, settings, later, None)
        rules = rules_asked(solid, settings, None)
    except (ValueError, SettingsError) as reason:
        raise InputError(f"what the program says of its faces: {reason}") from reason
    stock = {solid.faces[row].id: amount for row, amount in amounts.items()}
    by_face = {face.id: rules.get(row, settings.rule) for row, face in enumerate(solid.faces)}
    return replace(
        options,
        stock=stock,
        rules={key: rule for key, rule in by_face.items() if rule != "neutral"} if rules else {},
        stretched=solid if stretched else None,
    )


def _bare(value: object) -> object:
    """Keys without the unit that files of results end them with."""
    if isinstance(value, list):
        return [_bare(each) for each in value]
    if isinstance(value, dict):
        return {re.sub(r"_(mm|mm2|deg)$", "", key): _bare(each) for key, each in value.items()}
    return value


def _standing(told: Told, model: Model, options: VerifyOptions) -> tuple[Model, bool]:
    """The part as it stands in the machine, contraction included, and whether that is more than a similarity."""
    if options.matrix is not None:
        return placed(model, options.matrix), False
    matrix, stretch, whole = told.similarity(), told.stretch(), told.placement()
    if matrix is None or stretch is None or whole is None:
        raise InputError("the program does not say where the part stands")
    factors, at = stretch
    if len(set(factors)) == 1:
        return placed(model, whole), False
    from beadwright.kernel import contracted

    return contracted(model, matrix, factors, at), True
