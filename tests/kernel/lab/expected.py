"""What the axis must show, in exact fractions, from the words of the rig and aircraft formats.

Written from the description of the formats and shares no code with the product, which uses fixed-point numbers:
position in counts from the low stop moves by one per count, is clamped to the travel, and maps to -32767..0 below and
0..32767 above neutral, to the nearest integer, halves away from zero.
"""

from dataclasses import dataclass, field
from fractions import Fraction

END = 32767


@dataclass
class Trim:
    """One trim; degrees may be int or Fraction; `neutral` defaults to the middle."""

    travel: Fraction | int
    counts_per_turn: int
    neutral: Fraction | int | None = None
    stops: str = "slip"
    reversed: bool = False
    tally: int = 0
    wound: Fraction = field(init=False)

    def __post_init__(self) -> None:
        scale = Fraction(self.counts_per_turn, 360)
        neutral = Fraction(self.travel) / 2 if self.neutral is None else Fraction(self.neutral)
        self.high, self.middle = Fraction(self.travel) * scale, neutral * scale
        self.wound = self.middle

    def position(self) -> Fraction:
        """Counts from the low stop."""
        return min(max(self.wound, Fraction(0)), self.high)

    def degrees(self) -> Fraction:
        """Degrees from the low stop."""
        return self.position() * 360 / self.counts_per_turn

    def axis(self) -> int:
        """Value of the axis."""
        off = self.position() - self.middle
        span = self.high - self.middle if off > 0 else self.middle
        return half_away(END * off / span)

    def count(self, counts: int) -> int:
        """Turns by whole counts and gives the new value of the axis."""
        self.tally += counts
        self.wound += -counts if self.reversed else counts
        if self.stops == "slip":
            # What went past a stop is gone.
            self.wound = self.position()
        return self.axis()


def half_away(value: Fraction) -> int:
    """Nearest integer, halves away from zero."""
    whole = (abs(value) + Fraction(1, 2)).__floor__()
    return whole if value >= 0 else -whole


def events(values: list[int], start: int) -> list[int]:
    """What a reader sees: the input core passes on no value equal to the one before (drivers/input/input.c)."""
    seen, last = [], start
    for value in values:
        if value != last:
            seen.append(value)
        last = value
    return seen
