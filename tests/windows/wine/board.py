"""The board that the test DLL adds to a program: turned, unplugged and plugged in by datagrams."""

import socket
import time

from lab.boards import Board
from lab.turning import Recorder

# Wine on a busy machine; nothing is measured.
ANSWER_LIMIT_S = 30


class FakeBoard:
    """One board, as `lab.boards` describes its reports, at a port of its own."""

    def __init__(self, board: Board) -> None:
        self.board = board
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.commands = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.commands.settimeout(ANSWER_LIMIT_S)
        self.commands.connect(("127.0.0.1", self.port))

    def environment(self) -> dict[str, str]:
        """What makes a program see it."""
        length = len(self.board.encode(frozenset()))
        return {"FAKE_HID": f"{self.port},{self.board.vendor:x},{self.board.product:x},{length}"}

    def _command(self, command: bytes) -> None:
        deadline = time.monotonic() + ANSWER_LIMIT_S
        while True:
            try:
                self.commands.send(command)
                answer = self.commands.recv(16)
                break
            except ConnectionRefusedError:
                # The program that has the board is still starting.
                if time.monotonic() > deadline:
                    raise
                time.sleep(0.05)
        if answer != command[:1]:
            raise RuntimeError(f"the board answered {answer!r} to {command!r}")

    def report(self, pressed: frozenset[int]) -> None:
        """Sends one report."""
        self._command(b"R\0" + self.board.encode(pressed))

    def play(self, recorder: Recorder) -> None:
        """Sends a recording, no faster than it was made."""
        began = time.monotonic()
        for at_ms, pressed in recorder.reports():
            time.sleep(max(0.0, began + at_ms / 1000 - time.monotonic()))
            self.report(pressed)

    def unplug(self) -> None:
        """Pulls the plug."""
        self._command(b"U")

    def plug(self) -> None:
        """Puts it back."""
        self._command(b"P")
