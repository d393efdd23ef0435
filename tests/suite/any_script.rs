//! "Sending to any script" of the README, with its script as printed but for the port, which must be free here.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

use std::io::{BufRead, BufReader};
use std::net::UdpSocket;
use std::process::{Child, Command, Stdio};
use tallywheel_tests::{Folder, tallywheel, top};

/// Ends with the test.
struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn the_readme_s_receiver_prints_what_the_demo_s_wheels_did() {
    let readme = std::fs::read_to_string(top().join("README.md")).unwrap();
    let scripts: Vec<_> = readme.split("```python\n").skip(1).collect();
    let [script] = scripts.as_slice() else { panic!("{} scripts in the README", scripts.len()) };
    let script = script.split("```").next().unwrap();
    assert!(script.lines().count() <= 10, "ten lines");
    let port = UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    assert_eq!(script.matches("47811").count(), 1);
    let script = script.replace("47811", &port.to_string());
    let mut python = Command::new("python3").args(["-c", &script]).stdout(Stdio::piped()).spawn().unwrap();
    let printed = BufReader::new(python.stdout.take().unwrap()).lines();
    let _python = Ended(python);

    let folder = Folder::new("any-script");
    let config = top().join("config");
    folder.write("rig.toml", &std::fs::read_to_string(config.join("rig.toml")).unwrap());
    let kettrin = std::fs::read_to_string(config.join("aircraft/kettrin-2-floatplane.toml")).unwrap();
    // A script that starts after the program hears the position all the same.
    let keep_alive = format!("to = \"127.0.0.1:{port}\"\nkeep_alive_ms = 100");
    let kettrin = kettrin.replace("to = \"127.0.0.1:47811\"", &keep_alive);
    folder.write("aircraft/kettrin.toml", &kettrin);
    let program = Command::new(tallywheel())
        .args(["run", "--no-tray", "--config", folder.arg(), "--log-dir"])
        .arg(folder.path().join("log"))
        .arg("--recording")
        .arg(top().join("tests/recordings/demo.hid"))
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let _program = Ended(program);

    // The demo winds the rudder almost to the low stop and to the high one; margins are two numbers or unknown.
    let (mut low, mut high) = (false, false);
    for line in printed {
        let line = line.unwrap();
        let words: Vec<_> = line.splitn(3, ' ').collect();
        let [name, position, margin] = words.as_slice() else { panic!("{line}") };
        assert!(["rudder", "elevator"].contains(name), "{line}");
        assert!(margin.starts_with('[') || *margin == "None", "{line}");
        let position: f64 = position.parse().unwrap();
        assert!((-1.0..=1.0).contains(&position));
        low |= *name == "rudder" && position < -0.5;
        high |= *name == "rudder" && position > 0.5;
        if low && high {
            return;
        }
    }
    panic!("the script ended: low {low}, high {high}");
}
