"""partwright: from a tune to a playable part, a lesson and a publication without a wrong note, finger or word."""

__version__ = "0.1.0"
