"""Levels as the player edits them: a small TOML text laid over the levels of an instrument.

[levels.intermediate]
frame_max = 7

[levels.second-year]
like = "beginner"
shapes = ["closed", "extended back", "extended forward"]
"""

from __future__ import annotations

import dataclasses

from partwright.instrument.instrument import Instrument
from partwright.instrument.rows import Row, did_you_mean, parse_toml, sentence
from partwright.instrument.tables import read_level

__all__ = ["with_levels"]


def with_levels(instrument: Instrument, text: str, *, file: str = "levels") -> Instrument:
    """The instrument with levels changed or added as `text` (TOML, tables `[levels.NAME]`) says.

    A known level keeps what the text leaves out; a new one starts from the level named by `like`, or must be whole.
    Raises InputError naming file, line, key and the nearest known name.
    """
    top = Row(parse_toml(text, file=file), text=text, file=file)
    table = top.row("levels")
    top.finish()
    levels = dict(instrument.levels)
    for name in table.names():
        row = table.row(name)
        base = levels.get(name)
        if "like" in row:
            like = row.text("like")
            if like not in levels:
                hint = did_you_mean(like, levels)
                raise row.error(f'{row.named("like")} is "{like}", which is no level', sentence(hint), key="like")
            base = levels[like]
        if base is not None:
            base = dataclasses.replace(base, source="the player's own")
        else:
            row.text("like", "")
        levels[name] = read_level(row, name, instrument.shapes, base)
    return dataclasses.replace(instrument, levels=levels)
