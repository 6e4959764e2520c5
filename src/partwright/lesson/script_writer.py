"""Filling the templates of a script, step by step: what is said of sections, spots, phrases, notes and bows."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from importlib import resources

from partwright.fingering import Placement
from partwright.lesson.bar_content import BarEvent
from partwright.lesson.landmarks import find_landmarks
from partwright.lesson.likenesses import Difference, Likeness
from partwright.lesson.phrases import Phrase
from partwright.lesson.saying import (
    bars_words,
    capital,
    count_words,
    difference_words,
    finger_said,
    likeness_words,
    listed,
    number_words,
    ordinal_words,
    pitch_said,
    place_words,
    position_said,
    times_words,
)
from partwright.lesson.script import Claim, Sentence
from partwright.lesson.teaching import Teaching, TeachingStep
from partwright.score import Note, beat_text

__all__ = ["ScriptWriter"]

_NOTES_PER_SENTENCE = 4
_FIRST_POSITION = 2


@cache
def _templates(language: str) -> Mapping[str, Mapping[str, object]]:
    text = (resources.files("partwright.lesson") / "data" / f"script_{language}.toml").read_text(encoding="utf-8")
    found: Mapping[str, Mapping[str, object]] = tomllib.loads(text)
    return found


class ScriptWriter:
    """Sentences as they come, each template taking its turn."""

    def __init__(self, teaching: Teaching, language: str) -> None:
        self.teaching = teaching
        self.sentences: list[Sentence] = []
        self._templates = _templates(language)
        self._turn: dict[str, int] = {}
        self._episode = 0
        self._step = 0
        self._bow_said = -1  # the event whose bow has just been said
        self._hand: tuple[int, str, str] | None = None  # frame, zone and shape as last said
        self._heading = ""
        self._explained: set[str] = set()  # drills whose words have been said in this episode
        self._numbers = [bar.number for bar in teaching.part.bars]

    # Saying ----------------------------------------------------------------------------------------------------------

    def say(
        self, template: str, *, at: tuple[int, int] | None = None, claims: Sequence[Claim] = (), **slots: object
    ) -> None:
        """One sentence about bars `at` (indices)."""
        choices = self._templates["sentences"][template]
        assert isinstance(choices, list)
        turn = self._turn.get(template, 0)
        self._turn[template] = turn + 1
        text = capital(str(choices[turn % len(choices)]).format(**slots))
        self.sentences.append(
            Sentence(
                number=len(self.sentences) + 1,
                episode=self._episode,
                step=self._step,
                template=template,
                text=text,
                bars=(self._numbers[at[0]], self._numbers[at[1]]) if at is not None else (),
                claims=tuple(claims),
                heading=self._heading,
            )
        )
        self._heading = ""

    def _phrase(self, name: str, **slots: object) -> str:
        return str(self._templates["phrases"][name]).format(**slots)

    def _tries(self, count: int) -> str:
        return self._phrase("try") if count == 1 else self._phrase("tries", number=capital(number_words(count)))

    def _tempo(self, percent: float) -> tuple[str, Claim]:
        qpm = self.teaching.tempo_qpm * percent / 100
        claim = Claim(kind="tempo", values={"percent": percent, "qpm": round(qpm)})
        return self._phrase("tempo", qpm=f"{qpm:.0f}"), claim

    def _bars(self, first: int, last: int, phrase: int | None = None) -> str:
        """Bars by number; where they begin with the upbeat of a phrase, the bars after it "with the upbeat"."""
        numbers, bars = self._numbers, self.teaching.part.bars
        if first < last and first == 0 and bars[0].pickup:
            return f"{bars_words(numbers[1], numbers[last])} with the pick-up"
        if first < last and phrase is not None:
            event = self.teaching.outline.bars.events[self.teaching.outline.phrases[phrase].first]
            if event.bar_index == first and 2 * event.offset_quarters >= bars[first].nominal_quarters:
                return f"{bars_words(numbers[first + 1], numbers[last])} with the upbeat"
        return bars_words(numbers[first], numbers[last])

    # Episodes --------------------------------------------------------------------------------------------------------

    def open_episode(self, number: int) -> None:
        teaching = self.teaching
        episode = teaching.episodes[number - 1]
        self._episode, self._step, self._hand = number, 0, None
        self._explained.clear()
        several = len(teaching.episodes) > 1
        self._heading = f"Episode {number}: {episode.title}" if several else episode.title
        title = teaching.lesson.title or teaching.part.credits.title or "this tune"
        instrument = teaching.instrument.name.replace("_", " ")
        self.say("welcome", title=title, instrument=instrument)
        if several:
            many = "many" if len(episode.sections) > 1 else "one"
            sections = self._phrase(f"episode_sections_{many}", sections=listed(episode.sections))
            self.say("episode", number=number_words(number), episode=episode.title, sections=sections)
        self.say("strings", strings=listed([s.letter for s in reversed(teaching.instrument.strings)]))
        self.say("warm_up")

    def close_episode(self, number: int) -> None:
        self._step = 0
        self.say("close_last" if number == len(self.teaching.episodes) else "close")

    # Steps -----------------------------------------------------------------------------------------------------------

    def step(self, step: TeachingStep) -> None:
        self._step = step.number
        tempo, claim = self._tempo(step.percent)
        tries = self._tries(step.times)
        bars = (step.first, step.last)
        match step.kind:
            case "introduce":
                self._introduce(step, tempo, claim)
            case "spot":
                self._spot(step)
            case "phrase":
                self._new_phrase(step)
                self.say("try_slowly", at=bars, claims=[claim], tries=tries, tempo=tempo)
            case "difference":
                self._difference(step)
                self.say("try_slowly", at=bars, claims=[claim], tries=tries, tempo=tempo)
            case "join":
                self.say("join", at=bars, claims=[claim], **self._slots(step, tries, tempo))
            case "tempo":
                full = "full_tempo" if step.percent == 100 else "tempo"
                self.say(full, at=bars, claims=[claim], section=step.section, **self._slots(step, tries, tempo))
            case "recap":
                names = self._sections_until(step)
                slots = self._slots(step, tries, tempo)
                self.say("recap", at=bars, claims=[claim], sections=listed(names), **slots)
                self.say("rest_hint")
            case "whole":
                self.say("whole", at=bars, claims=[claim], **self._slots(step, tries, tempo))

    def _slots(self, step: TeachingStep, tries: str, tempo: str) -> dict[str, str]:
        return {"tries": tries, "tempo": tempo, "bars": self._bars(step.first, step.last, *step.phrases[:1])}

    def _sections_until(self, step: TeachingStep) -> list[str]:
        names: dict[str, None] = {}
        for earlier in self.teaching.steps[: step.number]:
            if earlier.section:
                names[earlier.section] = None
        order = [section.name for section in self.teaching.outline.sections]
        return [name for name in order if name in names]

    def _introduce(self, step: TeachingStep, tempo: str, claim: Claim) -> None:
        section = next(s for s in self.teaching.outline.sections if s.name == step.section)
        self._heading = f"Section {section.name}"
        values = {"name": section.name, "first_bar": section.first_bar, "last_bar": section.last_bar}
        about = Claim(kind="section", values=values)
        bars = (step.first, step.last)
        self.say("introduce", at=bars, claims=[about], section=section.name,
                 bars=bars_words(section.first_bar, section.last_bar))  # fmt: skip
        if len(section.phrases) > 1:
            told = count_words(len(section.phrases), "phrase", "phrases")
            self.say("introduce_phrases", at=bars, phrases=told)
        self.say("listen", at=bars, claims=[claim], tempo=tempo)

    def _spot(self, step: TeachingStep) -> None:
        spot = next(s for s in self.teaching.spots if s.rank == step.spot)
        bars = (step.first, step.last)
        values = {"kind": spot.kind, "name": spot.name, "bars": list(spot.bars)}
        about = Claim(kind="spot", note_ids=spot.note_ids, values=values)
        self.say("spot", at=bars, claims=[about], name=spot.name, bars=self._bars(*bars))
        self._landmark(spot.peak)
        if spot.also_bars:
            where = f"bar{'s' if len(spot.also_bars) > 1 else ''} {listed(spot.also_bars)}"
            self.say("also", at=bars, bars=where)
        for drill in self.teaching.drills:
            if drill.spot == spot.rank:
                tempo = self._phrase("tempo", qpm=f"{drill.tempo_qpm:.0f}")
                template = "drill_again" if drill.words in self._explained else "drill"
                self._explained.add(drill.words)
                self.say(
                    template,
                    at=bars,
                    title=drill.title,
                    words=drill.words,
                    tries=self._tries(drill.times),
                    tempo=tempo,
                )

    def _new_phrase(self, step: TeachingStep) -> None:
        outline = self.teaching.outline
        phrase = outline.phrases[step.phrases[0]]
        section = next(s for s in outline.sections if s.name == step.section)
        nth = section.phrases.index(phrase) + 1
        ends = {
            "from": place_words(self._numbers[phrase.first_bar], phrase.first_beat),
            "to": place_words(self._numbers[phrase.last_bar], phrase.last_beat),
        }
        about = Claim(
            kind="phrase",
            note_ids=(phrase.first_note_id, phrase.last_note_id),
            values={
                "first": f"{self._numbers[phrase.first_bar]}:{beat_text(phrase.first_beat)}",
                "last": f"{self._numbers[phrase.last_bar]}:{beat_text(phrase.last_beat)}",
            },
        )
        template = "phrase" if len(section.phrases) > 1 else "only_phrase"
        self.say(template, at=(phrase.first_bar, phrase.last_bar), claims=[about], nth=ordinal_words(nth),
                 number=number_words(nth), **ends)  # fmt: skip
        begun = self._first_bow(phrase.first)
        self._notes(phrase.first, phrase.last, bow_said=begun)

    def _difference(self, step: TeachingStep) -> None:
        """What is known of the phrase, what is different in it, and note by note what is new."""
        outline = self.teaching.outline
        phrase = outline.phrases[step.phrases[0]]
        bars = (phrase.first_bar, phrase.last_bar)
        self.say("known", at=bars)
        inside = range(bars[0], bars[1] + 1)
        told: set[int] = set()
        for likeness in outline.likenesses:
            apart = likeness.at[0] - likeness.of[0]
            first, last = max(bars[0], likeness.at[0]), min(bars[1], likeness.at[1])
            if first > last or not _taught_before(self.teaching, step, (first - apart, last - apart)):
                continue
            part = _within(likeness, first, last, self._numbers)
            told |= set(range(first, last + 1))
            claims = [_likeness_claim(part), *(_difference_claim(d) for d in part.differences)]
            self.say("again", at=(first, last), claims=claims, likeness=likeness_words(part))
            for difference in part.hand:
                template = "different_bow" if difference.what == "bow" else "different_hand"
                self.say(template, at=(first, last), claims=[_difference_claim(difference)],
                         difference=difference_words(difference))  # fmt: skip
        new = [bar for bar in inside if bar not in told]
        upbeat = self._known_upbeat(phrase, new, told)
        if upbeat is not None:
            self.say("upbeat_known", at=(upbeat, upbeat))
            new.remove(upbeat)
        events = [k for k in range(phrase.first, phrase.last + 1) if outline.bars.events[k].bar_index in set(new)]
        if not events:
            self.say("no_difference", at=bars)
            return
        self.say("new_bars", at=(new[0], new[-1]))
        start = events[0]
        for k, following in zip(events, [*events[1:], None], strict=True):
            if following != k + 1:
                self._notes(start, k)
                start = following if following is not None else start

    def _known_upbeat(self, phrase: Phrase, new: Sequence[int], told: set[int]) -> int | None:
        """The bar of the phrase's upbeat, where the bars it leads to are known and so is it."""
        bars = self.teaching.outline.bars
        first = phrase.first_bar
        if first not in new or first + 1 not in told:
            return None
        for likeness in self.teaching.outline.likenesses:
            apart = likeness.at[0] - likeness.of[0]
            if likeness.semitones or likeness.at[0] != first + 1 or first - apart < 0:
                continue
            before = {e.offset_quarters: e for e in bars.by_bar[first - apart]}
            upbeat = [e for e in bars.events[phrase.first : phrase.last + 1] if e.bar_index == first]
            like = [before.get(e.offset_quarters) for e in upbeat]
            same = [o is not None and (o.midi, o.duration_quarters) == (e.midi, e.duration_quarters)
                    and [self._place(i) for i in o.note_ids] == [self._place(i) for i in e.note_ids]
                    for o, e in zip(like, upbeat, strict=True)]  # fmt: skip
            if upbeat and all(same):
                return first
        return None

    # Notes -----------------------------------------------------------------------------------------------------------

    def _notes(self, first: int, last: int, *, bow_said: bool = False) -> None:
        """Every note of these events: pitch, finger and string; position where the hand moves; how often it comes."""
        events = self.teaching.outline.bars.events
        self._hand = None
        self._bow_said = first if bow_said else -1
        group: list[tuple[str, list[Claim]]] = []
        start = first
        k = first
        marks: list[int] = []
        while k <= last:
            count = 1
            while k + count <= last and self._same(events[k], events[k + count]):
                count += 1
            moved = self._moves(k)
            if group and (len(group) >= _NOTES_PER_SENTENCE or events[k].bar_index != events[start].bar_index or moved):
                self._say_group(start, group, marks)
                group, marks, start = [], [], k
            if not group:
                start = k
            if moved:
                marks.append(k)
            group.append(self._said(k, count))
            k += count
        if group:
            self._say_group(start, group, marks)

    def _say_group(self, start: int, group: Sequence[tuple[str, list[Claim]]], marks: Sequence[int]) -> None:
        event = self.teaching.outline.bars.events[start]
        place = place_words(self._numbers[event.bar_index], event.beat)
        lift = self._lift(event) if start != self._bow_said else None
        if lift is not None:
            self.say("bow_lift", at=(event.bar_index, event.bar_index), claims=[lift[1]], place=place, bow=lift[0])
        claims = [claim for _, of in group for claim in of]
        last = max(self._bar_of(claim) for claim in claims)
        self.say("notes", at=(event.bar_index, last), claims=claims, place=place,
                 notes=". ".join(capital(text) for text, _ in group))  # fmt: skip
        for k in marks:
            placed = self._place(self.teaching.outline.bars.events[k].note_ids[-1])
            if placed is not None and (placed.frame > _FIRST_POSITION or placed.zone != "neck"):
                self._landmark(k, known=False)

    def _bar_of(self, claim: Claim) -> int:
        return self.teaching.part.by_id[claim.note_ids[-1]].bar_index

    def _said(self, k: int, count: int) -> tuple[str, list[Claim]]:
        event = self.teaching.outline.bars.events[k]
        part = self.teaching.part
        notes = [part.by_id[note_id] for note_id in event.note_ids]
        graces, plain = [n for n in notes if n.grace], [n for n in notes if not n.grace]
        texts = [f"grace note, {self._one(note)}" for note in graces]
        if len(plain) == 1:
            texts.append(self._one(plain[0], count))
        else:
            each = listed([self._one(note) for note in plain])
            texts.append(f"together {each}" + (f", {times_words(count)}" if count > 1 else ""))
        claims = [self._note_claim(note, k, count) for note in notes]
        hand = self._hand_said(plain[-1] if plain else notes[-1])
        if hand:
            texts[-1] += f", {hand}"
        return ". ".join(capital(text) for text in texts), claims

    def _one(self, note: Note, count: int = 1) -> str:
        fingered = self.teaching.plan.by_id.get(note.id)
        name = f"the {pitch_said(note.pitch)}" + (f" {times_words(count)}" if count > 1 else "")
        if fingered is None:
            return name
        return f"{name}, {finger_said(fingered.placement, self.teaching.instrument)}"

    def _note_claim(self, note: Note, k: int, count: int) -> Claim:
        events = self.teaching.outline.bars.events
        values: dict[str, object] = {"bar": note.bar, "beat": beat_text(note.beat), "pitch": note.pitch.name}
        fingered = self.teaching.plan.by_id.get(note.id)
        if fingered is not None:
            place = fingered.placement
            values |= {
                "finger": place.finger_text,
                "string": self.teaching.instrument.strings[place.string].letter,
                "harmonic": place.harmonic > 0,
            }
            if place.finger:
                values["position"] = self.teaching.instrument.position(place.frame, place.zone).label
        ids = [note.id]
        if count > 1:
            values["count"] = count
            slot = events[k].note_ids.index(note.id)
            ids += [events[k + i].note_ids[slot] for i in range(1, count)]
        return Claim(kind="note", note_ids=tuple(ids), values=values)

    def _same(self, one: BarEvent, two: BarEvent) -> bool:
        """Whether two events in a row are one note struck again, in the same bar and with the same finger."""
        if one.bar_index != two.bar_index or one.midi != two.midi or one.grace_midi or two.grace_midi:
            return False
        places = [[self._place(note_id) for note_id in event.note_ids] for event in (one, two)]
        return places[0] == places[1] and len(one.note_ids) == len(two.note_ids)

    def _place(self, note_id: str) -> Placement | None:
        fingered = self.teaching.plan.by_id.get(note_id)
        return fingered.placement if fingered is not None else None

    def _moves(self, k: int) -> bool:
        """Whether the hand goes somewhere for this event."""
        place = self._place(self.teaching.outline.bars.events[k].note_ids[-1])
        return place is not None and place.finger > 0 and self._hand != (place.frame, place.zone, place.shape)

    def _hand_said(self, note: Note) -> str:
        """Position and shape of the hand, where they are not as last said."""
        place = self._place(note.id)
        if place is None or place.finger == 0:
            return ""
        hand = (place.frame, place.zone, place.shape)
        if hand == self._hand:
            return ""
        before, self._hand = self._hand, hand
        instrument = self.teaching.instrument
        shape = instrument.shape(place.shape)
        words = [position_said(place, instrument)]
        if shape.extension:
            words.append(shape.words)
        elif before is not None and instrument.shape(before[2]).extension and place.zone == "neck":
            words.append("hand closed")
        return ", ".join(words)

    def _landmark(self, k: int, *, known: bool = True) -> None:
        """The surest way to find the note of event `k`; without `known`, none that leans on a note just played."""
        teaching = self.teaching
        found = find_landmarks(teaching.outline.bars, teaching.plan, teaching.instrument, k)
        found = tuple(mark for mark in found if known or mark.kind != "same place across")
        if not found:
            return
        best = found[0]
        bar = teaching.outline.bars.events[k].bar_index
        values: dict[str, object] = {"landmark": best.kind, "string": best.string}
        if best.sounds_midi is not None:
            values["sounds_midi"] = best.sounds_midi
        self.say("landmark", at=(bar, bar), claims=[Claim(kind="landmark", note_ids=(best.note_id,), values=values)],
                 landmark=best.words)  # fmt: skip

    # The bow ---------------------------------------------------------------------------------------------------------

    def _first_bow(self, k: int) -> bool:
        """Say the bow a phrase begins with; False where there is none to say."""
        event = self.teaching.outline.bars.events[k]
        bowing = self.teaching.bowing
        stroke = bowing.by_note.get(event.note_ids[0]) if bowing is not None else None
        if stroke is not None and stroke.id in event.note_ids:
            values = {"direction": stroke.direction}
            claim = Claim(kind="bow", note_ids=(stroke.id,), values=values)
            self.say(
                "bow_first", at=(event.bar_index, event.bar_index), claims=[claim], bow=self._phrase(stroke.direction)
            )
            return True
        return False

    def _lift(self, event: BarEvent) -> tuple[str, Claim] | None:
        bowing = self.teaching.bowing
        stroke = bowing.by_note.get(event.note_ids[0]) if bowing is not None else None
        if stroke is None or not stroke.retake or stroke.id not in event.note_ids:
            return None
        values = {"direction": stroke.direction, "retake": True}
        return self._phrase(stroke.direction), Claim(kind="bow", note_ids=(stroke.id,), values=values)


def _taught_before(teaching: Teaching, step: TeachingStep, bars: tuple[int, int]) -> bool:
    """Whether these bars belong to a phrase that an earlier step taught."""
    for earlier in teaching.steps[: step.number - 1]:
        if earlier.kind in ("phrase", "difference") and earlier.first <= bars[1] and bars[0] <= earlier.last:
            return True
    return False


def _within(likeness: Likeness, first: int, last: int, numbers: Sequence[str]) -> Likeness:
    """The part of a likeness that lies in bars `first` … `last`."""
    apart = likeness.at[0] - likeness.of[0]
    bars = {numbers[bar] for bar in range(first, last + 1)}
    kept = tuple(d for d in likeness.differences if d.bar in bars)
    return replace(
        likeness,
        at=(first, last),
        of=(first - apart, last - apart),
        at_bars=(numbers[first], numbers[last]),
        of_bars=(numbers[first - apart], numbers[last - apart]),
        kind="near" if kept else "transposed" if likeness.semitones else "exact",
        differences=kept,
        hand=tuple(d for d in likeness.hand if d.bar in bars),
    )


def _likeness_claim(likeness: Likeness) -> Claim:
    values = {"of": list(likeness.of_bars), "at": list(likeness.at_bars), "how": likeness.kind}
    return Claim(kind="likeness", values=values | {"semitones": likeness.semitones})


def _difference_claim(difference: Difference) -> Claim:
    return Claim(
        kind="difference",
        note_ids=difference.note_ids,
        values={
            "bar": difference.bar,
            "beat": beat_text(difference.beat),
            "was": difference.was,
            "is": difference.now,
            "what": difference.what,
        },
    )
