"""The script a lesson is told by: the teacher's own where the folder holds one, else the one made."""

from __future__ import annotations

from pathlib import Path

from partwright.errors import InputError, Place
from partwright.lesson.script import Sentence, make_script
from partwright.lesson.script_paragraphs import OWN_SCRIPT_FILE, parse_script
from partwright.lesson.teaching import Teaching

__all__ = ["lesson_script"]


def lesson_script(teaching: Teaching, folder: Path) -> tuple[Sentence, ...]:
    """The sentences to say. Raises InputError where the teacher's own file cannot be read."""
    made = make_script(teaching)
    own = folder / OWN_SCRIPT_FILE
    try:
        return parse_script(own.read_bytes().decode("utf-8"), made)
    except (FileNotFoundError, NotADirectoryError):
        return made
    except UnicodeDecodeError as error:
        raise InputError("is not UTF-8 text", "Save it again as UTF-8.", place=Place(file=str(own))) from error
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"cannot be read ({reason})", "Check the file.", place=Place(file=str(own))) from error
