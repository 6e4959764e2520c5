"""partwright explain: why a note has its finger, and what the others would cost."""

from __future__ import annotations

import click

from partwright.cli.options import hand_options, json_option, score_argument

__all__ = ["command"]


@click.command("explain")
@score_argument
@click.argument("place", metavar="BAR[:BEAT]")
@hand_options
@json_option
def command(score: str, place: str, as_json: bool, **hand: object) -> int:
    """Say why a note has its finger, and what others would cost.

    BAR is the number as printed, BEAT counts from 1 in the metre's beats ("13", "13:2", "13:2+1/2"). Without a beat
    every note of the bar is explained.

    \b
    partwright explain waltz.musicxml 13
    partwright explain waltz 13:2
    """
    raise NotImplementedError
