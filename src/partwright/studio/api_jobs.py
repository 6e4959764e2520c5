"""Routes to come."""

from partwright.studio.calls import Row

__all__ = ["ROWS"]

ROWS: tuple[Row, ...] = ()
