"""A lesson's products as incremental steps: each made anew only where what it is made from has changed.

>>> from partwright.building import STEPS, choose_steps
>>> [step.name for step in choose_steps(STEPS, ["fingered"])]
['plan', 'bows', 'fingered']
"""

from partwright.building.build import build_lesson, choose_steps
from partwright.building.facts import FACTS_FILE, lesson_facts, tune_facts
from partwright.building.pages import page_heading
from partwright.building.step import Made, Ran, Step
from partwright.building.steps import STEPS
from partwright.building.workshop import BUILD_FOLDER, Workshop

__all__ = [
    "BUILD_FOLDER",
    "FACTS_FILE",
    "STEPS",
    "Made",
    "Ran",
    "Step",
    "Workshop",
    "build_lesson",
    "choose_steps",
    "lesson_facts",
    "page_heading",
    "tune_facts",
]
