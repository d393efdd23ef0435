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


def kernel_code(button: int) -> int:
    """Code of the key event that Linux gives for a joystick's button: drivers/hid/hid-input.c, HID_UP_BUTTON."""
    return 0x120 + button - 1 if button <= 16 else 0x2C0 + button - 17
