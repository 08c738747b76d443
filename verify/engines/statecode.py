"""States as packed words, and words as states: the text of functions on plain numbers.

What must be the same for one state to stand for another comes first, restraints after it; in
both, numbers that have a place of their own, then the entries of banks. See ``packing.Layout``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from verify.engines.codetext import NARROW, CodeText
from verify.engines.packing import WORD, Layout


class StateCode(CodeText):
    """``unpack``, ``sound``, ``pack``, ``free_bits`` and ``weaker``. ``room``: where in ``m`` each
    part of a state is."""

    def __init__(self, layout: Layout, room: Mapping[int, int]) -> None:
        super().__init__()
        self.layout, self.room = layout, room
        self._unpack()
        self._sound()
        self._pack()
        self._free_bits()
        self._weaker()

    def _unpack(self) -> None:
        layout, room = self.layout, self.room
        with self._under("def unpack(words, base, m):"):
            self._line("m[0] = 0")
            at, moving = 0, False
            for part in layout.parts:
                for i in part:
                    span = layout.spans[i]
                    read = self._read("words", "base", at, span.width, moving)
                    self._line(f"m[{room[i]}] = {read} + {span.least}")
                    at += span.width
                for i in (i for i in part if i in layout.banks):
                    width = layout.banks[i].width
                    if not moving:
                        self._line(f"p = {at}")
                        moving, at = True, 0
                    elif at:
                        self._line(f"p += {at}")
                        at = 0
                    with self._under(f"for j in range(m[{room[i]}]):"):
                        self._line(f"m[{room[i] + 1} + j] = get(words, base, p, {width})")
                        self._line(f"p += {width}")

    def _sound(self) -> None:
        """What was unpacked lies within its bounds: of states that come from elsewhere."""
        layout, room = self.layout, self.room
        with self._under("def sound(m):"):
            for i, span in layout.spans.items():
                with self._under(f"if m[{room[i]}] > {span.most}:"):
                    self._line("return False")
            for i, bank in layout.banks.items():
                with self._under(f"for j in range(m[{room[i]}]):"):
                    self._line(f"x = m[{room[i] + 1} + j]")
                    with self._under(f"if (x >> {bank.under}) > {bank.left.most}:"):
                        self._line("return False")
                    for shift, field in zip(bank.shifts, bank.fields, strict=True):
                        mask, most = (1 << field.width) - 1, field.most - field.least
                        with self._under(f"if ((x >> {shift}) & {mask}) > {most}:"):
                            self._line("return False")
            self._line("return True")

    def _pack(self) -> None:
        """``words`` are of ``m``; how many bits must be the same for one to stand for another."""
        layout, room = self.layout, self.room
        with self._under("def pack(m, words, many):"):
            at, moving = 0, False
            begun: list[str] = []
            for part in layout.parts:
                for i in part:
                    span = layout.spans[i]
                    if span.width and moving:
                        self._line(f"put(words, p, {span.width}, m[{room[i]}] - {span.least})")
                        self._line(f"p += {span.width}")
                    elif span.width:
                        self._add(begun, at, span.width, f"(m[{room[i]}] - {span.least})")
                        at += span.width
                for i in (i for i in part if i in layout.banks):
                    if not moving:
                        self._begun(begun, at)
                        moving = True
                    width = layout.banks[i].width
                    rest = self._rest_after(part, i)
                    with self._under(f"if p + m[{room[i]}] * {width} + {rest} > many * {WORD}:"):
                        self._line(f"m[0] = {NARROW}")
                        self._line("return 0")
                    with self._under(f"for j in range(m[{room[i]}]):"):
                        self._line(f"put(words, p, {width}, m[{room[i] + 1} + j])")
                        self._line(f"p += {width}")
                if part is layout.parts[0]:
                    self._line("free = p" if moving else f"free = {at}")
            if not moving:
                self._begun(begun, at)
            self._line("return free")

    @staticmethod
    def _add(words: list[str], at: int, width: int, value: str) -> None:
        """What has a place of its own is put together without asking where."""
        word, shift = at // WORD, at % WORD
        words += ["0"] * (word + 1 - len(words))
        whole = shift + width <= WORD
        words[word] += f" | ({value} << {shift})" if whole else f" | (({value} << {shift}) & ALL)"
        if not whole:
            words.append(f"({value} >> {WORD - shift})")

    def _begun(self, words: list[str], at: int) -> None:
        for k, word in enumerate(words):
            self._line(f"words[{k}] = {word}")
        with self._under(f"for j in range({len(words)}, many):"):
            self._line("words[j] = 0")
        self._line(f"p = {at}")

    def _free_bits(self) -> None:
        """How many bits of a state must be the same for one to stand for the other."""
        layout, part = self.layout, self.layout.parts[0]
        with self._under("def free_bits(words, base):"):
            at, more = 0, []
            for i in part:
                width = layout.spans[i].width
                if i in layout.banks:
                    more.append(
                        f"{self._read('words', 'base', at, width, False)} * {layout.banks[i].width}"
                    )
                at += width
            self._line("return " + " + ".join([str(at), *more]))

    def _rest_after(self, part: Sequence[int], bank: int) -> int:
        """Bits with a place of their own that follow the entries of a bank."""
        if part is self.layout.parts[0]:
            return sum(self.layout.spans[i].width for i in self.layout.parts[1])
        return 0

    @staticmethod
    def _read(words: str, base: str, at: int, width: int, moving: bool) -> str:
        if width == 0:
            return "0"
        if moving:
            return f"get({words}, {base}, p + {at}, {width})"
        word, shift, mask = at // WORD, at % WORD, (1 << width) - 1
        if shift + width > WORD:
            return f"get({words}, {base}, {at}, {width})"
        return f"(({words}[{base} + {word}] >> {shift}) & {mask})"

    def _weaker(self) -> None:
        """``a`` may stand for ``b``: what follows bit ``p`` of it is nowhere longer."""
        layout, part = self.layout, self.layout.parts[1]
        with self._under("def weaker(a, ia, b, ib, p):"):
            counts: list[tuple[int, str, str]] = []
            for i in part:
                width = layout.spans[i].width
                if not width:
                    continue
                self._line(f"x = get(a, ia, p, {width})")
                self._line(f"y = get(b, ib, p, {width})")
                with self._under("if x > y:"):
                    self._line("return False")
                if i in layout.banks:
                    x, y = f"n{i}", f"k{i}"
                    self._line(f"{x} = x")
                    self._line(f"{y} = y")
                    counts.append((i, x, y))
                self._line(f"p += {width}")
            if counts:
                self._line("pa = p")
                self._line("pb = p")
            for i, x, y in counts:
                bank = layout.banks[i]
                arguments = f"a, (ia << 16) | pa, {x}, b, (ib << 16) | pb, {y}"
                with self._under(f"if not bank_weaker({arguments}, {bank.width}, {bank.under}):"):
                    self._line("return False")
                self._line(f"pa += {x} * {bank.width}")
                self._line(f"pb += {y} * {bank.width}")
            self._line("return True")
