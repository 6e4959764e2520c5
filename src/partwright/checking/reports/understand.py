"""What a comment says: which kind it is, what it claims of a note, and where.

Method: the atoms of the grammar that lie in the comment without overlapping and weigh most (dynamic programming over
the words); then a pass from left to right gives every value its role: what the viewer thinks is right (+), what he
heard or read instead (-), or a mere description of the note ("the G with third finger"). A value has the role of the
nearest words before it that give one; a note named with "the" is what is spoken of, not what it should be.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from partwright.checking.narration.atoms import Atom, find_atoms
from partwright.checking.narration.language import Value
from partwright.checking.narration.parse import claim_value
from partwright.checking.reports.spelling import Token, comment_language, spell, tokens_of

__all__ = ["CLAIMS", "KINDS", "Pointers", "Said", "Understood", "understand"]

CLAIMS = ("note", "finger", "string", "position", "bow", "rhythm", "extension", "harmonic")
KINDS = (*CLAIMS, "video", "request", "question", "thanks", "other")

Role = Literal["+", "-", "weak", "0"]

_KIND_OF = {
    "note": "note", "note_hint": "note", "note_open": "note", "plural": "note", "plural_bare": "note",
    "nth_note": "note", "finger": "finger", "ordinal": "finger", "digit": "finger", "open": "finger",
    "not_finger": "finger",
    "substitute": "finger", "string": "string", "position": "position", "bow": "bow", "slur": "bow", "separate": "bow",
    "articulation": "bow", "beats": "rhythm", "value": "rhythm", "rest": "rhythm", "times": "rhythm",
    "extension": "extension", "no_extension": "extension", "harmonic": "harmonic", "not_harmonic": "harmonic",
}  # fmt: skip
_ROLES = frozenset({"should", "is", "was", "was_change", "swap_to", "swap", "or", "contrast", "fault"})
_PLACES = frozenset(
    {"when", "at_bar", "at_bar_of", "at_bar_nth", "at_beat", "on_beat", "nth_any", "section", "bar", "bars"}
)
_SORTS = frozenset({"wish", "ask", "ask_word", "praise", "technical"})
_HINTS = frozenset({"of_finger", "of_bow", "of_rhythm", "of_string", "of_position", "of_note", "alter"})
_USED = frozenset(_KIND_OF) | _ROLES | _PLACES | _SORTS | _HINTS | {"other", "elsewhere"}
_LONGER = 0.35  # each further word of an atom
_SEEMING = 0.35  # words that only look like a claim: in writing fewer do than in speech
_SPLIT_BAR = re.compile(r"\d+[a-z]")
_DETERMINERS = frozenset({"the", "that", "this", "your", "those", "these"})
_QUESTION_STARTS = frozenset(
    {"is", "are", "do", "does", "did", "can", "could", "should", "would", "has", "have", "any", "am"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One value: its kind as in `CLAIMS`, the claim it makes in the narration's terms, its role and its words."""

    kind: str
    claim: str
    value: tuple[Value, ...]
    role: Role
    first_word: int
    last_word: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Pointers:
    """Where the comment points: seconds, bars as printed (first and last), beats, sections, "the second G"."""

    times_s: tuple[float, ...] = ()
    bars: tuple[tuple[str, str], ...] = ()
    beats: tuple[float, ...] = ()
    sections: tuple[str, ...] = ()
    bar_in_section: int = 0  # the second bar of a section; -1 the last; 0 none
    nth: int = 0  # the second note, or the second of that name; -1 the last; 0 none
    nth_name: tuple[str, int | None] | None = None

    @property
    def any(self) -> bool:
        return bool(self.times_s or self.bars or self.sections or self.bar_in_section)


@dataclass(frozen=True, kw_only=True)
class Understood:
    """A comment, understood. `kind` is one of `KINDS`; `names` are the notes it describes (accidental None: unsaid)."""

    kind: str
    said: tuple[Said, ...] = ()
    names: tuple[tuple[str, int | None], ...] = ()
    fingers: tuple[int, ...] = ()  # "the one with third finger": described, not claimed
    pointers: Pointers = field(default_factory=Pointers)
    faulted: bool = False
    either: bool = False  # "X instead of Y" after "error": which of the two is right is not clear from the words
    words: str = ""  # the words that make the claim
    wish: str = ""

    @property
    def claims(self) -> bool:
        return self.kind in CLAIMS

    @property
    def proposed(self) -> tuple[Said, ...]:
        return tuple(s for s in self.said if s.role == "+" and s.kind == self.kind)

    @property
    def observed(self) -> tuple[Said, ...]:
        return tuple(s for s in self.said if s.role == "-" and s.kind == self.kind)


def understand(text: str) -> Understood:
    """The comment's kind, and where it claims something of a note, what and where."""
    language = comment_language()
    tokens = tokens_of(text)
    if not tokens:
        return Understood(kind="other")
    lattice = spell(tokens, language)
    atoms = _best(find_atoms(lattice, language, tuple(token.stop for token in tokens)), len(tokens))
    atoms = _without_stray_digits(atoms, tokens)
    said, either = _roles(atoms, tokens)
    return _sorted_out(text, tokens, atoms, said, either)


def _best(found: Sequence[Sequence[Atom]], size: int) -> list[Atom]:
    """The atoms that do not overlap and weigh most together."""
    best: list[tuple[float, Atom | None]] = [(0.0, None)] * (size + 1)
    for at in range(size - 1, -1, -1):
        best[at] = (best[at + 1][0], None)
        for atom in found[at]:
            if atom.kind not in _USED:
                continue
            own = atom.weight if atom.kind != "other" else _SEEMING * atom.weight
            weight = own - atom.price + _LONGER * (atom.last_word - atom.first_word)
            if weight + best[atom.end][0] > best[at][0]:
                best[at] = (weight + best[atom.end][0], atom)
    chosen = []
    at = 0
    while at < size:
        pick = best[at][1]
        if pick is None:
            at += 1
            continue
        if pick.kind not in ("other", "elsewhere"):
            chosen.append(pick)
        at = pick.end
    return chosen


def _without_stray_digits(atoms: list[Atom], tokens: Sequence[Token]) -> list[Atom]:
    """Lone numbers are fingers only where they are figures, and fingers are spoken of or two are set apart."""
    fingers = any(a.kind in ("finger", "of_finger", "ordinal") for a in atoms)
    figures = [a for a in atoms if a.kind == "digit" and tokens[a.first_word].form.startswith("#")]
    marked = any(a.kind in ("should", "was", "swap", "is") for a in atoms)
    others = any(_KIND_OF.get(a.kind, "note") not in ("note", "finger") for a in atoms)
    keep = (fingers or len(figures) > 1 or (marked and not others)) and not (others and not fingers)
    return [a for a in atoms if a.kind != "digit" or (keep and a in figures)]


def _roles(atoms: Sequence[Atom], tokens: Sequence[Token]) -> tuple[list[Said], bool]:
    said: list[Said] = []
    marker: Role | Literal["change", ""] = ""
    faulted = either = False
    last_word = -1
    for k, atom in enumerate(atoms):
        if any(tokens[w].stop == 2 for w in range(max(0, last_word), atom.first_word)):
            marker = ""
        last_word = atom.last_word
        match atom.kind:
            case "should":
                marker = "+"
            case "is":
                marker = marker or "weak"
            case "was":
                marker = "-"
            case "was_change":
                marker = "change"
            case "fault":
                faulted, marker = True, ""
            case "swap_to":
                arrow = tokens[atom.first_word].form == "@arrow"
                if said and (said[-1].role == "-" or arrow):
                    said[-1] = replace(said[-1], role="-")
                    marker = "+"
            case "swap":
                before = said[-1] if said else None
                if before is not None and before.role in ("0", "weak"):
                    either = faulted
                    said[-1] = replace(before, role="-" if faulted else "+")
                    marker = "+" if faulted else "-"
                else:
                    marker = "-"
            case "alter":
                step = next((s.value[0] for s in reversed(said) if s.kind == "note"), None)
                if marker == "+" and step is not None:
                    alter = atom.value("accidental")
                    value = (step, 0 if alter is None else int(alter))
                    said.append(Said(kind="note", claim="note", value=value, role="+", first_word=atom.first_word,
                                     last_word=atom.last_word))  # fmt: skip
                    marker = ""
            case kind if kind in _KIND_OF:
                role: Role = "-" if marker == "change" else marker or "0"
                subject = _KIND_OF[kind] == "note" and _is_subject(atoms, k, tokens, marker)
                said.append(_said(atom, tokens, "0" if subject else role))
                if kind == "not_finger":
                    said[-1] = replace(said[-1], claim="finger", role="-")
                if not subject:
                    marker = ""
    return _settled(said), either


def _is_subject(atoms: Sequence[Atom], k: int, tokens: Sequence[Token], marker: str) -> bool:
    """Whether this note is the one spoken of: named with "the", or what is claimed of it follows."""
    atom = atoms[k]
    if atom.kind == "nth_note":
        return True
    before = tokens[atom.first_word - 1].form if atom.first_word else ""
    if before in _DETERMINERS or tokens[atom.first_word].form in _DETERMINERS:
        return True
    for later in atoms[k + 1 :]:
        if any(tokens[w].stop == 2 for w in range(atom.last_word, later.first_word)):
            return False
        if later.kind in ("should", "was", "swap", "contrast"):
            followed = any(a.kind in _KIND_OF or a.kind == "alter" for a in atoms[atoms.index(later) + 1 :])
            return later.kind == "should" and marker in ("", "weak") and followed
        if later.kind in _KIND_OF:
            return _KIND_OF[later.kind] != "note" and bool(marker)
    return False


def _said(atom: Atom, tokens: Sequence[Token], role: Role) -> Said:
    kind = _KIND_OF[atom.kind]
    if kind == "note":
        letter = atom.value("letter") or atom.value("letters") or ""
        accidental = atom.value("accidental")
        alter = 9 if accidental is None else int(accidental)
        return Said(kind=kind, claim="note", value=(str(letter), alter), role=role, first_word=atom.first_word,
                    last_word=atom.last_word)  # fmt: skip
    claim, value = claim_value(atom)
    if claim == "value" and any(tokens[w].form == "dotted" for w in range(atom.first_word, atom.last_word + 1)):
        value = (1.5 * float(value[0]),)
    return Said(kind=kind, claim=claim, value=value, role=role, first_word=atom.first_word, last_word=atom.last_word)


def _settled(said: list[Said]) -> list[Said]:
    """Weak and missing roles decided by the others of their kind: beside a "not second", "third" is what is right."""
    found = list(said)
    for kind in {s.kind for s in said}:
        mine = [k for k, s in enumerate(found) if s.kind == kind]
        sure = {found[k].role for k in mine} & {"+", "-"}
        open_ = [k for k in mine if found[k].role in ("weak", "0")]
        if sure == {"+"}:
            wanted = {found[k].value for k in mine if found[k].role == "+"}
            for k in open_:
                if found[k].role == "weak" and found[k].value not in wanted:
                    found[k] = replace(found[k], role="-")
        elif sure == {"-"} and open_:
            unlike = [k for k in open_ if all(found[k].value != found[j].value for j in mine if found[j].role == "-")]
            weak = [k for k in unlike if found[k].role == "weak"]
            pick = (weak or [k for k in unlike if kind != "note" or not _names(found, k)] or unlike)[:1]
            for k in pick:
                found[k] = replace(found[k], role="+")
        elif sure == set() and any(found[k].role == "weak" for k in mine):
            for k in open_:
                if found[k].role == "weak":
                    found[k] = replace(found[k], role="+")
        elif sure == {"-"} and len(mine) == 2 and found[mine[0]].value != found[mine[1]].value:
            found[mine[1]] = replace(found[mine[1]], role="+")
    return found


def _names(said: Sequence[Said], k: int) -> bool:
    """Whether this note only names what another value is claimed of."""
    return said[k].kind == "note" and any(s.kind != "note" for s in said)


def _sorted_out(
    text: str, tokens: Sequence[Token], atoms: Sequence[Atom], said: Sequence[Said], either: bool
) -> Understood:
    pointers = _pointers(atoms, tokens, said)
    kinds = {atom.kind for atom in atoms}
    faulted = "fault" in kinds
    strong_marks = any(a.kind in ("should", "was", "swap", "swap_to") for a in atoms) or faulted
    valued = [s for s in said if s.role in ("+", "-")]
    first = next((a.kind for a in atoms if a.kind not in _PLACES and a.kind != "praise"), "")
    asked = any(t.asked for t in tokens)
    asks_first = first in ("ask", "ask_word") or (tokens[0].form in _QUESTION_STARTS and asked)
    praised = "praise" in kinds
    kind = _claim_kind(said, atoms)
    placed = pointers.any or bool(pointers.nth)
    claims = bool(kind) and (
        bool(valued) and (strong_marks or placed) and not (asks_first and not _insists(atoms, said))
    )
    if "wish" in kinds and not (claims and placed):
        kind = "request"
    elif "technical" in kinds and not (claims and _insists(atoms, said)):
        kind = "video"
    elif claims:
        pass
    elif faulted and (placed or "of_note" in kinds) and not asks_first:
        spoken = [s.kind for s in said if s.kind != "note"]
        kind = kind or (spoken[0] if len(set(spoken)) == 1 else _hinted(kinds))
    elif "ask" in kinds or ("ask_word" in kinds and asks_first) or ((asked or "ask_word" in kinds) and not praised):
        kind = "question"
    elif praised:
        kind = "thanks"
    else:
        kind = "other"
    if kind not in CLAIMS:
        return Understood(kind=kind, pointers=pointers, words=text)
    names = tuple(
        (str(s.value[0]), None if s.value[1] == 9 else int(s.value[1]))
        for s in said
        if s.kind == "note" and s.role == "0"
    )
    fingers = tuple(int(s.value[0]) for s in said if s.kind == "finger" and s.role == "0" and kind == "note")
    return Understood(
        kind=kind, said=tuple(said), names=names, fingers=fingers, pointers=pointers, faulted=faulted, either=either,
        words=_claim_words(text, tokens, atoms),
    )  # fmt: skip


def _insists(atoms: Sequence[Atom], said: Sequence[Said]) -> bool:
    """Whether something is said to be right or wrong outright, or two things are set against each other."""
    values = {(s.kind, s.value) for s in said if s.role in ("+", "-")}
    if any(a.kind == "contrast" for a in atoms) and len(values) > len({kind for kind, _ in values}):
        return True
    return any(a.kind in ("should", "swap", "fault") for a in atoms) and any(s.role == "+" for s in said)


def _claim_kind(said: Sequence[Said], atoms: Sequence[Atom]) -> str:
    """What the claim is about: what is said to be right, rather of the hand than of the note's name."""
    for role in ("+", "-"):
        kinds = [s.kind for s in said if s.role == role]
        hand = [kind for kind in kinds if kind != "note"]
        if hand:
            order = ("position", "string", "bow", "rhythm", "harmonic", "extension", "finger")
            return min(hand, key=order.index)
        if kinds:
            return "note"
    return ""


def _hinted(kinds: Iterable[str]) -> str:
    for hint in ("of_finger", "of_bow", "of_rhythm", "of_string", "of_position"):
        if hint in kinds:
            return hint.removeprefix("of_")
    return "note"


def _pointers(atoms: Sequence[Atom], tokens: Sequence[Token], said: Sequence[Said]) -> Pointers:
    times, bars, beats, sections = [], [], [], []
    bar_in_section = nth = 0
    nth_name: tuple[str, int | None] | None = None
    for atom in atoms:
        if atom.kind == "when":
            times += [tokens[w].seconds for w in range(atom.first_word, atom.last_word + 1) if tokens[w].seconds >= 0]
        elif atom.kind in ("at_bar", "bar"):
            number = sum(
                int(v) for _, cls, v in atom.captures if cls in ("figures", "figureth", "tens", "teens", "cardinal")
            )
            printed = next(
                (t.text for t in tokens[atom.first_word : atom.last_word + 1] if _SPLIT_BAR.fullmatch(t.text)), ""
            )
            if printed:  # "8b": a bar that a repeat sign divides
                bars.append((printed, printed))
            else:
                bars.append((str(number), str(_range_end(tokens, atom.last_word, number))))
        elif atom.kind == "bars":
            ends = [sum(int(v) for name, _, v in atom.captures if name == side) for side in ("first", "last")]
            bars.append((str(ends[0]), str(ends[1])))
        elif atom.kind in ("at_bar_nth", "at_bar_of"):
            bar_in_section = int(atom.value("place_word") or 0)
        elif atom.kind in ("at_beat", "on_beat"):
            beats.append(float(next(v for _, cls, v in atom.captures if cls in ("figures", "cardinal", "ordinal"))))
        elif atom.kind == "section":
            sections.append(str(atom.value("name")))
        elif atom.kind in ("nth_note", "nth_any"):
            nth = int(atom.value("place_word") or atom.value("end_word") or 0)
            letter, alter = atom.value("letter"), atom.value("accidental")
            nth_name = None if letter is None else (str(letter), None if alter is None else int(alter))
    if bar_in_section and not sections and not bars:
        if bar_in_section > 0:
            bars.append((str(bar_in_section), str(bar_in_section)))  # "the fourth bar" of the tune
            bar_in_section = 0
    elif bars:
        bar_in_section = 0
    return Pointers(
        times_s=tuple(times), bars=tuple(bars), beats=tuple(beats), sections=tuple(sections),
        bar_in_section=bar_in_section, nth=nth, nth_name=nth_name,
    )  # fmt: skip


def _range_end(tokens: Sequence[Token], word: int, number: int) -> int:
    """The last bar of "bars 12-14" and "bars 12 to 14"; the first where there is no range."""
    behind = word + 1
    if behind < len(tokens) and tokens[behind].form in ("to", "and", "through"):
        behind += 1
    elif tokens[word].stop == 0:
        return number
    if behind < len(tokens) and tokens[behind].form.startswith("#") and tokens[behind].form[1:].isdigit():
        end = int(tokens[behind].form[1:])
        plural = any(t.form in ("bars", "measures", "mm") for t in tokens[max(0, word - 3) : word])
        if plural and number < end < number + 64:
            return end
    return number


def _claim_words(text: str, tokens: Sequence[Token], atoms: Sequence[Atom]) -> str:
    """The sentences of the comment that make the claim."""
    used = [a for a in atoms if a.kind in _KIND_OF or a.kind in _PLACES or a.kind in ("should", "was", "swap", "fault")]
    if not used:
        return text
    first, last = used[0].first_word, used[-1].last_word
    while first > 0 and tokens[first - 1].stop < 2:
        first -= 1
    while last + 1 < len(tokens) and tokens[last].stop < 2:
        last += 1
    end = tokens[last].end
    while end < len(text) and text[end] in '?!.)”"':
        end += 1
    return text[tokens[first].begin : end]
