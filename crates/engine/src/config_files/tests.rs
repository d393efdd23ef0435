//! The table of [`super`], with real files.

use super::*;

const RIG: &str = "name = \"bench\"\n[[board]]\nname = \"main\"\nusb = \"1209:7a11\"\n[[wheel]]\nname = \"rudder\"\n\
    wiring = \"pulses\"\nforward = 1\nbackward = 2\ncounts_per_turn = 24\n";

fn aircraft(name: &str, travel: u32) -> String {
    format!("name = \"{name}\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = {travel}\n")
}

struct Temporary(PathBuf);

impl Temporary {
    fn new(test: &str) -> Self {
        let folder = std::env::temp_dir().join(format!("tallywheel-config-{test}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(folder.join("aircraft")).unwrap();
        Self(folder)
    }

    fn write(&self, name: &str, text: &str) {
        std::fs::write(self.0.join(name), text).unwrap();
    }

    fn remove(&self, name: &str) {
        std::fs::remove_file(self.0.join(name)).unwrap();
    }
}

impl Drop for Temporary {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn told(config: &mut Config) -> Vec<(String, String)> {
    let told = config.read().into_iter().map(|changed| {
        let news = match changed.news {
            FileChange::Good => "good".to_owned(),
            FileChange::Wrong(reason) => {
                format!("wrong {}", reason.rsplit_once('/').map_or("", |(_, end)| end))
            }
            FileChange::Gone => "gone".to_owned(),
        };
        (changed.which.to_string(), news)
    });
    told.collect()
}

fn one(which: &str, news: &str) -> Vec<(String, String)> {
    vec![(which.to_owned(), news.to_owned())]
}

#[test]
fn each_row_of_the_table() {
    let folder = Temporary::new("rows");
    let mut config = Config::new(&folder.0);
    assert_eq!(told(&mut config), []);
    assert!(config.rig().is_none());
    folder.write("rig.toml", RIG);
    folder.write("aircraft/kettrin.toml", &aircraft("Kettrin", 580));
    let both = [one("rig", "good"), one("aircraft kettrin", "good")].concat();
    assert_eq!(told(&mut config), both);
    assert_eq!(told(&mut config), [], "nothing changed");

    let wrong =
        "wrong kettrin.toml:4:18: trim.travel_degrees: expected degrees, above 0 and at most 36000, found -1";
    let text = aircraft("Kettrin", 580).replace("580", "-1");
    folder.write("aircraft/kettrin.toml", &text);
    assert_eq!(told(&mut config), one("aircraft kettrin", wrong));
    assert_eq!(told(&mut config), [], "told once");
    assert_eq!(config.problems().count(), 1);
    assert_eq!(config.aircraft("kettrin").unwrap().trims[0].travel.get(), 580.0, "the last good one");
    folder.write("aircraft/kettrin.toml", &format!("{text}# and\n"));
    assert_eq!(told(&mut config), [], "the same mistake again");

    folder.write("aircraft/kettrin.toml", "");
    assert_eq!(
        told(&mut config),
        one(
            "aircraft kettrin",
            "wrong kettrin.toml:1:1: (file): expected keys and their values, found an empty file"
        )
    );
    folder.write("aircraft/kettrin.toml", &aircraft("Kettrin", 360));
    assert_eq!(told(&mut config), one("aircraft kettrin", "good"));
    assert_eq!(config.problems().count(), 0);

    folder.remove("aircraft/kettrin.toml");
    assert_eq!(told(&mut config), one("aircraft kettrin", "gone"));
    assert_eq!(told(&mut config), []);
    assert_eq!(config.aircraft("kettrin").unwrap().trims[0].travel.get(), 360.0);
    assert!(config.meant("kettrin").is_none() && config.to_fly().next().is_none(), "it is not offered");
    folder.write("aircraft/kettrin.toml", &aircraft("Kettrin", 360));
    assert_eq!(told(&mut config), one("aircraft kettrin", "good"));

    folder.remove("rig.toml");
    assert_eq!(told(&mut config), one("rig", "gone"));
    assert_eq!(config.rig().unwrap().name, "bench");
}

#[test]
fn the_next_one_and_the_one_that_is_meant() {
    let folder = Temporary::new("next");
    for (stem, name) in [("a", "Kettrin"), ("b", "c"), ("c", "Ozzock")] {
        folder.write(&format!("aircraft/{stem}.toml"), &aircraft(name, 90));
    }
    folder.write("aircraft/.hidden.toml", "x");
    folder.write("aircraft/b.toml~", "x");
    let mut config = Config::new(&folder.0);
    config.read();
    let stem = |found: Option<(&str, &Arc<Aircraft>)>| found.map(|(stem, _)| stem.to_owned());
    for (now, next) in [("a", "b"), ("b", "c"), ("c", "a"), ("bb", "c"), ("zz", "a")] {
        assert_eq!(stem(config.after(now)).as_deref(), Some(next));
    }
    assert_eq!(stem(config.meant("c")).as_deref(), Some("c"), "a file's name before an aircraft's");
    assert_eq!(stem(config.meant("Kettrin")).as_deref(), Some("a"));
    assert_eq!(stem(config.meant("nobody")), None);
    assert_eq!(stem(Config::new(&folder.0).after("a")), None);
}

#[cfg(unix)]
#[test]
fn what_is_no_file_is_said_and_not_waited_for() {
    let folder = Temporary::new("pipe");
    let made = std::process::Command::new("mkfifo").arg(folder.0.join("rig.toml")).status().unwrap();
    assert!(made.success());
    std::os::unix::fs::symlink("nowhere.toml", folder.0.join("aircraft/link.toml")).unwrap();
    std::fs::write(folder.0.join("aircraft/latin.toml"), b"name = \"\xe9\"").unwrap();
    let mut config = Config::new(&folder.0);
    let told = config.read();
    assert_eq!(told.len(), 3, "{told:?}");
    let reasons: Vec<_> = config.problems().map(|(_, reason)| reason.to_owned()).collect();
    for (reason, part) in reasons.iter().zip(["not an ordinary file", "no UTF-8 text", "cannot read"]) {
        assert!(reason.contains(part), "{reasons:?}");
    }
}
