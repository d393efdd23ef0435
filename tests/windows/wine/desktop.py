"""A desktop with a taskbar, as Wine makes one in a window of its own, and a hand on its mouse."""

import subprocess
from pathlib import Path

from wine.prefix import Prefix

WIDTH, HEIGHT = 800, 600
# Wine's taskbar is 20 pixels high, and its icons stand at the right, the first in the corner.
ICON = (WIDTH - 10, HEIGHT - 10)
ICON_PX = 16
# A menu of the corner ends at the taskbar; half a line above it is its last line.
LAST_LINE = (WIDTH - 150, HEIGHT - 32)

ON_THE_WAY = (WIDTH - 150, HEIGHT - 100)


class Desktop:
    """One desktop; programs are started in it by the words that come before theirs."""

    words = ["explorer", f"/desktop=shell,{WIDTH}x{HEIGHT}"]

    def __init__(self, prefix: Prefix) -> None:
        self.prefix = prefix
        prefix.screen()

    def _tool(self, *words: object) -> str:
        command = [*map(str, words)]
        return subprocess.run(command, env=self.prefix.environment, capture_output=True, text=True, check=True, timeout=60).stdout

    def click(self, place: tuple[int, int]) -> None:
        """With the left button, by a real pointer of the X server."""
        # Through the menu, so that no tip of the icon lies over it any more.
        self._tool("xdotool", "mousemove", *ON_THE_WAY, "sleep", 1, "mousemove", *place, "sleep", 0.5, "click", 1)

    def picture(self, file: Path) -> Path:
        """What is to be seen."""
        self._tool("import", "-window", "root", file)
        return file

    def colours_of_icon(self, picture: Path) -> int:
        """How many colours there are where the first icon stands; an empty taskbar has one."""
        left, top = (place - ICON_PX // 2 for place in ICON)
        return int(self._tool("convert", picture, "-crop", f"{ICON_PX}x{ICON_PX}+{left}+{top}", "-format", "%k", "info:"))

    def differs(self, before: Path, after: Path) -> float:
        """The part of the screen that is not the same, from 0 to 1."""
        done = subprocess.run(["compare", "-metric", "AE", before, after, "null:"], capture_output=True, text=True, check=False, timeout=60)
        return float(done.stderr) / (WIDTH * HEIGHT)
