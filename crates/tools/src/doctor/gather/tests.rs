//! Machines that are not this one, made of files.

use super::*;
use std::os::unix::fs::symlink;

struct Machine {
    top: PathBuf,
    roots: Roots,
}

impl Machine {
    fn new(test: &str) -> Self {
        let top = std::env::temp_dir().join(format!("tallywheel-doctor-{test}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&top);
        let at = |name: &str| {
            let path = top.join(name);
            fs::create_dir_all(&path).unwrap();
            fs::canonicalize(path).unwrap()
        };
        let roots =
            Roots { dev: at("dev"), sys: at("sys"), proc: at("proc"), rules: vec![at("etc"), at("lib")] };
        Self { top, roots }
    }

    fn write(&self, path: &str, text: &[u8]) {
        let path = self.top.join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }

    /// A board as the kernel shows one on USB: interface, HID device, input device with its nodes.
    fn board(&self, descriptor: &[u8]) {
        let interface = "sys/devices/usb1/1-1/1-1:1.0";
        let hid = format!("{interface}/0003:1209:7A11.0001");
        self.write(&format!("{interface}/ep_81/direction"), b"in\n");
        self.write(&format!("{interface}/ep_81/interval"), b"8ms\n");
        self.write(&format!("{interface}/ep_01/direction"), b"out\n");
        self.write(&format!("{interface}/ep_01/interval"), b"1ms\n");
        self.write(&format!("{hid}/report_descriptor"), descriptor);
        self.write(&format!("{hid}/input/input5/event7/dev"), b"13:71\n");
        self.write(&format!("{hid}/input/input5/js0/dev"), b"13:0\n");
        self.write(&format!("{hid}/input/input5/capabilities/key"), b"0\n");
        fs::create_dir_all(self.top.join("sys/class/hidraw/hidraw3")).unwrap();
        symlink(self.top.join(hid), self.top.join("sys/class/hidraw/hidraw3/device")).unwrap();
    }

    fn process(&self, process: u32, name: &str, open: &[&str]) {
        self.write(&format!("proc/{process}/comm"), format!("{name}\n").as_bytes());
        fs::create_dir_all(self.top.join(format!("proc/{process}/fd"))).unwrap();
        for (number, node) in open.iter().enumerate() {
            symlink(self.roots.dev.join(node), self.top.join(format!("proc/{process}/fd/{number}"))).unwrap();
        }
    }

    /// What is found of the rig's first board, which hidapi found like this.
    fn look(&self, access: Access, daemon: &Daemon) -> ProbedBoard {
        let rig =
            tallywheel_profile::rig("rig.toml", include_str!("../../../../../config/rig.toml")).unwrap();
        let found = FoundBoard {
            path: "/dev/hidraw3".into(),
            vendor: 0x1209,
            product: 0x7a11,
            serial: None,
            name: "Bench board".into(),
            access,
            buttons: None,
            application: "Joystick".into(),
        };
        let mut board = ProbedBoard {
            name: "main".into(),
            usb: None,
            seen: BoardPresence::Absent,
            stated_interval: None,
            polled: None,
            missing_buttons: Vec::new(),
            holders: Vec::new(),
            listeners: Vec::new(),
        };
        look_at(&found, &mut board, &rig, BoardIndex::new(0), &self.roots, daemon);
        board
    }
}

impl Drop for Machine {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.top);
    }
}

/// A joystick with so many one-bit buttons, a multiple of 8 (HID 1.11).
fn joystick(buttons: u8) -> Vec<u8> {
    vec![
        0x05, 0x01, 0x09, 0x04, 0xA1, 0x01, 0x05, 0x09, 0x19, 0x01, 0x29, buttons, 0x15, 0x00, 0x25, 0x01,
        0x75, 0x01, 0x95, buttons, 0x81, 0x02, 0xC0,
    ]
}

#[test]
fn a_board_its_interval_and_who_else_is_at_it() {
    let machine = Machine::new("board");
    machine.board(&joystick(32));
    machine.process(10, "reader", &["null", "hidraw3"]);
    machine.process(11, "simulator", &["input/event7"]);
    machine.process(12, "joystick test", &["input/js0", "input/event7"]);
    machine.process(13, "other", &["hidraw4", "input/event8", "input"]);
    machine.process(14, "tallywheel", &["hidraw3", "input/event7"]);
    let status = serde_json::from_value(serde_json::json!({
        "tallywheel": 1, "version": "", "process": 14, "running_s": 1.0, "config": "", "log": "", "log_level": "",
        "rig": "", "aircraft": {"name": "", "file": ""}, "held": false, "reports": 0, "boards": [], "wheels": [],
        "trims": [], "losses": [], "outputs": [], "simulator": null, "wrong_files": []
    }));
    let board = machine.look(Access::Ready, &Daemon::Runs(Box::new(status.unwrap())));
    let usb = UsbId { vendor: 0x1209, product: 0x7a11 };
    let here = BoardPresence::Here { path: "/dev/hidraw3".into(), usb, refused: None, described: true };
    assert_eq!(board.seen, here);
    assert_eq!(board.polled, Some(Duration::from_millis(8)));
    assert!(board.missing_buttons.is_empty());
    let names = |holders: &[crate::doctor::facts::Holder]| -> Vec<_> {
        holders.iter().map(|holder| (holder.process, holder.name.clone())).collect()
    };
    assert_eq!(names(&board.holders), [(10, "reader".to_owned())]);
    assert_eq!(names(&board.listeners), [(11, "simulator".to_owned()), (12, "joystick test".to_owned())]);
    // A parameter of the kernel's driver goes before what the board asks for.
    machine.write("sys/module/usbhid/parameters/jspoll", b"0\n");
    assert_eq!(machine.look(Access::Ready, &Daemon::None).polled, Some(Duration::from_millis(8)));
    machine.write("sys/module/usbhid/parameters/jspoll", b"2\n");
    assert_eq!(machine.look(Access::Ready, &Daemon::None).polled, Some(Duration::from_millis(2)));
}

#[test]
fn boards_with_too_few_buttons_or_none_that_are_described() {
    let machine = Machine::new("few");
    // The example rig has wheels on the buttons 1 to 6; of a descriptor of 8 buttons only 4 are counted here.
    let mut four = joystick(4);
    four.splice(19..20, [4]);
    machine.board(&four);
    let board = machine.look(Access::Ready, &Daemon::None);
    assert_eq!(board.missing_buttons, [("aileron".to_owned(), vec![5, 6])]);
    let machine = Machine::new("none");
    machine.board(b"no descriptor");
    let refused = Access::Refused { reason: "Permission denied".into(), cure: "a rule".into() };
    let board = machine.look(refused, &Daemon::None);
    let BoardPresence::Here { refused: Some((reason, _)), described: false, .. } = board.seen else {
        panic!("{board:?}")
    };
    assert_eq!(reason, "Permission denied");
}

#[test]
fn a_board_without_endpoints_says_nothing_of_its_interval() {
    let machine = Machine::new("uhid");
    machine.write("sys/devices/virtual/misc/uhid/0003:1209:7A11.0001/report_descriptor", &joystick(32));
    fs::create_dir_all(machine.top.join("sys/class/hidraw/hidraw3")).unwrap();
    let device = machine.top.join("sys/devices/virtual/misc/uhid/0003:1209:7A11.0001");
    symlink(device, machine.top.join("sys/class/hidraw/hidraw3/device")).unwrap();
    assert_eq!(machine.look(Access::Ready, &Daemon::None).polled, None);
    assert_eq!(interval("125us"), Some(Duration::from_micros(125)));
    assert_eq!(interval("soon"), None);
}

#[test]
fn nodes_rules_clocks_and_folders() {
    use std::os::unix::fs::PermissionsExt;
    let machine = Machine::new("rest");
    assert_eq!(node(&machine.roots.dev.join("uinput")), DeviceAccess::Absent);
    machine.write("dev/uinput", b"");
    assert_eq!(node(&machine.roots.dev.join("uinput")), DeviceAccess::Usable);
    fs::create_dir(machine.roots.dev.join("folder")).unwrap();
    assert!(matches!(node(&machine.roots.dev.join("folder")), DeviceAccess::Broken(_)));
    machine.write("etc/60-tallywheel.rules", b"one");
    machine.write("lib/60-tallywheel.rules", b"two");
    machine.write("lib/README", b"three");
    let rules = rules(&machine.roots);
    assert_eq!(rules.iter().map(|file| file.text.as_str()).collect::<Vec<_>>(), ["one", "two"]);
    machine.write("sys/devices/system/clocksource/clocksource0/current_clocksource", b"hpet\n");
    let clock = clock(&machine.roots);
    assert_eq!((clock.source.as_deref(), clock.date_wrong), (Some("hpet"), false));
    assert!(clock.step.is_some_and(|step| step > Duration::ZERO));
    // A folder that is not there yet can be made, a file in its place cannot.
    assert_eq!(log_folder(&machine.top.join("not/yet")), None);
    let closed = machine.top.join("closed");
    fs::create_dir(&closed).unwrap();
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o555)).unwrap();
    // Root may write anywhere.
    let root = fs::metadata("/proc/self").is_ok_and(|me| std::os::unix::fs::MetadataExt::uid(&me) == 0);
    assert_eq!(log_folder(&closed).is_some(), !root);
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o755)).unwrap();
    assert_eq!(fs::read_dir(&closed).unwrap().count(), 0, "nothing is left there");
}
