"""The exact search along strokes that follow each other: cheapest costs from before, cheapest costs from after.

Shapes: a state before or after a stroke is direction × place, `2·places` long. Costs are whole numbers (int32), kept
small by taking out the least after every step; the parts taken out are added up in 64 bits.

Method: a block of strokes may be entered in many states (where repeats join). Every way of entering is a row. Rows that
have become equal but for a constant stay so for ever, and are merged: after a few strokes one or two are left. Whole
numbers make "equal" exact.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

__all__ = ["Rows", "Tables", "back_through", "backward", "enter", "forward", "leave", "merged", "rows_of", "through"]


class Tables(NamedTuple):
    """What one stroke costs and the move to it: `(2, p, p)` and `(2p, 2p)`, and how the stroke leaves its direction."""

    stroke: np.ndarray
    stroke_back: np.ndarray  # the same with start and end exchanged
    move: np.ndarray
    move_back: np.ndarray  # the same with before and after exchanged
    leaves: str


class Rows(NamedTuple):
    """Costs up to a state for every way of entering: entry `a` costs `shift[a] + values[row[a]]`.

    `values` is (rows, states), small; before a stroke each row's least is 0. `row` and `shift` are (entries,).
    """

    values: np.ndarray
    row: np.ndarray
    shift: np.ndarray

    def full(self) -> np.ndarray:
        """The costs written out: (entries, states), int64."""
        return np.asarray(self.values[self.row].astype(np.int64) + self.shift[:, None])


def rows_of(values: np.ndarray) -> Rows:
    """Rows from costs written out, (entries, states), equal ones merged."""
    entries = values.shape[0]
    least = values.min(axis=1)
    return merged(Rows((values - least[:, None]).astype(np.int32), np.arange(entries), least.astype(np.int64)))


def enter(costs: np.ndarray, tables: Tables) -> np.ndarray:
    """Costs after the stroke from costs before it. (rows, 2p) to (rows, 2p)."""
    rows = costs.shape[0]
    places = tables.stroke.shape[1]
    after = np.minimum.reduce(costs.reshape(rows, 2, places, 1) + tables.stroke, axis=2)
    if tables.leaves == "flip":
        after = after[:, ::-1, :]
    elif tables.leaves == "free":
        after = np.repeat(after.min(axis=1, keepdims=True), 2, axis=1)
    return np.asarray(after).reshape(rows, 2 * places)


def leave(costs: np.ndarray, tables: Tables) -> np.ndarray:
    """Costs from before the stroke from those after it. (rows, 2p) to (rows, 2p)."""
    rows = costs.shape[0]
    places = tables.stroke.shape[1]
    after = costs.reshape(rows, 2, places, 1)
    if tables.leaves == "flip":
        after = after[:, ::-1]
    elif tables.leaves == "free":
        after = np.repeat(after.min(axis=1, keepdims=True), 2, axis=1)
    before = np.minimum.reduce(after + tables.stroke_back, axis=2)
    return np.asarray(before).reshape(rows, 2 * places)


def forward(rows: Rows, tables: Tables) -> Rows:
    """The move to a stroke: rows after the stroke before become rows before this stroke."""
    values = rows.values
    if values.shape[0] == 1:
        moved = np.minimum.reduce(values[0][:, None] + tables.move, axis=0)[None, :]
    else:
        moved = np.minimum.reduce(values[:, :, None] + tables.move, axis=1)
    return _settled(moved, rows)


def backward(rows: Rows, tables: Tables) -> Rows:
    """The move backwards: rows before a stroke become rows after the stroke before it. Not settled."""
    values = rows.values
    if values.shape[0] == 1:
        moved = np.minimum.reduce(values[0][:, None] + tables.move_back, axis=0)[None, :]
    else:
        moved = np.minimum.reduce(values[:, :, None] + tables.move_back, axis=1)
    return Rows(moved, rows.row, rows.shift)


def through(rows: Rows, tables: Tables) -> Rows:
    """Rows after a stroke from rows before it. Not settled."""
    return Rows(enter(rows.values, tables), rows.row, rows.shift)


def back_through(rows: Rows, tables: Tables) -> Rows:
    """Rows before a stroke from rows after it."""
    return _settled(leave(rows.values, tables), rows)


def _settled(values: np.ndarray, rows: Rows) -> Rows:
    """Take out the least of every row."""
    if values.shape[0] == 1:
        least = int(np.minimum.reduce(values, axis=1)[0])
        if least:
            values -= np.int32(least)
            return Rows(values, rows.row, rows.shift + least)
        return Rows(values, rows.row, rows.shift)
    least_of = values.min(axis=1)
    values -= least_of[:, None]
    return Rows(values, rows.row, rows.shift + least_of[rows.row])


def merged(rows: Rows) -> Rows:
    """The same with rows that have become equal kept once."""
    values = rows.values
    if values.shape[0] == 1:
        return rows
    seen: dict[bytes, int] = {}
    place = np.empty(values.shape[0], dtype=np.int64)
    kept: list[int] = []
    for k in range(values.shape[0]):
        key = values[k].tobytes()
        if key not in seen:
            seen[key] = len(kept)
            kept.append(k)
        place[k] = seen[key]
    if len(kept) == values.shape[0]:
        return rows
    return Rows(np.ascontiguousarray(values[kept]), place[rows.row], rows.shift)
