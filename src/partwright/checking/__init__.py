"""Findings: what is wrong, or may be, in a score; later in what was said and played."""
