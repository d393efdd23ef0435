"""What a builder would write in Python for the job, with python-evdev: raw reports in, axis out.

The second yardstick of tests/kernel/bench; the same two wheels as floor.c. Usage: floor.py HIDRAW DEVICE-NAME.
Interface: python-evdev's documentation, UInput.
"""

import os
import sys

from evdev import AbsInfo, UInput, ecodes

END = 32767
COUNTS_EACH_WAY = 96
WHEELS = ((0x04, 0x08, ecodes.ABS_X), (0x10, 0x20, ecodes.ABS_Y))

board = os.open(sys.argv[1], os.O_RDWR)
axis = AbsInfo(value=0, min=-END, max=END, fuzz=0, flat=0, resolution=0)
device = UInput(
    {ecodes.EV_KEY: [ecodes.BTN_TRIGGER], ecodes.EV_ABS: [(code, axis) for _, _, code in WHEELS]}, name=sys.argv[2]
)
position = [0] * len(WHEELS)
before = 0
while True:
    now = int.from_bytes(os.read(board, 64)[:4], "little")
    rising = now & ~before
    before = now
    changed = False
    for wheel, (forward, backward, code) in enumerate(WHEELS):
        moved = bool(rising & forward) - bool(rising & backward)
        if moved:
            position[wheel] = min(max(position[wheel] + moved, -COUNTS_EACH_WAY), COUNTS_EACH_WAY)
            half = -COUNTS_EACH_WAY if position[wheel] < 0 else COUNTS_EACH_WAY
            device.write(ecodes.EV_ABS, code, int((2 * END * position[wheel] + half) / (2 * COUNTS_EACH_WAY)))
            changed = True
    if changed:
        device.syn()
