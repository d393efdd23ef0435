"""The programs of a scene: a bus, the miniature desktop, the daemon, and what is asked of its tray item."""
import collections
import contextlib
import json
import os
import signal
import socket
import subprocess
import threading
import time

import dbus

HERE = os.path.dirname(os.path.abspath(__file__))
TOP = os.path.dirname(os.path.dirname(os.path.dirname(HERE)))
# Long enough for a busy machine; nothing here is measured.
PATIENCE_S = 60
ITEM = "org.kde.StatusNotifierItem"
MENU = "com.canonical.dbusmenu"

RIG = """\
name = "bench"
[[board]]
name = "main"
usb = "1209:7a11"
[[wheel]]
name = "rudder"
wiring = "pulses"
forward = 1
backward = 2
counts_per_turn = 96
pulse_on_ms = 20
pulse_off_ms = 20
[[wheel]]
name = "elevator"
wiring = "pulses"
forward = 3
backward = 4
counts_per_turn = 24
"""
KETTRIN = """\
name = "Kettrin 2 floatplane"
[[trim]]
name = "rudder"
travel_degrees = 580
[[trim]]
name = "elevator"
travel_degrees = 1080
neutral_degrees = 450
[[output]]
kind = "datagram"
to = "127.0.0.1:{port}"
"""
DIMMERLY = """\
name = "Dimmerly 1 trainer"
[[trim]]
name = "elevator"
travel_degrees = 720
"""


def until(what, get, patience=PATIENCE_S):
    """Asks `get` until it answers something true; that is the answer."""
    end = time.monotonic() + patience
    while True:
        answer = get()
        if answer:
            return answer
        if time.monotonic() > end:
            raise AssertionError(f"waited in vain for {what}")
        time.sleep(0.05)


class Bus:
    """A session bus of its own."""

    def __init__(self, folder, env):
        self.address, self.env = f"unix:path={folder}/bus", env
        self.start()

    def start(self):
        self.process = subprocess.Popen(
            ["dbus-daemon", "--session", "--nofork", "--nopidfile", "--nosyslog", f"--address={self.address}",
             "--print-address"], env=self.env, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        self.process.stdout.readline()

    def connect(self):
        return dbus.bus.BusConnection(self.address)

    def end(self):
        self.process.kill()
        self.process.wait()


class Lines:
    """A process whose lines of JSON are kept as they come."""

    def __init__(self, command, env):
        self.process = subprocess.Popen(command, env=env, stdout=subprocess.PIPE, text=True)
        self.told = collections.deque(maxlen=10000)
        threading.Thread(target=self.read, daemon=True).start()
        until("the desktop", lambda: any("ready" in told for told in self.told))

    def read(self):
        for line in self.process.stdout:
            self.told.append(json.loads(line))

    def all(self, key):
        return [told for told in list(self.told) if key in told]

    def end(self):
        self.process.kill()
        self.process.wait()


class Stage:
    """A folder, a bus, and all that was started."""

    def __init__(self, folder):
        self.folder = folder
        self.config = os.path.join(folder, "config")
        self.log = os.path.join(folder, "log")
        os.makedirs(os.path.join(self.config, "aircraft"))
        os.makedirs(os.path.join(folder, "bin"))
        self.receiver = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.receiver.bind(("127.0.0.1", 0))
        self.receiver.settimeout(PATIENCE_S)
        self.save("rig.toml", RIG)
        self.save("aircraft/kettrin-2.toml", KETTRIN.format(port=self.receiver.getsockname()[1]))
        self.save("aircraft/dimmerly-1.toml", DIMMERLY)
        self.bus = None
        self.running = contextlib.ExitStack()

    def save(self, name, text):
        # As editors do: a whole new file in place of the old one.
        path = os.path.join(self.config, name)
        with open(path + "~", "w") as file:
            file.write(text)
        os.replace(path + "~", path)

    def opener(self, script):
        path = os.path.join(self.folder, "bin", "xdg-open")
        with open(path, "w") as file:
            file.write(f"#!/bin/sh\n{script}\n")
        os.chmod(path, 0o755)

    def env(self, **more):
        env = {name: value for name, value in os.environ.items()
               if name not in ("DBUS_SESSION_BUS_ADDRESS", "XDG_RUNTIME_DIR", "DISPLAY", "WAYLAND_DISPLAY")}
        env["PATH"] = os.path.join(self.folder, "bin") + os.pathsep + env["PATH"]
        if self.bus:
            env["DBUS_SESSION_BUS_ADDRESS"] = self.bus.address
        return {**env, **more}

    def with_bus(self, **more):
        """Starts a bus; what it starts gets the environment `more` too."""
        self.bus = Bus(self.folder, self.env(**more))
        self.running.callback(self.bus.end)
        return self

    def desktop(self, *parts):
        desktop = Lines(["/usr/bin/python3", os.path.join(HERE, "desktop.py"), *parts], self.env())
        self.running.callback(desktop.end)
        return desktop

    def daemon(self, *options, env=None, board=False):
        """The daemon; with `board` it has one that does as it is told (crates/daemon/examples/scripted_board.rs)."""
        daemon = Daemon(self, BOARD_PROGRAM if board else PROGRAM, options, env or self.env())
        self.running.callback(daemon.kill)
        return daemon

    def program(self):
        """The program that is tried."""
        return PROGRAM

    def position(self):
        """Both trims' positions in the next datagram."""
        frame = json.loads(self.receiver.recv(4096))
        return {name: trim["position"] for name, trim in frame["trims"].items()}

    def datagrams(self):
        """All datagrams that wait."""
        frames = []
        self.receiver.setblocking(False)
        with contextlib.suppress(BlockingIOError):
            while True:
                frames.append(json.loads(self.receiver.recv(4096)))
        self.receiver.settimeout(PATIENCE_S)
        return frames


class Daemon:
    def __init__(self, stage, program, options, env):
        self.stage, self.rigs = stage, 0
        command = [program, "run", "--config", stage.config, "--log-dir", stage.log, "--aircraft", "kettrin-2", *options]
        self.process = subprocess.Popen(command, env=env, text=True, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL,
                                        stderr=subprocess.DEVNULL)
        self.pid = self.process.pid

    def board(self, *words):
        print(*words, file=self.process.stdin, flush=True)

    def plug(self, item):
        self.board("plug")
        # A rig file that says something new makes the daemon look for boards.
        self.rigs += 1
        self.stage.save("rig.toml", RIG.replace('"bench"', f'"bench {self.rigs}"'))
        until("the board to be read", lambda: "The board main is not connected" not in item.labels())

    def said(self, words):
        with contextlib.suppress(FileNotFoundError), open(os.path.join(self.stage.log, "tallywheel.log")) as file:
            return words in file.read()
        return False

    def item(self):
        """The tray item, once the bus has it."""
        bus = self.stage.bus.connect()
        owned = [name for name in map(str, bus.list_names()) if name.startswith(f"{ITEM}-{self.pid}-")]
        return Item(bus, owned[0]) if owned else None

    def status(self):
        """How often each thread was put on a processor, and the resident memory in KiB."""
        switches, resident = {}, 0
        for task in os.listdir(f"/proc/{self.pid}/task"):
            with contextlib.suppress(FileNotFoundError), open(f"/proc/{self.pid}/task/{task}/status") as file:
                lines = dict(line.split(":", 1) for line in file if ":" in line)
                switches[task] = int(lines["voluntary_ctxt_switches"])
                resident = int(lines["VmRSS"].split()[0])
        return switches, resident

    def rest(self, seconds):
        """How often any thread woke up in that time, and the resident memory in KiB after it."""
        before, _ = self.status()
        time.sleep(seconds)
        after, resident = self.status()
        # A thread that ended meanwhile woke up for it.
        ended = len(set(before) - set(after))
        return ended + sum(count - before.get(task, 0) for task, count in after.items()), resident

    def alive(self):
        return self.process.poll() is None

    def terminate(self):
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(PATIENCE_S)

    def kill(self):
        self.process.kill()
        self.process.wait()


class Item:
    """The tray item as a panel sees it."""

    def __init__(self, bus, name):
        self.name, self.bus = name, bus
        item, menu = bus.get_object(name, "/StatusNotifierItem"), bus.get_object(name, "/MenuBar")
        self.item = dbus.Interface(item, ITEM)
        self.properties = dbus.Interface(item, dbus.PROPERTIES_IFACE)
        self.menu = dbus.Interface(menu, MENU)

    def get(self, name):
        return self.properties.Get(ITEM, name)

    def pictures(self):
        return {int(width): bytes(bytearray(data)) for width, _, data in self.get("IconPixmap")}

    def layout(self):
        """The menu as a list of (path of labels, number, properties)."""
        _, root = self.menu.GetLayout(0, -1, dbus.Array([], "s"))
        entries = []

        def walk(node, path):
            number, properties, children = node
            here = path + ([str(properties.get("label", ""))] if number else [])
            entries.append(("/".join(here), int(number), dict(properties)))
            for child in children:
                walk(child, here)

        walk(root, [])
        return entries

    def labels(self):
        return [path for path, _, _ in self.layout()]

    def entry(self, path):
        found = [(number, properties) for label, number, properties in self.layout() if label == path]
        assert len(found) == 1, f"{path}: {len(found)} in {self.labels()}"
        return found[0]

    def click(self, path):
        self.menu.Event(self.entry(path)[0], "clicked", dbus.String("", variant_level=1), dbus.UInt32(0))

    def toggled(self, path):
        return int(self.entry(path)[1].get("toggle-state", -1))


subprocess.run(["cargo", "build-as-tested"], cwd=TOP, check=True)
DEBUG = os.path.join(os.environ.get("CARGO_TARGET_DIR", os.path.join(TOP, "target")), "debug")
PROGRAM = os.environ.get("TALLYWHEEL_PROGRAM") or os.path.join(DEBUG, "tallywheel")
BOARD_PROGRAM = os.path.join(DEBUG, "examples", "scripted_board")
