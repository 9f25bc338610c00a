"""Aperture macros: expressions, variables and comments to a list of primitives with numbers.

A macro cannot call another, variables are evaluated in order, an undefined variable is 0 (Gerber format specification, AM command).
Nesting of brackets is limited, division by zero is a MacroError: evaluation always ends.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

MAX_PRIMITIVES = 20_000
MAX_DEPTH = 60

_LEX = re.compile(r"\s*(?:(\d+\.?\d*(?:[eE][+-]?\d+)?|\.\d+(?:[eE][+-]?\d+)?)|\$(\d+)|([-+xX/()]))")
_PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)\Z")
_ASSIGN = re.compile(r"\$(\d+)\s*=(.*)\Z", re.S)


class MacroError(ValueError):
    """The macro cannot be evaluated; the message says why."""


def evaluate(text: str, variables: dict[int, float]) -> float:
    """The value of an arithmetic expression of +, -, x, /, brackets and $n.

    >>> evaluate("1+$1x(2-.5)/3", {1: 4.0})
    3.0
    """
    if _PLAIN.match(text):
        return float(text)
    value, rest = _sum(_lex(text), 0, variables, 0)
    if rest != -1:
        raise MacroError(f"the expression {text[:40]!r} has something left over")
    if not math.isfinite(value):
        raise MacroError(f"the expression {text[:40]!r} has no finite value")
    return value


Lexeme = tuple[str, str, str]


def _lex(text: str) -> list[Lexeme]:
    out: list[Lexeme] = []
    at, end = 0, len(text.rstrip())
    while at < end:
        match = _LEX.match(text, at)
        if match is None:
            raise MacroError(f"{text[at : at + 20]!r} is not an expression")
        out.append((match[1] or "", match[2] or "", match[3] or ""))
        at = match.end()
    return out


def _at(lexemes: Sequence[Lexeme], at: int) -> Lexeme:
    return lexemes[at] if 0 <= at < len(lexemes) else ("", "", "")


def _next(lexemes: Sequence[Lexeme], at: int) -> int:
    return at + 1 if at + 1 < len(lexemes) else -1


def _sum(lexemes: Sequence[Lexeme], at: int, variables: dict[int, float], depth: int) -> tuple[float, int]:
    value, at = _product(lexemes, at, variables, depth)
    while _at(lexemes, at)[2] in ("+", "-"):
        sign = 1.0 if lexemes[at][2] == "+" else -1.0
        term, at = _product(lexemes, _next(lexemes, at), variables, depth)
        value += sign * term
    return value, at


def _product(lexemes: Sequence[Lexeme], at: int, variables: dict[int, float], depth: int) -> tuple[float, int]:
    value, at = _atom(lexemes, at, variables, depth)
    while _at(lexemes, at)[2] in ("x", "X", "/"):
        divide = lexemes[at][2] == "/"
        factor, at = _atom(lexemes, _next(lexemes, at), variables, depth)
        if divide and factor == 0.0:
            raise MacroError("division by zero")
        value = value / factor if divide else value * factor
    return value, at


def _atom(lexemes: Sequence[Lexeme], at: int, variables: dict[int, float], depth: int) -> tuple[float, int]:
    if depth > MAX_DEPTH:
        raise MacroError(f"brackets or signs nested deeper than {MAX_DEPTH}")
    number, variable, sign = _at(lexemes, at)
    if number:
        return float(number), _next(lexemes, at)
    if variable:
        return variables.get(int(variable[:9]), 0.0), _next(lexemes, at)
    if sign in ("-", "+"):
        value, at = _atom(lexemes, _next(lexemes, at), variables, depth + 1)
        return (-value if sign == "-" else value), at
    if sign == "(":
        value, at = _sum(lexemes, _next(lexemes, at), variables, depth + 1)
        if _at(lexemes, at)[2] != ")":
            raise MacroError("a bracket is not closed")
        return value, _next(lexemes, at)
    raise MacroError("a number, $ variable or bracket was expected")


def primitives(body: Sequence[str], arguments: Sequence[float]) -> list[tuple[int, list[float]]]:
    """The macro's primitives as (code, values), with ``arguments`` as $1, $2 ...

    ``body`` holds the macro's statements without their ``*``. Raises MacroError.

    >>> primitives(["0 a comment", "$3=$1x2", "1,1,$3,0,0"], [0.5])
    [(1, [1.0, 1.0, 0.0, 0.0])]
    """
    variables = {k + 1: v for k, v in enumerate(arguments)}
    out: list[tuple[int, list[float]]] = []
    for raw in body:
        statement = raw.strip()
        if not statement or statement == "0" or (statement[0] == "0" and not statement[1].isdecimal()):
            continue
        assign = _ASSIGN.match(statement)
        if assign:
            variables[int(assign[1][:9])] = evaluate(_flat(assign[2]), variables)
            continue
        fields = _flat(statement).rstrip(",").split(",")
        values = [evaluate(f, variables) for f in fields]
        if not math.isfinite(values[0]) or abs(values[0]) > 1000:
            raise MacroError(f"{fields[0][:20]!r} is not a primitive code")
        out.append((int(values[0]), values[1:]))
        if len(out) > MAX_PRIMITIVES:
            raise MacroError(f"more than {MAX_PRIMITIVES} primitives")
    return out


def _flat(text: str) -> str:
    return "".join(text.split())
