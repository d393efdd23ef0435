"""Boards of an invented maker, as descriptor and report bytes.

Item encoding: HID 1.11, 6.2.2; usages: HID Usage Tables 1.3 (Generic Desktop 0x01, Button 0x09).
"""

from dataclasses import dataclass
from typing import Callable


@dataclass(frozen=True)
class Board:
    """One model of board: `encode` turns the set of pressed buttons (from 1) into a report."""

    name: str
    vendor: int
    product: int
    descriptor: bytes
    encode: Callable[[frozenset[int]], bytes]


def _plain(pressed: frozenset[int]) -> bytes:
    return _bits(pressed).to_bytes(4, "little") + (0x8000).to_bytes(2, "little")


def _numbered(pressed: frozenset[int]) -> bytes:
    return b"\x01" + (0x8000).to_bytes(2, "little") + _bits(pressed).to_bytes(3, "little")


def _bits(pressed: frozenset[int]) -> int:
    return sum(1 << (button - 1) for button in pressed)


# 32 buttons, then a 16-bit X that nobody moves; no report ID.
PLAIN = Board(
    "Bench 32",
    0x1209,
    0x7A11,
    bytes.fromhex(
        "05 01 09 04 A1 01 05 09 19 01 29 20 15 00 25 01 75 01 95 20 81 02"
        "05 01 09 30 15 00 27 FF FF 00 00 75 10 95 01 81 02 C0"
    ),
    _plain,
)

# Report ID 1, X first, then 20 buttons and 4 bits of padding: nothing where a reader without a descriptor would look.
NUMBERED = Board(
    "Bench 20",
    0x1209,
    0x7A12,
    bytes.fromhex(
        "05 01 09 04 A1 01 85 01 09 30 15 00 27 FF FF 00 00 75 10 95 01 81 02"
        "05 09 19 01 29 14 15 00 25 01 75 01 95 14 81 02 75 04 95 01 81 03 C0"
    ),
    _numbered,
)


@dataclass(frozen=True)
class Controls:
    """What a board with more than buttons shows; a hat points to one of eight sides, or to none."""

    pressed: frozenset[int] = frozenset()
    x: int = 0x8000
    y: int = 0x8000
    hat: int | None = None


def _stick(shown: Controls) -> bytes:
    hat = 15 if shown.hat is None else shown.hat
    axes = shown.x.to_bytes(2, "little") + shown.y.to_bytes(2, "little")
    return _bits(shown.pressed).to_bytes(3, "little") + axes + bytes([hat])


def _pad(shown: Controls) -> bytes:
    return _bits(shown.pressed).to_bytes(3, "little") + bytes([shown.x >> 8])


# A joystick of 24 buttons, X and Y of 16 bits and a hat with a null state, then 4 bits of padding.
STICK = Board(
    "Bench stick",
    0x1209,
    0x7A14,
    bytes.fromhex(
        "05 01 09 04 A1 01 05 09 19 01 29 18 15 00 25 01 75 01 95 18 81 02"
        "05 01 09 30 09 31 15 00 27 FF FF 00 00 75 10 95 02 81 02"
        "09 39 15 00 25 07 35 00 46 3B 01 65 14 75 04 95 01 81 42 65 00 75 04 95 01 81 03 C0"
    ),
    _stick,
)

# A gamepad of 20 buttons, whose codes begin elsewhere, and X of 8 bits.
PAD = Board(
    "Bench pad",
    0x1209,
    0x7A15,
    bytes.fromhex(
        "05 01 09 05 A1 01 05 09 19 01 29 14 15 00 25 01 75 01 95 14 81 02 75 04 95 01 81 03"
        "05 01 09 30 15 00 26 FF 00 75 08 95 01 81 02 C0"
    ),
    _pad,
)


def kernel_code(button: int, first: int = 0x120) -> int:
    """Code of the key event that Linux gives for a joystick's button: drivers/hid/hid-input.c, HID_UP_BUTTON.

    A gamepad's buttons begin at 0x130.
    """
    return first + button - 1 if button <= 16 else 0x2C0 + button - 17
