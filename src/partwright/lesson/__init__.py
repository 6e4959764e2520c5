"""The lesson folder: what the teacher decided, read, checked and written; its lock.

>>> from partwright.lesson import parse_lesson
>>> lesson = parse_lesson('format = 1\\ntitle = "Waltz"\\n[pins]\\n"13:1" = "3/D"\\n')
>>> lesson.title, lesson.pins[0].text
('Waltz', '13:1=3/D')
"""

from typing import TYPE_CHECKING

from partwright.lazy import lazy_names

if TYPE_CHECKING:
    from partwright.lesson.arrange_job import (
        LessonHarmony,
        arranged_tune,
        lesson_accompaniment,
        lesson_band,
        lesson_harmony,
        lesson_second,
        lesson_versions,
        note_spans,
        undone_steps,
    )
    from partwright.lesson.bar_content import BarEvent, Bars
    from partwright.lesson.demo_io import write_demo
    from partwright.lesson.documents import (
        explanation_document,
        placement_fields,
        plan_changes,
        plan_document,
    )
    from partwright.lesson.drills import Drill, PlannedDrill, drill_marks, drill_tune, make_drills, plan_drill
    from partwright.lesson.errata import ERRATA_FILE, Erratum, erratum_place, erratum_words
    from partwright.lesson.errata_io import add_erratum, change_erratum, read_errata
    from partwright.lesson.hard_spots import HardSpot, find_hard_spots
    from partwright.lesson.landmarks import Landmark, find_landmarks
    from partwright.lesson.lesson import FORMAT, LESSON_FILE, TUNE_FILE, Episode, Lesson, PinEntry, Section
    from partwright.lesson.likenesses import Difference, Likeness, find_likenesses
    from partwright.lesson.lock_io import folder_lock
    from partwright.lesson.new_io import new_lesson
    from partwright.lesson.outline import Outline, TaughtSection, make_outline, outline_document
    from partwright.lesson.page_marks import (
        bowed_tree,
        fingered_tree,
        page_instrument,
        page_tune,
        plan_marks,
        string_numeral,
        uses_numerals,
    )
    from partwright.lesson.phrases import Phrase, find_phrases
    from partwright.lesson.prepare_io import Prepared, prepare, prepare_instrument, refuse_out_of_range
    from partwright.lesson.read_script import lesson_script
    from partwright.lesson.read_settings import is_lesson, parse_lesson, read_lesson
    from partwright.lesson.rights import (
        RIGHTS_CAUTION,
        RIGHTS_STATUSES,
        RightsGap,
        RightsSheet,
        credit_lines,
        rights_gaps,
    )
    from partwright.lesson.saying import (
        bars_printed,
        count_words,
        difference_words,
        likeness_words,
        listed,
        number_words,
        position_said,
    )
    from partwright.lesson.script import Claim, Sentence, make_script, script_document, spoken_seconds
    from partwright.lesson.script_paragraphs import OWN_SCRIPT_FILE, parse_script, script_text
    from partwright.lesson.survey import Survey, key_name, suggest_sections, survey_document, survey_lines, survey_part
    from partwright.lesson.teach_job import lesson_bowing, teach
    from partwright.lesson.teaching import (
        EpisodePlan,
        Teaching,
        TeachingStep,
        plan_teaching,
        spots_document,
        tempo_ladder,
    )
    from partwright.lesson.warm_up import BookletWords, SourcedText, booklet_words, warm_up_drills
    from partwright.lesson.write_lesson import edit_pin, edit_settings

__getattr__ = lazy_names(
    __name__,
    {
        "arrange_job": (
            "LessonHarmony",
            "arranged_tune",
            "lesson_accompaniment",
            "lesson_band",
            "lesson_harmony",
            "lesson_second",
            "lesson_versions",
            "note_spans",
            "undone_steps",
        ),
        "survey": (
            "Survey",
            "key_name",
            "suggest_sections",
            "survey_document",
            "survey_lines",
            "survey_part",
        ),
        "saying": (
            "bars_printed",
            "count_words",
            "difference_words",
            "likeness_words",
            "listed",
            "number_words",
            "position_said",
        ),
        "warm_up": (
            "BookletWords",
            "SourcedText",
            "booklet_words",
            "warm_up_drills",
        ),
        "teaching": (
            "EpisodePlan",
            "Teaching",
            "TeachingStep",
            "plan_teaching",
            "spots_document",
            "tempo_ladder",
        ),
        "read_script": ("lesson_script",),
        "drills": (
            "Drill",
            "PlannedDrill",
            "drill_marks",
            "drill_tune",
            "make_drills",
            "plan_drill",
        ),
        "teach_job": (
            "lesson_bowing",
            "teach",
        ),
        "script": (
            "Claim",
            "Sentence",
            "make_script",
            "script_document",
            "spoken_seconds",
        ),
        "script_paragraphs": (
            "OWN_SCRIPT_FILE",
            "parse_script",
            "script_text",
        ),
        "lesson": (
            "FORMAT",
            "LESSON_FILE",
            "TUNE_FILE",
            "Episode",
            "Lesson",
            "PinEntry",
            "Section",
        ),
        "landmarks": (
            "Landmark",
            "find_landmarks",
        ),
        "hard_spots": (
            "HardSpot",
            "find_hard_spots",
        ),
        "bar_content": ("BarEvent", "Bars"),
        "demo_io": ("write_demo",),
        "rights": (
            "RIGHTS_CAUTION",
            "RIGHTS_STATUSES",
            "RightsGap",
            "RightsSheet",
            "credit_lines",
            "rights_gaps",
        ),
        "errata": ("ERRATA_FILE", "Erratum", "erratum_place", "erratum_words"),
        "errata_io": ("add_erratum", "change_erratum", "read_errata"),
        "page_marks": (
            "bowed_tree",
            "fingered_tree",
            "page_instrument",
            "page_tune",
            "plan_marks",
            "string_numeral",
            "uses_numerals",
        ),
        "likenesses": ("Difference", "Likeness", "find_likenesses"),
        "lock_io": ("folder_lock",),
        "new_io": ("new_lesson",),
        "outline": ("Outline", "TaughtSection", "make_outline", "outline_document"),
        "phrases": ("Phrase", "find_phrases"),
        "documents": ("explanation_document", "placement_fields", "plan_changes", "plan_document"),
        "prepare_io": ("Prepared", "prepare", "prepare_instrument", "refuse_out_of_range"),
        "read_settings": ("is_lesson", "parse_lesson", "read_lesson"),
        "write_lesson": ("edit_pin", "edit_settings"),
    },
)

__all__ = [
    "ERRATA_FILE",
    "FORMAT",
    "LESSON_FILE",
    "OWN_SCRIPT_FILE",
    "RIGHTS_CAUTION",
    "RIGHTS_STATUSES",
    "TUNE_FILE",
    "BarEvent",
    "Bars",
    "BookletWords",
    "Claim",
    "Difference",
    "Drill",
    "Episode",
    "EpisodePlan",
    "Erratum",
    "HardSpot",
    "Landmark",
    "Lesson",
    "LessonHarmony",
    "Likeness",
    "Outline",
    "Phrase",
    "PinEntry",
    "PlannedDrill",
    "Prepared",
    "RightsGap",
    "RightsSheet",
    "Section",
    "Sentence",
    "SourcedText",
    "Survey",
    "TaughtSection",
    "Teaching",
    "TeachingStep",
    "add_erratum",
    "arranged_tune",
    "bars_printed",
    "booklet_words",
    "bowed_tree",
    "change_erratum",
    "count_words",
    "credit_lines",
    "difference_words",
    "drill_marks",
    "drill_tune",
    "edit_pin",
    "edit_settings",
    "erratum_place",
    "erratum_words",
    "explanation_document",
    "find_hard_spots",
    "find_landmarks",
    "find_likenesses",
    "find_phrases",
    "fingered_tree",
    "folder_lock",
    "is_lesson",
    "key_name",
    "lesson_accompaniment",
    "lesson_band",
    "lesson_bowing",
    "lesson_harmony",
    "lesson_script",
    "lesson_second",
    "lesson_versions",
    "likeness_words",
    "listed",
    "make_drills",
    "make_outline",
    "make_script",
    "new_lesson",
    "note_spans",
    "number_words",
    "outline_document",
    "page_instrument",
    "page_tune",
    "parse_lesson",
    "parse_script",
    "placement_fields",
    "plan_changes",
    "plan_document",
    "plan_drill",
    "plan_marks",
    "plan_teaching",
    "position_said",
    "prepare",
    "prepare_instrument",
    "read_errata",
    "read_lesson",
    "refuse_out_of_range",
    "rights_gaps",
    "script_document",
    "script_text",
    "spoken_seconds",
    "spots_document",
    "string_numeral",
    "suggest_sections",
    "survey_document",
    "survey_lines",
    "survey_part",
    "teach",
    "tempo_ladder",
    "undone_steps",
    "uses_numerals",
    "warm_up_drills",
    "write_demo",
]
