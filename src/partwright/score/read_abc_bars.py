"""The bars of an ABC voice while they are read: bar lines, endings, jumps, and events put where they belong.

Source: the ABC standard 2.1, sections 4.8 to 4.10 (repeats, endings), 4.14 (jumps) and 7.4 (voice overlay).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from partwright.score.read_abc_event import AbcBar, AbcEvent, Remark
from partwright.score.read_abc_fields import ReadKey
from partwright.score.read_abc_tokens import BadMusic, Token
from partwright.score.written import WrittenKey, WrittenMetre

__all__ = ["MOST_BARS", "AbcBars", "BarLine", "ending_numbers", "read_bar_line"]

MOST_BARS = 10_000


@dataclass(frozen=True, slots=True)
class BarLine:
    """A bar line as ABC draws it: colons before and after, and the strokes between them."""

    colons_before: int
    colons_after: int
    core: str
    dotted: bool

    @property
    def ends_section(self) -> bool:
        """Whether a new section begins after it."""
        return bool(self.colons_before or self.colons_after or {"[", "]"} & set(self.core) or "||" in self.core)

    @property
    def style(self) -> str:
        """MusicXML's bar style of the line, where it ends a bar; "" for a plain one."""
        if self.core == "[|]":
            return "none"
        if "]" in self.core:
            return "light-heavy"
        if "||" in self.core:
            return "light-light"
        if self.dotted:
            return "dotted"
        return "light-heavy" if self.core.startswith("[") else ""


def read_bar_line(text: str) -> BarLine:
    """A bar line from its text.

    >>> read_bar_line(":|"), read_bar_line("::").colons_after
    (BarLine(colons_before=1, colons_after=0, core='|', dotted=False), 1)
    """
    line = text.removeprefix(".")
    before = len(line) - len(line.lstrip(":"))
    after = len(line) - len(line.rstrip(":"))
    if set(line) == {":"}:
        before, after = len(line) // 2, len(line) - len(line) // 2
    return BarLine(before, after, line.strip(":"), text.startswith("."))


def ending_numbers(text: str) -> str:
    """MusicXML's ending number from ABC's: "1-3" becomes "1, 2, 3"; words stay out of it.

    >>> ending_numbers("1-3"), ending_numbers("2,4"), ending_numbers("last")
    ('1, 2, 3', '2, 4', '')
    """
    numbers: list[int] = []
    for part in text.split(","):
        ends = part.strip().split("-")
        if all(end.isdigit() and 0 < int(end) < 100 for end in ends) and len(ends) in (1, 2):
            numbers += range(int(ends[0]), int(ends[-1]) + 1)
    return ", ".join(str(number) for number in numbers)


class AbcBars:
    """`done` are the bars that are closed, `now` the one being read; `last` is the note or rest put down last."""

    def __init__(self, *, metre: WrittenMetre | None, key: ReadKey, clef: str, remark: Remark) -> None:
        self.metre = metre
        self.done: list[AbcBar] = []
        self.now = AbcBar(
            metre=metre,
            free_metre=metre is None,
            key=key.key or WrittenKey(),
            clef=clef,
            section_before=True,
            metre_valid=metre,
        )
        self.last: AbcEvent | None = None
        self.layer = 0
        self.graces: list[AbcEvent] = []  # they wait for the note they decorate
        self._jumps: dict[str, str] = {}  # they wait for the next bar
        self._late_jumps: list[str] = []  # right after a bar line: of the bar before, or of the next
        self._ending = ""
        self._remark = remark

    @property
    def bar_length(self) -> Fraction:
        """Quarter notes of a full bar; four where the metre is free."""
        return self.metre.length_quarters if self.metre is not None else Fraction(4)

    @property
    def layer_empty(self) -> bool:
        """Whether nothing stands yet in the layer being read."""
        return not self.now.layers[self.layer]

    def set_metre(self, metre: WrittenMetre | None) -> None:
        """The bar that begins here, and those after it, have this metre; None is free."""
        self.metre = metre
        self.now.metre, self.now.free_metre, self.now.metre_valid = metre, metre is None, metre

    # Events

    def add(self, event: AbcEvent) -> None:
        """Puts an event at the end of the layer, after the grace notes that waited for it."""
        layer = self.now.layers[self.layer]
        index = len(self.done)
        for grace in self.graces:
            grace.bar_index = index
            layer.append(grace)
        self.graces = []
        event.bar_index = index
        if not layer and not self.now.line:
            self.now.line = event.line
        layer.append(event)
        self.last = event
        if self._late_jumps:
            self.settle_jumps()

    def add_layer(self, token: Token) -> None:
        """Another voice begins at the start of the bar."""
        self.now.layers.append([])
        self.layer = len(self.now.layers) - 1
        if self.layer > 7:
            raise BadMusic(token.column, "a bar has more than eight voices laid over each other", "Use V: for voices.")
        self.last = None

    def add_jump(self, value: str) -> None:
        """A segno or coda stands at the start of its bar, the jumps at its end, as MusicXML counts them."""
        at_start = value in ("segno", "coda")
        if not at_start and self.now.empty and self.done:
            self._late_jumps.append(value)
        elif at_start and not self.now.empty and not self._room_left():
            self._jumps[value] = value
        else:
            self.now.jumps[value] = value

    def settle_jumps(self) -> None:
        """A jump after a bar line with no note behind it on its line belongs to the bar that is closed."""
        if self.now.empty and self.done:
            self.done[-1].jumps.update((value, value) for value in self._late_jumps)
        else:
            self.now.jumps.update((value, value) for value in self._late_jumps)
        self._late_jumps = []

    def _room_left(self) -> bool:
        return self.metre is None or self.now.length < self.metre.length_quarters

    # Bar lines

    def close(self, unit: Fraction) -> None:
        """Ends the bar that is being read, if anything stands in it. `unit` is the unit note length in quarters."""
        self.settle_jumps()
        self.layer = 0
        bar, done = self.now, self.done
        if bar.empty:
            if self.graces and done:
                done[-1].layers[0] += self.graces
                self.graces = []
            return
        for grace in self.graces:
            grace.bar_index = len(done)
        bar.layers[0] += self.graces
        self.graces = []
        if len(bar.layers) > 1:
            self.last = next((e for e in reversed(bar.layers[0]) if not e.grace), None)
        if not bar.length:  # only grace notes: they belong to the bar before
            if done:
                done[-1].layers[0] += bar.layers[0]
                bar.layers = [[]]
                return
            bar.layers[0].append(AbcEvent(line=bar.line, column=1, duration=unit, invisible=True))
        if len(done) >= MOST_BARS:
            raise BadMusic(1, f"the tune has more than {MOST_BARS} bars", "Split it into several.")
        done.append(bar)
        self.now = AbcBar(metre_valid=self.metre, jumps=self._jumps)
        self._jumps = {}

    def draw_line(self, bar_line: BarLine, line: int, column: int) -> None:
        """What a bar line says of the bar before it (which is closed) and of the one after it."""
        before = self.done[-1] if self.done else None
        if before is not None:
            self._end_bar(before, bar_line)
        elif bar_line.colons_before and not bar_line.colons_after:
            self._remark("repeat start", "a repeat ends before any music; it was left out", line, column)
        if bar_line.colons_after:
            self.now.repeat_start = True
        core = bar_line.core
        if before is None and core.startswith("[|") and not core.endswith("]") and not bar_line.colons_after:
            self.now.left_line = "heavy-light"
        if bar_line.ends_section:
            self.now.section_before = True
            if self._ending and before is not None:
                before.ending_stop, before.ending_open = self._ending, not bar_line.colons_before
                self._ending = ""

    def _end_bar(self, bar: AbcBar, bar_line: BarLine) -> None:
        style = bar_line.style
        if bar_line.colons_before:
            bar.repeat_end = True
            bar.repeat_times = bar_line.colons_before + 1
        elif style == "light-light" or (style == "light-heavy" and "]" not in bar_line.core):
            bar.right_line = bar.right_line or style  # the second half of a line that was cut in two
        elif style:
            bar.right_line = style

    def begin_ending(self, text: str) -> None:
        """An ending begins with the bar being read; the one before it stops."""
        self._stop_ending()
        self.now.ending = self._ending = ending_numbers(text)

    def finish(self) -> None:
        """The tune is over: an ending that runs stops with its last bar."""
        self._stop_ending()

    def _stop_ending(self) -> None:
        if self._ending and self.done:
            self.done[-1].ending_stop = self._ending
            self.done[-1].ending_open = not self.done[-1].repeat_end
