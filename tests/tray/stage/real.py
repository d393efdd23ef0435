"""One real panel: xfce4-panel 4.18 on a screen of Xvfb, clicked with a mouse, and photographed."""
import collections
import contextlib
import os
import subprocess
import time

from stage.actors import until

# The ground of an icon whose board is missing (crates/daemon/src/tray/icon/draw.rs).
AWAY_GROUND = (0x34, 0x34, 0x34)
SCREEN = (800, 480)
PANEL = """\
<?xml version="1.0" encoding="UTF-8"?>
<channel name="xfce4-panel" version="1.0">
  <property name="configver" type="int" value="2"/>
  <property name="panels" type="array">
    <value type="int" value="1"/>
    <property name="dark-mode" type="bool" value="{dark}"/>
    <property name="panel-1" type="empty">
      <property name="position" type="string" value="p=6;x=0;y=0"/>
      <property name="length" type="uint" value="100"/>
      <property name="position-locked" type="bool" value="true"/>
      <property name="size" type="uint" value="{size}"/>
      <property name="icon-size" type="uint" value="{icon}"/>
      <property name="plugin-ids" type="array"><value type="int" value="1"/></property>
    </property>
  </property>
  <property name="plugins" type="empty">
    <property name="plugin-1" type="string" value="systray">
      <property name="menu-is-primary" type="bool" value="false"/>
      <property name="square-icons" type="bool" value="false"/>
      <property name="icon-size" type="int" value="{icon}"/>
    </property>
  </property>
</channel>
"""


class Screen:
    """A screen with a panel."""

    def __init__(self, stage, dark, size, icon):
        self.stage = stage
        home = os.path.join(stage.folder, f"home-{dark}-{icon}")
        xfconf = os.path.join(home, ".config/xfce4/xfconf/xfce-perchannel-xml")
        os.makedirs(xfconf)
        with open(os.path.join(xfconf, "xfce4-panel.xml"), "w") as file:
            file.write(PANEL.format(dark=str(dark).lower(), size=size, icon=icon))
        read, write = os.pipe()
        self.x = subprocess.Popen(
            ["Xvfb", "-displayfd", str(write), "-screen", "0", "{}x{}x24".format(*SCREEN), "-nolisten", "tcp"],
            pass_fds=[write], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        os.close(write)
        with os.fdopen(read) as file:
            self.display = ":" + file.readline().strip()
        self.env = stage.env(HOME=home, XDG_CONFIG_HOME=os.path.join(home, ".config"), DISPLAY=self.display,
                             XDG_CACHE_HOME=os.path.join(home, ".cache"), GTK_A11Y="none", NO_AT_BRIDGE="1",
                             GTK_THEME="Adwaita:dark" if dark else "Adwaita")
        self.start()

    def start(self):
        self.panel = subprocess.Popen(["xfce4-panel", "--disable-wm-check"], env=self.env, stdout=subprocess.DEVNULL,
                                      stderr=subprocess.DEVNULL)

    def photograph(self, to):
        subprocess.run(["import", "-silent", "-window", "root", to], env=self.env, check=True)

    def pixels(self):
        raw = subprocess.run(["import", "-silent", "-window", "root", "-depth", "8", "rgb:-"], env=self.env, check=True,
                             stdout=subprocess.PIPE).stdout
        return raw

    def box(self, *colours):
        """Where pixels of these colours are: left, top, right, bottom; nothing where there are none."""
        raw, (width, _) = self.pixels(), SCREEN
        found = set()
        for colour in colours:
            at = raw.find(bytes(colour))
            while at >= 0:
                if at % 3 == 0:
                    found.add((at // 3 % width, at // 3 // width))
                at = raw.find(bytes(colour), at + 1)
        if not found:
            return None
        across, down = [x for x, _ in found], [y for _, y in found]
        return min(across), min(down), max(across), max(down)

    def icon(self, colour=AWAY_GROUND):
        """The icon's box, once it stays where it is."""
        seen = collections.deque(maxlen=4)

        def stable():
            seen.append(self.box(colour))
            return len(seen) == 4 and len(set(seen)) == 1 and seen[0]

        return until("the icon to stay", stable)

    def do(self, *words):
        subprocess.run(["xdotool", *map(str, words)], env=self.env, check=True, stdout=subprocess.DEVNULL)

    def click(self, box, button=1):
        self.do("mousemove", (box[0] + box[2]) // 2, (box[1] + box[3]) // 2, "click", button)

    def changed(self, before):
        """The screen, once it is another than before and stays so."""
        seen = collections.deque(maxlen=3)

        def stable():
            seen.append(self.pixels())
            return len(seen) == 3 and len(set(seen)) == 1 and seen[0] != before and seen[0]

        return until("the screen to change", stable)

    def kill_panel(self):
        self.panel.kill()
        self.panel.wait()

    def end(self):
        self.kill_panel()
        self.x.kill()
        self.x.wait()


def panel(stage, check, figures, pictures):
    """A panel that starts late shows the icon; a click opens the menu, and what is chosen there is done."""
    stage.with_bus()
    daemon = stage.daemon()
    item = until("the item", daemon.item)
    stage.position()
    for dark, size, icon in ((False, 34, 24), (True, 30, 22), (False, 24, 16), (True, 44, 32)):
        name = f"{'dark' if dark else 'light'}-{icon}"
        screen = Screen(stage, dark, size, icon)
        with contextlib.ExitStack() as kept:
            kept.callback(screen.end)
            box = screen.icon()
            wide, high = box[2] - box[0] + 1, box[3] - box[1] + 1
            check(f"{name}: the icon is there, {wide} by {high} pixels inside its rim",
                  abs(wide - high) <= 2 and icon - 6 <= wide <= icon, box)
            before = screen.pixels()
            item.click("Align rudder to/the high stop")
            stage.position()
            after = screen.changed(before)
            check(f"{name}: it moves with the trim", after != before)
            screen.click(box, 2)
            for button in (4, 5, 6, 7):
                screen.click(box, button)
            time.sleep(1)
            check(f"{name}: turning the mouse wheel and the middle button do nothing",
                  not stage.datagrams() and daemon.alive())
            screen.do("mousemove", 0, 0)
            time.sleep(0.5)
            before = screen.pixels()
            screen.click(box)
            menu = screen.changed(before)
            check(f"{name}: a click opens the menu", sum(a != b for a, b in zip(menu[::3], before[::3])) > 5000)
            # The first entry that can be chosen is "Align rudder to"; its first is "neutral".
            screen.do("key", "Down")
            screen.do("key", "Right")
            opened = screen.changed(menu)
            if pictures:
                screen.photograph(os.path.join(pictures, f"{name}.png"))
            screen.do("key", "Return")
            check(f"{name}: what is chosen is done", stage.position()["rudder"] == 0)
            check(f"{name}: the menu had another menu", opened != menu)
            if icon == 24:
                screen.kill_panel()
                screen.start()
                check(f"{name}: a panel that died and came back shows it again", screen.icon())
                time.sleep(3)
                wakes, resident = daemon.rest(10)
                figures["idle_switches_10_s_real_panel"] = wakes
                figures["rss_mib_real_panel"] = round(resident / 1024, 2)
                check(f"{name}: at rest {wakes} wake-ups in 10 s, {resident / 1024:.2f} MiB resident",
                      wakes <= 10 and resident <= 16 * 1024)
    check("and it ends well", daemon.terminate() == 0)
