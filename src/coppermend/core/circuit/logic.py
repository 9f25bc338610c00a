"""Gate functions: expressions over pin names, read once and evaluated with known and unknown levels.

An expression is made of pin names, ``!`` (not), ``&`` (and), ``^`` (exclusive or), ``|`` (or) and parentheses; ``!`` binds tightest,
then ``&``, ``^``, ``|``. Names are taken whole: ``/1G`` is a pin's name, ``!/1G`` its inverse. A level is True, False or None (not known).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

Level = bool | None
Tree = tuple[str, "Tree | str", "Tree | str"]

_TOKEN = re.compile(r"\s*([!&|^()]|[^\s!&|^()]+(?:\(\d+\))?)")
_BINARY = (("|",), ("^",), ("&",))


class BadExpression(ValueError):
    """An expression that cannot be read; the message says where."""


def names_in(text: str) -> tuple[str, ...]:
    """The pin names of an expression, in the order of first use.

    >>> names_in("!(1A & 1B)")
    ('1A', '1B')
    """
    return tuple(dict.fromkeys(one for one in _tokens(text) if one not in "!&|^()"))


def evaluate(text: str, levels: Mapping[str, Level]) -> Level:
    """The level of an expression; None where the known levels do not settle it. Names without a level count as not known.

    >>> evaluate("!(A & B)", {"A": False}), evaluate("!(A & B)", {"A": True}), evaluate("A ^ B", {"A": True, "B": False})
    (True, None, True)
    """
    return _value(_parse(text), levels)


def _tokens(text: str) -> list[str]:
    found: list[str] = []
    at = 0
    text = text.rstrip()
    while at < len(text):
        match = _TOKEN.match(text, at)
        if match is None:
            raise BadExpression(f"nothing readable at character {at + 1} of {text!r}")
        found.append(match.group(1))
        at = match.end()
    return found


@cache
def _parse(text: str) -> Tree | str:
    tokens = _tokens(text)
    tree, rest = _binary(tokens, 0, 0, text)
    if rest != len(tokens):
        raise BadExpression(f"{tokens[rest]!r} is not expected in {text!r}")
    return tree


def _binary(tokens: list[str], at: int, depth: int, text: str) -> tuple[Tree | str, int]:
    if depth == len(_BINARY):
        return _unary(tokens, at, text)
    left, at = _binary(tokens, at, depth + 1, text)
    while at < len(tokens) and tokens[at] in _BINARY[depth]:
        sign = tokens[at]
        right, at = _binary(tokens, at + 1, depth + 1, text)
        left = (sign, left, right)
    return left, at


def _unary(tokens: list[str], at: int, text: str) -> tuple[Tree | str, int]:
    if at >= len(tokens):
        raise BadExpression(f"{text!r} ends too early")
    token = tokens[at]
    if token == "!":
        inner, at = _unary(tokens, at + 1, text)
        return ("!", inner, ""), at
    if token == "(":
        inner, at = _binary(tokens, at + 1, 0, text)
        if at >= len(tokens) or tokens[at] != ")":
            raise BadExpression(f"a closing parenthesis is missing in {text!r}")
        return inner, at + 1
    if token in "&|^)":
        raise BadExpression(f"{token!r} is not expected in {text!r}")
    return token, at + 1


def _value(tree: Tree | str, levels: Mapping[str, Level]) -> Level:
    if isinstance(tree, str):
        return levels.get(tree)
    sign, one, two = tree
    left = _value(one, levels)
    if sign == "!":
        return None if left is None else not left
    right = _value(two, levels)
    if sign == "&":
        return False if left is False or right is False else (None if left is None or right is None else True)
    if sign == "|":
        return True if left is True or right is True else (None if left is None or right is None else False)
    return None if left is None or right is None else left != right


def tree_of(text: str) -> Tree | str:
    """The expression as a tree: a pin's name, or (sign, left, right) with ``!`` taking its left side only.

    >>> tree_of("!(A & B)")
    ('!', ('&', 'A', 'B'), '')
    """
    return _parse(text)
