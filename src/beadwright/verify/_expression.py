"""Numbers as the standard writes them: plain, parameters, expressions (NISTIR 6556, 3.3.2)."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping

Parameters = Mapping[int, float]

PLAIN = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)")
NAME = re.compile(r"(ABS|ACOS|ASIN|ATAN|COS|EXP|FIX|FUP|LN|ROUND|SIN|SQRT|TAN)\[")
OPERATOR = re.compile(r"\*\*|\*|/|\+|-|MOD|AND|OR|XOR")
MAX_DEPTH = 20
N_PARAMETERS = 5400

# Table 3 of the standard: power first, then multiplication, then addition and logic.
RANK = {"**": 3, "*": 2, "/": 2, "MOD": 2, "+": 1, "-": 1, "AND": 1, "OR": 1, "XOR": 1}

UNARY: dict[str, Callable[[float], float]] = {
    "ABS": abs,
    "ACOS": lambda v: math.degrees(math.acos(v)),
    "ASIN": lambda v: math.degrees(math.asin(v)),
    "COS": lambda v: math.cos(math.radians(v)),
    "EXP": math.exp,
    "FIX": math.floor,
    "FUP": math.ceil,
    "LN": math.log,
    "ROUND": lambda v: math.floor(v + 0.5),
    "SIN": lambda v: math.sin(math.radians(v)),
    "SQRT": math.sqrt,
    "TAN": lambda v: math.tan(math.radians(v)),
}


def evaluate(text: str, place: int, parameters: Parameters, depth: int = 0) -> tuple[float, int]:
    """The real value that begins at a place of a line without blanks, and the place after it.

    Parameters
    ----------
    text : str
        In upper case.
    place : int
    parameters : mapping of int to float
        Those not in it are 0, as the standard starts them.
    depth : int
        How deep brackets stand.

    Raises
    ------
    ValueError
        What stands there is no real value.

    Examples
    --------
    >>> evaluate("[2**3-#5*[1+1]]", 0, {5: 1.5})
    (5.0, 15)
    >>> evaluate("ATAN[1]/[-1]", 0, {})
    (135.0, 12)
    """
    if depth > MAX_DEPTH:
        raise ValueError("brackets are nested too deep")
    plain = PLAIN.match(text, place)
    if plain:
        return float(plain.group()), plain.end()
    if text.startswith("#", place):
        index, after = evaluate(text, place + 1, parameters, depth + 1)
        if abs(index - round(index)) > 1e-4 or not 1 <= round(index) < N_PARAMETERS:
            raise ValueError(f"there is no parameter {index:g}")
        return parameters.get(round(index), 0.0), after
    if text.startswith("[", place):
        return _bracket(text, place, parameters, depth)
    name = NAME.match(text, place)
    if name is None:
        raise ValueError("a number is missing")
    value, after = _bracket(text, name.end() - 1, parameters, depth)
    if name[1] == "ATAN":
        if not text.startswith("/[", after):
            raise ValueError("ATAN wants [opposite]/[adjacent]")
        below, after = _bracket(text, after + 1, parameters, depth)
        return math.degrees(math.atan2(value, below)), after
    return float(UNARY[name[1]](value)), after


def _bracket(text: str, place: int, parameters: Parameters, depth: int) -> tuple[float, int]:
    """An expression in brackets that begins at a place."""
    values: list[float] = []
    operators: list[str] = []
    value, place = evaluate(text, place + 1, parameters, depth + 1)
    values.append(value)
    while not text.startswith("]", place):
        found = OPERATOR.match(text, place)
        if found is None:
            raise ValueError("a bracket does not close")
        while operators and RANK[operators[-1]] >= RANK[found.group()]:
            _reduce(values, operators)
        operators.append(found.group())
        value, place = evaluate(text, found.end(), parameters, depth + 1)
        values.append(value)
    while operators:
        _reduce(values, operators)
    return values[0], place + 1


def _reduce(values: list[float], operators: list[str]) -> None:
    """Apply the last operator to the last two values."""
    b, a, operator = values.pop(), values.pop(), operators.pop()
    try:
        values.append(_apply(operator, a, b))
    except (ArithmeticError, TypeError) as reason:
        raise ValueError(f"{a:g} {operator} {b:g} has no value") from reason


def _apply(operator: str, a: float, b: float) -> float:
    match operator:
        case "**":
            power = a**b
            if not isinstance(power, float):
                raise ArithmeticError("a root of a negative number")
            return power
        case "*":
            return a * b
        case "/":
            return a / b
        case "MOD":
            return a % b
        case "+":
            return a + b
        case "-":
            return a - b
        case "AND":
            return float(bool(a) and bool(b))
        case "OR":
            return float(bool(a) or bool(b))
        case _:
            return float(bool(a) != bool(b))
