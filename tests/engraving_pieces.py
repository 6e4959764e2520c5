"""Invented pieces for the engraving tests: a forty-bar sample with everything a part may carry, and a dense study."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from pathlib import Path

from partwright.score import BracketLine, FingeringMark, Mark, StringMark, TechnicalMark, Tune, WordsMark, read_tune

STEPS = "CDEFGAB"


@dataclass
class Piece:
    """MusicXML being put together, with the marks for it."""

    bars: list[str] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    count: int = 0

    def next_id(self) -> str:
        self.count += 1
        return f"n{self.count}"

    def note(
        self,
        degree: int,
        divisions: int,
        kind: str,
        *,
        note_id: str,
        chord: bool = False,
        notations: str = "",
        beams: str = "",
        dot: bool = False,
        voice: int = 1,
    ) -> str:
        """One note; `degree` counts white keys from C2."""
        written = f"<notations>{notations}</notations>" if notations else ""
        return (
            f'<note id="{note_id}">{"<chord/>" if chord else ""}<pitch><step>{STEPS[degree % 7]}</step>'
            f"<octave>{2 + degree // 7}</octave></pitch><duration>{divisions}</duration><voice>{voice}</voice>"
            f"<type>{kind}</type>{'<dot/>' if dot else ''}{beams}{written}</note>"
        )

    def bar(self, body: str, *, number: int, left: str = "", right: str = "", implicit: bool = False) -> None:
        extra = ' implicit="yes"' if implicit else ""
        self.bars.append(f'<measure number="{number}"{extra}>{left}{body}{right}</measure>')

    def musicxml(self) -> str:
        return (
            '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0">'
            "<work><work-title>Sample for the engraver</work-title></work><part-list>"
            '<score-part id="P1"><part-name>Cello</part-name></score-part></part-list>'
            f'<part id="P1">{"".join(self.bars)}</part></score-partwise>'
        )

    def tune(self, folder: Path, name: str = "sample.musicxml") -> Tune:
        file = folder / name
        file.write_text(self.musicxml(), encoding="utf-8")
        return read_tune(file)


def beams(place: int, group: int, levels: int) -> str:
    word = "begin" if place % group == 0 else "end" if place % group == group - 1 else "continue"
    return "".join(f'<beam number="{level}">{word}</beam>' for level in range(1, levels + 1))


def direction(content: str, placement: str = "above") -> str:
    return f'<direction placement="{placement}"><direction-type>{content}</direction-type></direction>'


def chord_symbol(root: str, text: str, kind: str) -> str:
    return f'<harmony><root><root-step>{root}</root-step></root><kind text="{text}">{kind}</kind></harmony>'


SLUR_START, SLUR_STOP = '<slur type="start" number="1"/>', '<slur type="stop" number="1"/>'
ATTRIBUTES = (
    "<attributes><divisions>4</divisions><key><fifths>2</fifths></key><time><beats>3</beats><beat-type>4</beat-type>"
    "</time><clef><sign>F</sign><line>4</line></clef></attributes>"
)


def forty_bars() -> Piece:
    """Pick-up, repeats with endings, chord symbols, dynamics, double stops, harmonics, thumb, bows, every mark."""
    piece = Piece()
    chance = random.Random(4)
    first, second = piece.next_id(), piece.next_id()
    opening = (
        '<direction placement="above"><direction-type><words font-weight="bold">Andante con moto</words>'
        "</direction-type>"
        "<direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>92</per-minute></metronome>"
        "</direction-type></direction>" + direction("<dynamics><p/></dynamics>", "below")
    )
    piece.bar(
        ATTRIBUTES
        + opening
        + piece.note(5, 2, "eighth", note_id=first, beams=beams(0, 2, 1))
        + piece.note(6, 2, "eighth", note_id=second, beams=beams(1, 2, 1)),
        number=0,
        implicit=True,
    )
    piece.marks += [
        FingeringMark(note_id=first, finger="1"),
        FingeringMark(note_id=second, finger="2"),
        StringMark(note_id=first, number=3, letter="G"),
        TechnicalMark(note_id=first, element="up-bow"),
        WordsMark(note_id=first, text="I", role="position"),
    ]
    degree = 12
    for number in range(1, 41):
        body, left, right = _signs_of_bar(number)
        kind = number % 6
        if number == 40:
            last = piece.next_id()
            body += piece.note(8, 12, "half", note_id=last, dot=True)
            piece.marks.append(FingeringMark(note_id=last, finger="0"))
            right = '<barline location="right"><bar-style>light-heavy</bar-style></barline>'
        elif kind in (0, 3):
            more, degree = _slurred_eighths(piece, chance, number, degree)
            body += more
        elif kind == 1:
            more, degree = _half_and_quarter(piece, chance, number, degree)
            body += more
        elif kind == 2:
            more, degree = _sixteenths(piece, chance, number, degree)
            body += more
        elif kind == 4:
            body += _double_stops(piece)
        else:
            body += _high_notes(piece, number)
        piece.bar(body, number=number, left=left, right=right)
    return piece


def _signs_of_bar(number: int) -> tuple[str, str, str]:
    body, left, right = "", "", ""
    if number in (1, 9, 25):
        body += direction(f"<rehearsal>{'ABC'[(1, 9, 25).index(number)]}</rehearsal>")
    if number == 9:
        left = '<barline location="left"><bar-style>heavy-light</bar-style><repeat direction="forward"/></barline>'
    if number == 16:
        left = '<barline location="left"><ending number="1" type="start"/></barline>'
        right = (
            '<barline location="right"><bar-style>light-heavy</bar-style><ending number="1" type="stop"/>'
            '<repeat direction="backward"/></barline>'
        )
    if number == 17:
        left = '<barline location="left"><ending number="2" type="start"/></barline>'
        right = '<barline location="right"><ending number="2" type="discontinue"/></barline>'
    if number % 2:
        seventh = number % 4 == 3
        body += chord_symbol(
            "DGABEDGA"[number // 2 % 8], "m7" if seventh else "", "minor-seventh" if seventh else "major"
        )
    body += {
        5: direction('<wedge type="crescendo"/>', "below"),
        7: direction('<wedge type="stop"/>', "below") + direction("<dynamics><mf/></dynamics>", "below"),
        20: direction("<words>dolce</words>", "below"),
        28: direction("<words>poco rit.</words>") + direction("<words>ma non troppo</words>"),
    }.get(number, "")
    return body, left, right


def _step(chance: random.Random, degree: int, low: int = 0, high: int = 18) -> int:
    return max(low, min(high, degree + chance.choice([-2, -1, 1, 1, 2])))


def _slurred_eighths(piece: Piece, chance: random.Random, number: int, degree: int) -> tuple[str, int]:
    body = ""
    slurs = {0: SLUR_START, 5: SLUR_STOP}
    if number % 6 == 3:
        slurs = {0: SLUR_START, 1: SLUR_STOP, 2: SLUR_START, 5: SLUR_STOP}
    for place in range(6):
        degree = _step(chance, degree)
        note_id = piece.next_id()
        body += piece.note(
            degree, 2, "eighth", note_id=note_id, notations=slurs.get(place, ""), beams=beams(place, 2, 1)
        )
        if chance.random() < 0.6:
            substitute = "1" if chance.random() < 0.2 else None
            piece.marks.append(
                FingeringMark(note_id=note_id, finger=chance.choice(["2", "3", "4"]), substitute=substitute)
            )
        if place == 0:
            piece.marks.append(TechnicalMark(note_id=note_id, element="down-bow" if number % 2 else "up-bow"))
        if place == 2 and number % 9 == 0:
            piece.marks.append(StringMark(note_id=note_id, number=2, letter="D"))
    return body, degree


def _half_and_quarter(piece: Piece, chance: random.Random, number: int, degree: int) -> tuple[str, int]:
    degree = _step(chance, degree)
    first, second = piece.next_id(), piece.next_id()
    body = piece.note(degree, 8, "half", note_id=first, notations=SLUR_START)
    body += piece.note(min(18, degree + 1), 4, "quarter", note_id=second, notations=SLUR_STOP)
    piece.marks += [
        FingeringMark(note_id=first, finger="2", substitute="1" if number % 4 == 1 else None),
        FingeringMark(note_id=second, finger="4"),
        WordsMark(note_id=first, text=["I", "IV", "½", "II♯"][number // 6 % 4], role="position"),
        TechnicalMark(note_id=first, element="down-bow"),
    ]
    if number in (7, 25, 31):
        piece.marks.append(BracketLine(first_note_id=second, last_note_id=f"n{piece.count + 5}", text="ext."))
    if number == 13:
        piece.marks.append(
            BracketLine(first_note_id=first, last_note_id=f"n{piece.count + 9}", text="sul D", role="string")
        )
    return body, degree


def _sixteenths(piece: Piece, chance: random.Random, number: int, degree: int) -> tuple[str, int]:
    body = ""
    dots = "<articulations><staccato/></articulations>"
    for place in range(12):
        degree = _step(chance, degree, 2, 19)
        note_id = piece.next_id()
        body += piece.note(
            degree, 1, "16th", note_id=note_id, notations=dots if place > 7 else "", beams=beams(place, 4, 2)
        )
        guided = place == 7
        if number % 12 == 2 or guided or chance.random() < 0.4:
            piece.marks.append(FingeringMark(note_id=note_id, finger=chance.choice(["0", "1", "2", "3", "4"])))
        if place == 4:
            piece.marks.append(BracketLine(first_note_id=note_id, last_note_id=f"n{piece.count + 3}", role="guide"))
    return body, degree


def _double_stops(piece: Piece) -> str:
    body = ""
    for place in range(3):
        low, high = piece.next_id(), piece.next_id()
        body += piece.note(6 + place, 4, "quarter", note_id=low)
        body += piece.note(11 + place, 4, "quarter", note_id=high, chord=True)
        piece.marks += [
            FingeringMark(note_id=low, finger=str(1 + place)),
            FingeringMark(note_id=high, finger="0" if place == 1 else str(2 + place)),
        ]
        if place == 0:
            piece.marks += [
                TechnicalMark(note_id=high, element="down-bow"),
                StringMark(note_id=high, number=1, letter="A"),
            ]
    return body


def _high_notes(piece: Piece, number: int) -> str:
    first, second, rest = piece.next_id(), piece.next_id(), piece.next_id()
    body = piece.note(19, 4, "quarter", note_id=first)
    body += piece.note(22, 4, "quarter", note_id=second, notations="<fermata/>" if number == 29 else "")
    body += f'<note id="{rest}"><rest/><duration>4</duration><voice>1</voice><type>quarter</type></note>'
    thumb = number % 12 == 11
    if thumb:
        piece.marks.append(TechnicalMark(note_id=first, element="thumb-position"))
    else:
        piece.marks.append(FingeringMark(note_id=first, finger="3"))
    piece.marks += [
        FingeringMark(note_id=second, finger="3"),
        TechnicalMark(note_id=second if thumb else first, element="harmonic"),
        StringMark(note_id=first, number=1, letter="A"),
    ]
    return body


def dense_study(bars: int = 12, seed: int = 1) -> Piece:
    """Sixteenths in leaps, every note with finger, string and bow, many with substitutions: as crowded as it gets."""
    piece = Piece()
    chance = random.Random(seed)
    for number in range(1, bars + 1):
        body = ATTRIBUTES if number == 1 else ""
        for place in range(12):
            note_id = piece.next_id()
            slur = {0: SLUR_START, 3: SLUR_STOP, 4: SLUR_START, 11: SLUR_STOP}.get(place, "")
            body += piece.note(
                chance.randrange(0, 22), 1, "16th", note_id=note_id, notations=slur, beams=beams(place, 4, 2)
            )
            substitute = str(chance.randrange(1, 4)) if chance.random() < 0.3 else None
            piece.marks.append(
                FingeringMark(
                    note_id=note_id, finger=chance.choice(["0", "1", "2", "3", "4", "T"]), substitute=substitute
                )
            )
            if chance.random() < 0.5:
                piece.marks.append(
                    StringMark(note_id=note_id, number=1 + chance.randrange(4), letter=chance.choice("CGDA"))
                )
            if chance.random() < 0.5:
                piece.marks.append(TechnicalMark(note_id=note_id, element=chance.choice(["up-bow", "down-bow"])))
            if chance.random() < 0.15:
                piece.marks.append(TechnicalMark(note_id=note_id, element="harmonic"))
            if chance.random() < 0.15:
                piece.marks.append(
                    WordsMark(note_id=note_id, text=chance.choice(["I", "II♯", "IV", "½"]), role="position")
                )
            if chance.random() < 0.08:
                piece.marks.append(WordsMark(note_id=note_id, text="lift", role="bow"))
        if number % 2:
            body += direction(f"<dynamics><{chance.choice(['p', 'f', 'mf'])}/></dynamics>", "below")
        piece.bar(body, number=number)
    return piece


def plain_bars(bars: int) -> Piece:
    """Eight eighths a bar with a finger each: for sizes and times."""
    piece = Piece()
    for number in range(1, bars + 1):
        body = ATTRIBUTES.replace("<beats>3", "<beats>4") if number == 1 else ""
        for place in range(8):
            note_id = piece.next_id()
            slur = SLUR_START if place == 0 else SLUR_STOP if place == 3 else ""
            body += piece.note(
                5 + (number * 3 + place * 2) % 10,
                2,
                "eighth",
                note_id=note_id,
                notations=slur,
                beams=beams(place, 4, 1),
            )
            piece.marks.append(FingeringMark(note_id=note_id, finger=str((number + place) % 5)))
        piece.bar(body, number=number)
    return piece
