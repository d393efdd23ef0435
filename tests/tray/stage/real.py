"""One real panel: xfce4-panel 4.18 on a screen of Xvfb, clicked with a mouse, and photographed."""
import collections
import os
import subprocess
import time

from stage.actors import until

# The rims of an icon, with a board and without (crates/daemon/src/tray/icon/draw.rs).
RIMS = ((0x6f, 0x86, 0x94), (0x7c, 0x7c, 0x7c))
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
    """A screen with a panel, on a bus of its own: the panel's settings are kept by a program that the bus starts."""

    def __init__(self, stage, dark, size, icon):
        home = os.path.join(stage.folder, "home")
        xfconf = os.path.join(home, ".config/xfce4/xfconf/xfce-perchannel-xml")
        os.makedirs(xfconf)
        with open(os.path.join(xfconf, "xfce4-panel.xml"), "w") as file:
            file.write(PANEL.format(dark=str(dark).lower(), size=size, icon=icon))
        read, write = os.pipe()
        self.x = subprocess.Popen(
            ["Xvfb", "-displayfd", str(write), "-screen", "0", "{}x{}x24".format(*SCREEN), "-nolisten", "tcp", "-noreset"],
            pass_fds=[write], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        os.close(write)
        with os.fdopen(read) as file:
            self.display = ":" + file.readline().strip()
        more = {"HOME": home, "XDG_CONFIG_HOME": os.path.join(home, ".config"), "DISPLAY": self.display,
                "XDG_CACHE_HOME": os.path.join(home, ".cache"), "NO_AT_BRIDGE": "1",
                "GTK_THEME": "Adwaita:dark" if dark else "Adwaita"}
        stage.with_bus(**more)
        self.env = stage.env(**more)
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

    def icon(self):
        """The box of the icon, by its rim, once it stays where it is."""
        seen = collections.deque(maxlen=4)

        def stable():
            seen.append(self.box(*RIMS))
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


def panel(dark, size, icon):
    """The scene of one panel: light or dark, so many pixels high, with icons of so many."""
    return lambda stage, check, figures, pictures: play(stage, check, figures, pictures, dark, size, icon)


def play(stage, check, figures, pictures, dark, size, icon):
    """A click opens the menu, and what is chosen there is done; the panel dies and comes back."""
    screen = Screen(stage, dark, size, icon)
    stage.running.callback(screen.end)
    daemon = stage.daemon(board=True)
    item = until("the item", daemon.item)
    daemon.plug(item)
    stage.datagrams()
    box = screen.icon()
    wide, high = box[2] - box[0] + 1, box[3] - box[1] + 1
    check(f"the icon is there, {wide} by {high} pixels", icon - 1 <= wide <= icon and icon - 1 <= high <= icon, box)
    before = screen.pixels()
    item.click("Align rudder to/the high stop")
    stage.position()
    after = screen.changed(before)
    check("it moves with the trim", after != before)
    screen.click(box, 2)
    for button in (4, 5, 6, 7):
        screen.click(box, button)
    time.sleep(1)
    check("turning the mouse wheel and the middle button do nothing", not stage.datagrams() and daemon.alive())
    screen.do("mousemove", 0, SCREEN[1] - 1)
    time.sleep(0.5)
    before = screen.pixels()
    screen.click(box)
    menu = screen.changed(before)
    check("a click opens the menu", sum(a != b for a, b in zip(menu[::3], before[::3])) > 5000)
    # The first entry that can be chosen is "Align rudder to"; its first is "neutral".
    screen.do("key", "Down")
    screen.do("key", "Right")
    opened = screen.changed(menu)
    check("the menu has another menu", opened != menu)
    if pictures:
        screen.photograph(os.path.join(pictures, f"{'dark' if dark else 'light'}-{icon}.png"))
    screen.do("key", "Return")
    check("what is chosen is done", stage.position()["rudder"] == 0)
    screen.kill_panel()
    screen.start()
    check("a panel that died and came back shows it again", screen.icon())
    time.sleep(3)
    wakes, resident = daemon.rest(10)
    figures["idle_switches_10_s_real_panel"] = wakes
    figures["rss_mib_real_panel"] = round(resident / 1024, 2)
    check(f"at rest {wakes} wake-ups in 10 s, {resident / 1024:.2f} MiB resident",
          wakes <= 10 and resident <= 16 * 1024)
    check("and it ends well", daemon.terminate() == 0)
