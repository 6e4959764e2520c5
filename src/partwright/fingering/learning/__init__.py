"""A teacher's own hand: weights of the cost terms learned from pins and printed fingers."""

from partwright.fingering.learning.counts import CountBook
from partwright.fingering.learning.evidence import LET_STAND, Judged, judge
from partwright.fingering.learning.learner import Agreement, Learned, Said, learn_weights
from partwright.fingering.learning.standing import Standing, read_standing, standing, standing_text

__all__ = [
    "LET_STAND",
    "Agreement",
    "CountBook",
    "Judged",
    "Learned",
    "Said",
    "Standing",
    "judge",
    "learn_weights",
    "read_standing",
    "standing",
    "standing_text",
]
