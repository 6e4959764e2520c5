"""The take check: what was played in a recording against the score, note by note.

>>> from partwright.checking.take import judging
>>> judging()["pitch"]["just_noticeable_cents"]
10.0
"""

from partwright.checking.take.document import log_row, take_document
from partwright.checking.take.events import ScoreEvent, score_events
from partwright.checking.take.note import Habit, Spot, TakeCheck, TakeNote
from partwright.checking.take.page import take_page
from partwright.checking.take.pitch import Track, pitch_track
from partwright.checking.take.practice_log_io import LOG_FILE, add_row, earlier_takes, read_log
from partwright.checking.take.read_recording import Recording, read_recording, recording_of
from partwright.checking.take.report import drill_bars, phrase_ends, take_report
from partwright.checking.take.tables import judging
from partwright.checking.take.take import check_take

__all__ = [
    "LOG_FILE",
    "Habit",
    "Recording",
    "ScoreEvent",
    "Spot",
    "TakeCheck",
    "TakeNote",
    "Track",
    "add_row",
    "check_take",
    "drill_bars",
    "earlier_takes",
    "judging",
    "log_row",
    "phrase_ends",
    "pitch_track",
    "read_log",
    "read_recording",
    "recording_of",
    "score_events",
    "take_document",
    "take_page",
    "take_report",
]
