"""The page that lies beside the files to practise with: each with a player, and what to know about hearing."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from partwright.sound.practice import SoundFile

__all__ = ["practice_page"]

_STYLE = """
:root { color-scheme: light dark; --paper: #FCFAF5; --ink: #1F1D1A; --accent: #0F5A8A; --line: #C9C6BF; }
@media (prefers-color-scheme: dark) {
  :root { --paper: #191816; --ink: #EDE8DC; --accent: #7DB8E0; --line: #4A4843; } }
body { margin: 0 auto; padding: 32px 24px; max-width: 66ch; background: var(--paper); color: var(--ink);
  font: 16px/1.5 "Source Serif 4", "Source Serif Pro", Georgia, serif; }
h1 { font-size: 28px; font-weight: 400; margin: 0 0 16px; }
ol { list-style: none; margin: 24px 0; padding: 0 0 0 16px; border-left: 1px solid var(--line); }
li { margin: 0 0 20px; }
.label, time { font: 14px/1.4 "Source Sans 3", "Source Sans Pro", Arial, sans-serif;
  font-variant-numeric: tabular-nums; }
a { color: var(--accent); }
audio { display: block; width: 100%; height: 36px; margin-top: 4px; }
.caution { border-top: 1px solid var(--line); padding-top: 12px; }
"""


def practice_page(files: Sequence[SoundFile], *, title: str, caution: str) -> str:
    """One HTML page for the folder the files lie in; nothing is fetched from anywhere."""
    rows = "\n".join(_row(file) for file in files)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}: practice</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>{escape(title)}: practice</h1>\n"
        "<p>Each file counts you in and goes round; a drill climbs from the slowest tempo to the fastest.</p>\n"
        f"<ol>\n{rows}\n</ol>\n"
        f'<p class="caution">{escape(caution)}</p>\n</main>\n</body>\n</html>\n'
    )


def _row(file: SoundFile) -> str:
    name = file.name.rpartition("/")[2]
    minutes, seconds = divmod(round(file.seconds), 60)
    link, title = escape(name, quote=True), escape(file.title)
    return (
        f'<li><span class="label">{title}</span> <time>{minutes}:{seconds:02d}</time> '
        f'<a class="label" href="{link}">File</a>'
        f'<audio controls preload="none" src="{link}" aria-label="{title}"></audio></li>'
    )
