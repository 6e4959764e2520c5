"""partwright catalogue: the group of commands over many lessons."""

from __future__ import annotations

from partwright.cli.commands import CATALOGUE, CommandTable

__all__ = ["command"]

command = CommandTable(
    CATALOGUE,
    name="catalogue",
    help="""Many lessons: editions, rights, copies, errata, search, and building them all.

The catalogue is one file, catalogue.db in the present folder; --in names another, and so does the environment
variable PARTWRIGHT_CATALOGUE. The lessons' folders remain the truth: the file can be made again from them at any time.
LESSON is a folder, or the id of a lesson in the catalogue.

\b
  partwright catalogue add waltz march          enter two lessons
  partwright catalogue list "beginner, D major, under 3 minutes"
  partwright catalogue release waltz            freeze what is sold as the next edition
  partwright catalogue verify part-a4.pdf       what is this file that a customer holds?
""",
    no_args_is_help=True,
)
