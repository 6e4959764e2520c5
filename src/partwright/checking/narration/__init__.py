"""The narration check: what was said against score and plan."""
