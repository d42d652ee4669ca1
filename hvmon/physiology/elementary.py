"""The few elementary functions an equation needs beyond operators, for floats, arrays and expressions.

Everything else in this room is written with operators, so that one body serves all three.
"""

# mypy: disable-error-code="no-any-return"
# (what leaves is what came in; the checker cannot follow the choice of library)

from collections.abc import Callable
from enum import StrEnum
from typing import Any

import numpy as np
import polars as pl

AnyNumber = float | np.ndarray | pl.Expr
"""One number of any of the three forms; what comes out has the form that came in."""

Condition = bool | np.ndarray | pl.Expr
"""The answer of a comparison: one, many, or a column to be."""

Label = StrEnum | np.ndarray | pl.Expr
"""A member of a closed set for floats, an array of members, or an expression giving the text."""


def exp(x: AnyNumber) -> Any:  # noqa: ANN401 - the form of x
    """Exponential function."""
    return _apply(x, pl.Expr.exp, np.exp)


def ln(x: AnyNumber) -> Any:  # noqa: ANN401 - the form of x
    """Natural logarithm."""
    return _apply(x, pl.Expr.log, np.log)


def log10(x: AnyNumber) -> Any:  # noqa: ANN401 - the form of x
    """Decimal logarithm."""
    return _apply(x, pl.Expr.log10, np.log10)


def tanh(x: AnyNumber) -> Any:  # noqa: ANN401 - the form of x
    """Hyperbolic tangent."""
    return _apply(x, pl.Expr.tanh, np.tanh)


def cbrt(x: AnyNumber) -> Any:  # noqa: ANN401 - the form of x
    """Real cube root."""
    return _apply(x, pl.Expr.cbrt, np.cbrt)


def where(condition: Condition, yes: AnyNumber, no: AnyNumber) -> Any:  # noqa: ANN401 - the type follows the condition
    """One of two numbers, chosen element by element; both are evaluated."""
    if isinstance(condition, pl.Expr):
        return pl.when(condition).then(yes).otherwise(no)
    if isinstance(condition, np.ndarray):
        return np.where(condition, np.asarray(yes), np.asarray(no))
    return yes if condition else no


def choose(cases: tuple[tuple[Condition, StrEnum], ...], otherwise: StrEnum) -> Label:
    """Give the label of the first case that holds.

    Returns
    -------
    StrEnum, numpy.ndarray or polars.Expr
        A member of the set for floats, an object array of members, or an expression giving the text.
    """
    conditions = [condition for condition, _ in cases]
    if any(isinstance(condition, pl.Expr) for condition in conditions):
        return _label_expression(cases, otherwise)
    if any(isinstance(condition, np.ndarray) for condition in conditions):
        return _label_array(cases, otherwise)
    return next((label for condition, label in cases if condition), otherwise)


def both(one: Condition, other: Condition) -> Condition:
    """Give the logical and of two conditions of any kind."""
    if isinstance(other, pl.Expr):
        return other & one
    return one & other


def _label_expression(cases: tuple[tuple[Condition, StrEnum], ...], otherwise: StrEnum) -> pl.Expr:
    """Chain the cases into one expression, last first."""
    chain = pl.lit(str(otherwise))
    for condition, label in reversed(cases):
        chain = pl.when(condition).then(pl.lit(str(label))).otherwise(chain)
    return chain


def _label_array(cases: tuple[tuple[Condition, StrEnum], ...], otherwise: StrEnum) -> np.ndarray:
    """Write the labels of the cases into an object array, last first, so that the first wins."""
    masks = np.broadcast_arrays(*(np.asarray(condition) for condition, _ in cases))
    chosen = np.empty(masks[0].shape, dtype=object)
    chosen[...] = otherwise
    for mask, (_, label) in zip(reversed(masks), reversed(cases), strict=True):
        chosen[mask] = label
    return chosen


def _apply(x: AnyNumber, of_expression: Callable[[pl.Expr], pl.Expr], of_array: Callable[..., Any]) -> Any:  # noqa: ANN401 - as x
    """Apply one function in the form its argument needs; a float stays a Python float."""
    if isinstance(x, pl.Expr):
        return of_expression(x)
    value = of_array(x)
    return float(value) if np.ndim(value) == 0 else value
