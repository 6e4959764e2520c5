"""Viewers' comments brought back to bars: understood, placed, weighed, put together, and ranked.

Pure: the same comments on the same lesson give the same reports. Linear in the number of comments.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median

from partwright.checking.finding import Finding, Verdict
from partwright.checking.reports.comments import Comment
from partwright.checking.reports.locate import Grounds, Located, locate
from partwright.checking.reports.spelling import PRIVATE
from partwright.checking.reports.understand import Understood, understand
from partwright.checking.reports.weigh import EditionNote, Weighed, said_words, weigh, with_viewers
from partwright.checking.reports.wishes import Wish, tally_wishes, wished_tune
from partwright.lesson import Erratum, Likeness, find_likenesses
from partwright.score import Note, Pitch, beat_text

__all__ = ["Report", "ReportsCheck", "check_reports", "redacted"]

_MAY_BE_THERE = 0.25
_LONGEST_QUOTE = 200
_MOST_BARS_COMPARED = 2000

EditionsAt = Callable[[Note, str], Sequence[EditionNote]]  # a note of the score and the kind of report


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Comments that say one thing of one place. `rows` are where they stand in the file, `viewers` short ids.

    The verdict is on what the viewers say: *right* = they are right, *wrong* = the lesson stands.
    """

    kind: str
    rows: tuple[int, ...]
    viewers: tuple[str, ...]
    said: str
    quote: str
    weighed: Weighed
    located: Located
    note: Note | None
    time_s: float | None

    @property
    def verdict(self) -> Verdict:
        return self.weighed.verdict

    @property
    def rank(self) -> float:
        """How much it deserves to be looked at: how likely it is true, and how many say so."""
        return self.weighed.likely * (1.0 + math.log2(len(self.viewers)))

    @property
    def draft(self) -> Erratum | None:
        """An erratum to decide about, where the viewers are right."""
        return _draft(self)

    @property
    def finding(self) -> Finding:
        """The report in the terms of all checks."""
        has = "the plan has" if self.weighed.against == "plan" else "the score has"
        count = "one viewer says" if len(self.viewers) == 1 else f"{len(self.viewers)} viewers say"
        claim = self.said or "something is wrong"
        what = f"{count} {claim}"
        if self.weighed.right and self.verdict != "right":
            what += f"; {has} {self.weighed.right}"
        return Finding(
            kind=self.kind, verdict=self.verdict, what=what, why=self.weighed.why,
            bar=self.note.bar if self.note else "", beat=beat_text(self.note.beat) if self.note else "",
            time_s=self.time_s, manner="said", observed=self.quote, right=self.weighed.right,
            against=self.weighed.against,
            confidence=round(self.weighed.likely if self.verdict != "wrong" else 1.0 - self.weighed.likely, 3),
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class ReportsCheck:
    """What came of a file of comments. `understood` is parallel to `comments`."""

    comments: tuple[Comment, ...]
    understood: tuple[Understood, ...]
    located: tuple[Located | None, ...]
    reports: tuple[Report, ...]
    wishes: tuple[Wish, ...]
    grounds: Grounds

    @property
    def findings(self) -> tuple[Finding, ...]:
        return tuple(report.finding for report in self.reports)

    def others(self, kind: str) -> tuple[Comment, ...]:
        """The comments of a kind that claims nothing of a note."""
        return tuple(c for c, u in zip(self.comments, self.understood, strict=True) if u.kind == kind)

    @property
    def drafts(self) -> tuple[Erratum, ...]:
        """An erratum for every report that is right."""
        return tuple(draft for report in self.reports if (draft := report.draft) is not None)


def check_reports(
    comments: Sequence[Comment], grounds: Grounds, *, editions_at: EditionsAt | None = None
) -> ReportsCheck:
    """Every comment understood; those that claim something placed, weighed and put together."""
    part = grounds.check.part
    likenesses = find_likenesses(part) if len(part.bars) <= _MOST_BARS_COMPARED else ()
    understood = tuple(understand(comment.text) for comment in comments)
    located = tuple(locate(u, grounds) if u.claims else None for u in understood)
    groups = _grouped(comments, understood, located)
    reports = [_report(group, grounds, likenesses, editions_at) for group in groups]
    order = {"right": 0, "check": 1, "wrong": 2}
    wishes = [(c.viewer, wished_tune(c.text)) for c, u in zip(comments, understood, strict=True) if u.kind == "request"]
    return ReportsCheck(
        comments=tuple(comments), understood=understood, located=located,
        reports=tuple(sorted(reports, key=lambda r: (order[r.verdict], -r.rank, r.rows))),
        wishes=tally_wishes(wishes), grounds=grounds,
    )  # fmt: skip


_Member = tuple[Comment, Understood, Located]


def _grouped(
    comments: Sequence[Comment], understood: Sequence[Understood], located: Sequence[Located | None]
) -> list[list[_Member]]:
    """Comments that say the same of the same place; the surest of each first."""
    members = [(c, u, p) for c, u, p in zip(comments, understood, located, strict=True) if p is not None]
    members.sort(key=lambda m: -m[2].p)
    groups: list[list[_Member]] = []
    by_claim: dict[tuple[str, object], list[list[_Member]]] = {}
    for member in members:
        key = (member[1].kind, _wanted(member[1]))
        same = next((g for g in by_claim.get(key, ()) if _same_place(g[0], member)), None)
        if same is None and key[1] is None and member[2].place >= 0:
            likely = [g for (kind, _), rows in by_claim.items() if kind == key[0] for g in rows]
            same = next((g for g in likely if _same_place(g[0], member)), None)
        if same is not None:
            same.append(member)
        else:
            groups.append([member])
            by_claim.setdefault(key, []).append(groups[-1])
    return groups


def _wanted(report: Understood) -> object:
    said = report.proposed[:1] or ()
    return (said[0].claim, said[0].value) if said else None


def _same_place(one: _Member, two: _Member) -> bool:
    if one[2].place < 0 or two[2].place < 0:
        return one[2].place == two[2].place and one[1].pointers == two[1].pointers
    if one[2].place == two[2].place:
        return True
    by_place = two[2].by_place
    return by_place is not None and float(by_place[one[2].place]) >= _MAY_BE_THERE


def _report(
    group: list[_Member], grounds: Grounds, likenesses: Sequence[Likeness], editions_at: EditionsAt | None
) -> Report:
    _, report, located = group[0]
    note = grounds.notes[located.stroke] if located.stroke >= 0 else None
    editions = editions_at(note, report.kind) if editions_at is not None and note is not None else ()
    viewers = tuple(dict.fromkeys(c.viewer for c, _, _ in group))
    weighed = weigh(report, located, grounds, likenesses=likenesses, editions=editions)
    for _, other, place in group[1:]:
        again = weigh(other, place, grounds, likenesses=likenesses, editions=editions)
        if place.place == located.place and again.log_odds > weighed.log_odds:
            weighed = again
    times = [t for _, u, _ in group for t in u.pointers.times_s[:1]]
    time_s = weighed.said_s if weighed.said_s is not None else median(times) if times else None
    return Report(
        kind=report.kind, rows=tuple(c.row for c, _, _ in group), viewers=viewers,
        said=_claim(report, grounds), quote=redacted(report.words), weighed=with_viewers(weighed, len(viewers)),
        located=located, note=note, time_s=time_s,
    )  # fmt: skip


def _claim(report: Understood, grounds: Grounds) -> str:
    """What the viewers say, in our words: "C sharp, not C"."""
    proposed = [said_words(s, grounds) for s in report.proposed[:1]]
    observed = [said_words(s, grounds) for s in report.observed[:1]]
    if proposed and observed and proposed != observed:
        return f"{proposed[0]}, not {observed[0]}"
    if proposed:
        return proposed[0]
    return f"not {observed[0]}" if observed else ""


def redacted(text: str) -> str:
    """A comment's words for showing: without addresses, names called with @ and long numbers, and not too long."""
    text = PRIVATE.sub("…", " ".join(text.split()))
    return text if len(text) <= _LONGEST_QUOTE else text[: _LONGEST_QUOTE - 1].rstrip() + "…"


def _near(pitch: Pitch, step: str, alter: int) -> Pitch:
    """The pitch of this name nearest to another one."""
    octaves = (pitch.octave - 1, pitch.octave, pitch.octave + 1)
    return min((Pitch(step, alter, octave) for octave in octaves), key=lambda p: abs(p.midi - pitch.midi))


_ERRATUM_KINDS = {
    "note": "pitch", "finger": "finger", "string": "string", "bow": "bow", "rhythm": "rhythm", "position": "finger",
    "extension": "finger", "harmonic": "finger",
}  # fmt: skip


def _draft(report: Report) -> Erratum | None:
    if report.verdict != "right" or report.note is None:
        return None
    weighed, note = report.weighed, report.note
    spoken = weighed.concerns == "video"
    kind = "word" if spoken else _ERRATUM_KINDS.get(report.kind, "other")
    was, right = _was_and_right(report)
    words = report.said.split(", not ")[0]
    if weighed.concerns == "edition":
        words = weighed.right
    wrong = weighed.sold or (weighed.right if weighed.concerns != "edition" else "")
    words += f" instead of {wrong}" if wrong else ""
    if spoken:
        words = f"the words should be {weighed.right}" + (f", not {weighed.said}" if weighed.said else "")
    return Erratum(
        kind=kind, words=words, bar=note.bar, beat=beat_text(note.beat),  # type: ignore[arg-type]
        was=was, right=right, where="video" if spoken else "", why=weighed.why, origin="report",
        reports=len(report.viewers), editions=weighed.editions,
        time_s=round(report.time_s, 3) if spoken and report.time_s is not None else None,
    )  # fmt: skip


def _was_and_right(report: Report) -> tuple[str, str]:
    """As printed: pitches for notes, else in words."""
    weighed = report.weighed
    if weighed.concerns == "video":
        return weighed.said, weighed.right
    claimed = report.said.split(", not ")
    if report.kind == "note" and report.note is not None and weighed.wanted is not None:
        printed = report.note.pitch
        wanted = _near(printed, *weighed.wanted)
        if weighed.concerns == "edition":
            return (_near(printed, *weighed.printed).name if weighed.printed else ""), printed.name
        return printed.name, wanted.name
    if weighed.concerns == "edition":
        return claimed[1] if len(claimed) > 1 else "", weighed.right
    return weighed.right, claimed[0]
