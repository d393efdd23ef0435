"""What the tray does, seen from a bus; no screen is needed."""
import json
import os
import subprocess
import time

import dbus

from stage.actors import PATIENCE_S, until


def no_panel(stage, check):
    """A bus and messages, but no panel: the item is there for one that comes, and its menu works."""
    desktop = stage.with_bus().desktop("messages")
    daemon = stage.daemon()
    item = until("the item", daemon.item)
    check("the daemon says that it waits for a panel", until("the log", lambda: daemon.said("waiting for one")))
    check("it says what it is", (item.get("Id"), item.get("Title"), item.get("Status"), bool(item.get("ItemIsMenu")))
          == ("tallywheel", "Tallywheel", "Active", True))
    labels = item.labels()
    for label in ("Kettrin 2 floatplane", "The board main is not connected", "Align rudder to/neutral",
                  "Align elevator to/the low stop", "Aircraft/Dimmerly 1 trainer", "Hold the output", "Open the log",
                  "Open the settings folder", "Quit Tallywheel"):
        check(f"the menu has {label}", label in labels, labels)
    check("the aircraft that is flown is marked",
          (item.toggled("Aircraft/Kettrin 2 floatplane"), item.toggled("Aircraft/Dimmerly 1 trainer")) == (1, 0))
    first = item.pictures()
    check("there are pictures of every size", sorted(first) == [16, 22, 24, 32, 48, 64], sorted(first))
    check("each pixel has four bytes", all(len(data) == width * width * 4 for width, data in first.items()))
    check("without a board it is grey: no pixel has a hue",
          all(data[n + 1] == data[n + 2] == data[n + 3] for data in first.values() for n in range(0, len(data), 4)
              if data[n] == 255))

    check("neutral at first", stage.position() == {"rudder": 0, "elevator": 0})
    item.click("Align rudder to/the high stop")
    check("aligned to the high stop, and published", stage.position() == {"rudder": 1, "elevator": 0})
    until("the words", lambda: any(label.startswith("rudder  +1.00  580\u00b0 of 580\u00b0") for label in item.labels()))
    high = item.pictures()
    check("the picture moves with it, at every size", all(high[width] != first[width] for width in first))
    check("the words beside the icon say it", "+1.00" in item.get("ToolTip")[3], item.get("ToolTip")[3])
    item.click("Align rudder to/neutral")
    check("and back", stage.position() == {"rudder": 0, "elevator": 0})
    until("the first picture", lambda: item.pictures() == first)
    check("the same position gives the same picture", True)

    item.click("Hold the output")
    until("the check mark", lambda: item.toggled("Hold the output") == 1)
    held = item.pictures()
    check("held is seen", all(held[width] != first[width] for width in first))
    stage.datagrams()
    item.click("Align elevator to/the low stop")
    until("the words", lambda: any(label.startswith("elevator  -1.00") for label in item.labels()))
    check("while held nothing goes out", not stage.datagrams())
    item.click("Hold the output")
    check("let go, the trim goes out", stage.position() == {"rudder": 0, "elevator": -1})
    until("no check mark", lambda: item.toggled("Hold the output") == 0)

    item.click("Aircraft/Dimmerly 1 trainer")
    until("the other aircraft", lambda: item.toggled("Aircraft/Dimmerly 1 trainer") == 1)
    check("the trims are the other aircraft's", not any("rudder" in label for label in item.labels()), item.labels())
    item.click("Aircraft/Kettrin 2 floatplane")
    until("the first aircraft", lambda: item.toggled("Aircraft/Kettrin 2 floatplane") == 1)

    before = (item.labels(), item.pictures())
    stage.datagrams()
    for delta, way in ((120, "vertical"), (-120, "Vertical"), (120, "horizontal")):
        item.item.Scroll(delta, way)
    item.item.SecondaryActivate(1, 1)
    try:
        item.item.Activate(1, 1)
        answer = None
    except dbus.DBusException as error:
        answer = error.get_dbus_name()
    check("a click asks the panel to open the menu", answer == "org.freedesktop.DBus.Error.UnknownMethod", answer)
    for number in (0, 9999, -1):
        try:
            item.menu.Event(number, "clicked", dbus.String("", variant_level=1), dbus.UInt32(0))
        except dbus.DBusException:
            pass
    item.menu.Event(item.entry("Kettrin 2 floatplane")[0], "clicked", dbus.String("", variant_level=1), dbus.UInt32(0))
    check("turning the mouse wheel and clicking otherwise does nothing",
          (item.labels(), item.pictures()) == before and not stage.datagrams())

    opened = os.path.join(stage.folder, "opened")
    stage.opener(f'echo "$@" >> {opened}')
    item.click("Open the settings folder")
    item.click("Open the log")
    until("both", lambda: os.path.exists(opened) and len(open(opened).read().splitlines()) == 2)
    check("the folder and the log are opened", set(open(opened).read().split())
          == {stage.config, os.path.join(stage.log, "tallywheel.log")}, open(opened).read())
    stage.opener("exit 3")
    item.click("Open the log")
    message = until("the message", lambda: desktop.all("message"))[0]
    check("that it could not be opened is told", "could not be opened" in message["message"] and "3" in message["body"],
          message)
    check("messages call nobody to a button", message["actions"] == [] and message["app"] == "Tallywheel")
    # Long opened: a viewer that stays does not keep the daemon.
    stage.opener("exec sleep 600")
    item.click("Open the log")
    item.click("Quit Tallywheel")
    check("quit ends it well", daemon.process.wait(PATIENCE_S) == 0)
    check("and says why", daemon.said("the tray's menu"))


def colours(pictures):
    """Every opaque colour of the largest picture."""
    data = pictures[64]
    return {tuple(data[n + 1:n + 4]) for n in range(0, len(data), 4) if data[n] == 255}


def a_board(stage, check):
    """A board that turns a wheel, loses counts, is unplugged and comes back."""
    block, red = (0xff, 0xc8, 0x45), (0xff, 0x4f, 0x3d)
    desktop = stage.with_bus().desktop("messages", "panel")
    daemon = stage.daemon(board=True)
    item = until("the item", daemon.item)
    daemon.plug(item)
    check("a board that is there from the start is no news", not desktop.all("message"), desktop.all("message"))
    until("a picture in colour", lambda: block in colours(item.pictures()))
    still = item.pictures()
    stage.datagrams()
    # A turn has 96 counts, so 20 are 75 degrees, of the 290 from neutral to the high stop.
    daemon.board("turn", 0, 20)
    until("the wheel's position in words", lambda: any("rudder  +0.26" in label for label in item.labels()))
    check("the picture turns with the wheel", item.pictures() != still and stage.datagrams())

    def seen():
        """The menu's entry for the mark."""
        return next((label for label in item.labels() if label.startswith("Clear the loss mark (")), None)

    check("nothing was lost", red not in colours(item.pictures()) and not seen(), item.labels())
    # Both lines pressed at once: one of the two counts is wrong.
    daemon.board("press", "3")
    daemon.board("press", "0")
    until("the mark", lambda: red in colours(item.pictures()))
    check("a loss has a mark and an entry in the menu", seen(), item.labels())
    check("the words say by how much", any("may be off by" in label for label in item.labels()), item.labels())
    item.click(seen())
    until("no mark", lambda: red not in colours(item.pictures()))
    check("what was seen has no mark, and the doubt stays in words", any("may be off by" in label for label in item.labels()))
    daemon.board("press", "3")
    daemon.board("press", "0")
    until("the mark again", lambda: red in colours(item.pictures()))
    item.click("Align rudder to/neutral")
    until("no mark", lambda: red not in colours(item.pictures()))
    check("an alignment takes mark and doubt away", not any("may be" in label for label in item.labels()), item.labels())
    check("single losses are no messages", not desktop.all("message"), desktop.all("message"))

    daemon.board("unplug")
    lost = until("a message", lambda: desktop.all("message"))[0]
    check("a lost board is told", "main was unplugged" in lost["message"], lost)
    until("a grey picture", lambda: block not in colours(item.pictures()))
    check("grey, with the mark", red in colours(item.pictures()) and "The board main is not connected" in item.labels())
    check("the words say that the position is unknown", any("position unknown" in label for label in item.labels()), item.labels())
    daemon.plug(item)
    until("a picture in colour", lambda: block in colours(item.pictures()))
    back = until("the second message", lambda: desktop.all("message")[1:])[0]
    check("a board that came back is told in place of its loss",
          "main is back" in back["message"] and back["replaces"] == lost["number"], back)
    for _ in range(4):
        daemon.board("unplug")
        until("no board", lambda: "The board main is not connected" in item.labels())
        daemon.plug(item)
    time.sleep(11)
    check("a loose plug is told once at most in ten seconds", len(desktop.all("message")) <= 3, desktop.all("message"))
    check("and it ends well", daemon.terminate() == 0)


def files_and_messages(stage, check):
    """What the desktop is told of files: once, in place of what was said before."""
    desktop = stage.with_bus().desktop("messages", "panel")
    stage.save("aircraft/dimmerly-1.toml", "name = 3\n")
    daemon = stage.daemon()
    until("the item", daemon.item)

    def told():
        return desktop.all("message")

    first = until("a message of the wrong file", told)[0]
    check("a wrong file is told by its name and place", "dimmerly-1" in first["message"] and "dimmerly-1.toml:1" in first["body"],
          first)
    check("it is new and normal", (first["replaces"], first["urgency"]) == (0, 1), first)
    stage.save("aircraft/dimmerly-1.toml", "name = 4\n")
    second = until("a second message", lambda: told()[1:])[0]
    check("another mistake takes the place of the first", second["replaces"] == first["number"], second)
    stage.save("aircraft/dimmerly-1.toml", 'name = "Dimmerly 1 trainer"\n[[trim]]\nname = "elevator"\ntravel_degrees = 720\n')
    third = until("a third message", lambda: told()[2:])[0]
    check("that it is valid again takes its place too",
          "valid again" in third["message"] and third["replaces"] == first["number"], third)
    stage.save("rig.toml", "[[board]]\n")
    other = until("a message of the other file", lambda: told()[3:])[0]
    check("another file has a message of its own", other["replaces"] == 0 and "rig" in other["message"], other)
    check("markup is written out", "<" not in other["body"], other)
    desktop.end()
    stage.save("rig.toml", "[[wheel]]\n")
    time.sleep(1)
    check("without anybody to show messages the daemon goes on", daemon.alive() and daemon.terminate() == 0)


def panel_comes_and_goes(stage, check):
    """A panel that starts late, dies, comes back, and a bus that does."""
    stage.with_bus()
    daemon = stage.daemon()
    item = until("the item", daemon.item)
    until("the log", lambda: daemon.said("waiting for one"))
    late = stage.desktop("panel")
    until("the panel to be given the item", lambda: late.all("registered"))
    check("a panel that starts late gets the item", late.all("registered") == [{"registered": item.name}], late.all("registered"))
    grey = item.pictures()
    item.click("Align rudder to/the low stop")
    until("the panel to be told of a new picture", lambda: late.all("signal"))
    low = item.pictures()
    check("it is told when the picture changes", low != grey)
    late.end()
    until("the daemon to notice", lambda: not daemon.stage.bus.connect().name_has_owner("org.kde.StatusNotifierWatcher"))
    item.click("Align rudder to/the high stop")
    time.sleep(0.5)
    again = stage.desktop("panel")
    until("the new panel to be given the item", lambda: again.all("registered"))
    high = until("the picture of what happened meanwhile", lambda: item.pictures() != low and item.pictures())
    check("a panel that comes back gets the item and what it missed", high[64] not in (low[64], grey[64]))

    stage.bus.end()
    time.sleep(0.5)
    check("without the bus the daemon goes on", daemon.alive() and until("the log", lambda: daemon.said("session bus is gone")))
    stage.bus.start()
    # It is looked for when something stirs, and not more often than every 20 seconds.
    end = time.monotonic() + PATIENCE_S
    item = None
    while not item and time.monotonic() < end:
        item = daemon.item()
        stage.save("aircraft/dimmerly-1.toml", f'name = "Dimmerly {time.monotonic_ns()}"\n[[trim]]\nname = "elevator"\ntravel_degrees = 720\n')
        time.sleep(1)
    check("a new bus gets the item", item)
    check("with what it shows now", item and any("+1.00" in label for label in item.labels()))
    check("and it ends well", daemon.terminate() == 0)


def no_bus(stage, check):
    """No session bus at all, or none that answers."""
    for what, more in (("no address", {}), ("an address where nothing is", {"DBUS_SESSION_BUS_ADDRESS": "unix:path=/nowhere/bus"}),
                       ("an address that is none", {"DBUS_SESSION_BUS_ADDRESS": "nonsense"}),
                       ("a folder without a bus", {"XDG_RUNTIME_DIR": stage.folder})):
        daemon = stage.daemon(env=stage.env(**more))
        check(f"{what}: the trims are published", stage.position() == {"rudder": 0, "elevator": 0})
        until("the log", lambda: daemon.said("no session bus, so no tray"))
        check(f"{what}: it goes on and ends well", daemon.alive() and daemon.terminate() == 0)
        os.remove(os.path.join(stage.log, "tallywheel.log"))
        stage.datagrams()
    stage.with_bus()
    daemon = stage.daemon("--no-tray")
    stage.position()
    time.sleep(0.5)
    check("--no-tray: nothing on the bus", daemon.item() is None and len(stage.bus.connect().list_names()) == 2)
    check("--no-tray: nothing of it in the log", not daemon.said("tray::") and not daemon.said("panel"))
    check("--no-tray: ends well", daemon.terminate() == 0)


def doctor(stage, check):
    """What `doctor` says of the tray: without a bus, on one where nobody collects icons, with a panel."""
    def tray(env):
        asked = subprocess.run([stage.program(), "doctor", "--config", stage.config, "--json"], env=env,
                               capture_output=True, text=True, timeout=PATIENCE_S)
        found = [finding for finding in json.loads(asked.stdout) if finding["check"] == "tray"]
        return (found[0]["verdict"], found[0]["what"]) if len(found) == 1 else found

    what = tray(stage.env())
    check("no bus: a hint", what[0] == "hint" and "no session bus" in what[1], what)
    what = tray(stage.env(DBUS_SESSION_BUS_ADDRESS="unix:path=/nowhere/bus"))
    check("a bus that is not there: a hint", what[0] == "hint" and "no session bus" in what[1], what)
    stage.with_bus()
    what = tray(stage.env())
    check("nobody collects icons: a hint", what[0] == "hint" and "no place for icons" in what[1], what)
    stage.desktop("panel")
    what = until("the panel", lambda: tray(stage.env()) if tray(stage.env())[0] == "good" else None)
    check("a panel: good", what[0] == "good", what)


def at_most_ten_pictures_a_second(stage, check):
    """A wheel that never rests costs the panel ten pictures a second, and ends on the last one."""
    panel = stage.with_bus().desktop("panel")
    daemon = stage.daemon()
    item = until("the item", daemon.item)
    until("the panel to be given the item", lambda: panel.all("registered"))
    numbers = [item.entry(f"Align rudder to/{stop}")[0] for stop in ("the low stop", "the high stop")]
    start, clicks = time.monotonic(), 0
    while time.monotonic() - start < 3:
        item.menu.Event(numbers[clicks % 2], "clicked", dbus.String("", variant_level=1), dbus.UInt32(0))
        clicks += 1
        time.sleep(0.02)
    item.click("Align rudder to/the low stop")
    until("the last position", lambda: any("-1.00" in label for label in item.labels()))
    took = time.monotonic() - start
    time.sleep(0.3)
    pictures = len(panel.all("signal"))
    check(f"{clicks} moves in {took:.1f} s, {pictures} pictures", clicks > 30 and 5 <= pictures <= 10 * took + 2)
    check("ends well", daemon.terminate() == 0)


def rest(stage, check, figures):
    """Nothing happens: no wake-ups, little memory."""
    stage.with_bus().desktop("panel", "messages")
    daemon = stage.daemon()
    item = until("the item", daemon.item)
    item.click("Align rudder to/the high stop")
    item.pictures()
    time.sleep(3)
    wakes, resident = daemon.rest(10)
    figures["idle_switches_10_s"], figures["rss_mib"] = wakes, round(resident / 1024, 2)
    check(f"at rest with a tray: {wakes} wake-ups in 10 s, {resident / 1024:.2f} MiB resident",
          wakes <= 10 and resident <= 16 * 1024)
    check("ends well", daemon.terminate() == 0)
