"""A teacher's own hand: weights of the cost terms learned from pins and printed fingers."""

from partwright.fingering.learning.counts import CountBook
from partwright.fingering.learning.evidence import LET_STAND, Judged, judge
from partwright.fingering.learning.learner import Agreement, Learned, Said, learn_weights

__all__ = ["LET_STAND", "Agreement", "CountBook", "Judged", "Learned", "Said", "judge", "learn_weights"]
