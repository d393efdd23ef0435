//! Reads udev's rule files as far as they let the user open a board (udev(7)): which there are, whether one is
//! read in time, and whether it names this board.

use super::facts::RuleFile;
use std::collections::BTreeMap;
use std::ffi::OsStr;
use tallywheel_profile::UsbId;

/// The system's own file that gives devices with the tag `uaccess` to the user at the screen. What sorts after
/// it comes too late.
pub const SEAT_RULES: &str = "73-seat-late.rules";

/// What the rules say of a board.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RuleMatch {
    /// A rule lets the user open it.
    Good {
        /// The rule file.
        file: String,
    },
    /// A rule would, in a file that is read too late.
    TooLate {
        /// The rule file.
        file: String,
    },
    /// A rule has its ids with capital letters, which never match.
    Capitals {
        /// The rule file.
        file: String,
        /// The line, counted from 1.
        line: usize,
    },
    /// A file of ours is there and has no line for it.
    NotNamed {
        /// Our rule file.
        file: String,
    },
    /// There is no file of ours.
    None,
}

/// Those files that count: of several with one name the first, as the folders are given in the order of their
/// weight; then all by name, whatever folder they are in.
fn counting(files: &[RuleFile]) -> BTreeMap<&OsStr, &RuleFile> {
    let mut counting = BTreeMap::new();
    for file in files {
        if let Some(name) = file.path.file_name() {
            counting.entry(name).or_insert(file);
        }
    }
    counting
}

/// What `files` say of the board with these ids.
#[must_use]
pub fn board(files: &[RuleFile], usb: UsbId) -> RuleMatch {
    let (vendor, product) = (format!("{:04x}", usb.vendor), format!("{:04x}", usb.product));
    let mut best = RuleMatch::None;
    for (name, file) in counting(files) {
        let path = file.path.display().to_string();
        let mut named = false;
        for (number, line) in rules(&file.text) {
            let gives = line.contains("uaccess") || line.contains("MODE") || line.contains("GROUP");
            let hidraw =
                value(&line, "SUBSYSTEM") == Some("hidraw") || value(&line, "KERNEL").is_some_and(is_hidraw);
            let ids = (value(&line, "ATTRS{idVendor}"), value(&line, "ATTRS{idProduct}"));
            if !gives || !hidraw {
                continue;
            }
            let same = |given: Option<&str>, wanted: &str| given.is_none_or(|given| given == wanted);
            let alike = |given: Option<&str>, wanted: &str| {
                given.is_none_or(|given| given.eq_ignore_ascii_case(wanted))
            };
            // A line without ids is for every board.
            if same(ids.0, &vendor) && same(ids.1, &product) {
                let late = line.contains("uaccess") && name > OsStr::new(SEAT_RULES);
                if !late {
                    return RuleMatch::Good { file: path };
                }
                best = RuleMatch::TooLate { file: path.clone() };
                named = true;
            } else if alike(ids.0, &vendor) && alike(ids.1, &product) {
                best = RuleMatch::Capitals { file: path.clone(), line: number };
                named = true;
            }
        }
        if !named && best == RuleMatch::None && name.to_string_lossy().contains("tallywheel") {
            best = RuleMatch::NotNamed { file: path };
        }
    }
    best
}

/// Whether a rule lets the user make virtual joysticks in time.
#[must_use]
pub fn uinput(files: &[RuleFile]) -> bool {
    counting(files).into_iter().any(|(name, file)| {
        rules(&file.text).any(|(_, line)| {
            let given = line.contains("MODE") || line.contains("GROUP");
            let seat = line.contains("uaccess") && name < OsStr::new(SEAT_RULES);
            value(&line, "KERNEL") == Some("uinput") && (given || seat)
        })
    })
}

/// The rules with the numbers of their first lines: no comments, and continued lines put together.
fn rules(text: &str) -> impl Iterator<Item = (usize, String)> {
    let mut joined = Vec::new();
    let mut open: Option<(usize, String)> = None;
    for (at, line) in (1..).zip(text.lines()) {
        let line = line.trim();
        let (first, mut rule) = open.take().unwrap_or((at, String::new()));
        let continued = line.strip_suffix('\\');
        rule += continued.unwrap_or(line);
        if continued.is_some() {
            open = Some((first, rule));
        } else if !rule.is_empty() && !rule.starts_with('#') {
            joined.push((first, rule));
        }
    }
    joined.into_iter()
}

/// What a rule demands of `key`.
fn value<'a>(rule: &'a str, key: &str) -> Option<&'a str> {
    let after = rule.split(',').find_map(|part| part.trim().strip_prefix(key))?;
    after.trim_start().strip_prefix("==")?.trim().strip_prefix('"')?.strip_suffix('"')
}

fn is_hidraw(kernel: &str) -> bool {
    kernel.starts_with("hidraw")
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHIPPED: &str = include_str!("../../../../packaging/linux/60-tallywheel.rules");
    const BENCH: UsbId = UsbId { vendor: 0x1209, product: 0x7a11 };
    const OTHER: UsbId = UsbId { vendor: 0x1209, product: 0x7a12 };

    fn file(path: &str, text: &str) -> RuleFile {
        RuleFile { path: path.into(), text: text.to_owned() }
    }

    /// The shipped file with its example taken into use, as the file itself says.
    fn installed() -> String {
        SHIPPED.replace("#SUBSYSTEM", "SUBSYSTEM")
    }

    #[test]
    fn the_shipped_file_does_it_once_its_line_is_written() {
        let path = "/etc/udev/rules.d/60-tallywheel.rules";
        assert_eq!(board(&[file(path, &installed())], BENCH), RuleMatch::Good { file: path.into() });
        assert_eq!(board(&[file(path, SHIPPED)], BENCH), RuleMatch::NotNamed { file: path.into() });
        assert_eq!(board(&[file(path, &installed())], OTHER), RuleMatch::NotNamed { file: path.into() });
        assert!(uinput(&[file(path, SHIPPED)]));
        assert_eq!(board(&[], BENCH), RuleMatch::None);
        assert!(!uinput(&[]));
    }

    #[test]
    fn a_file_that_sorts_after_the_seat_s_comes_too_late() {
        let late = "/etc/udev/rules.d/99-tallywheel.rules";
        assert_eq!(board(&[file(late, &installed())], BENCH), RuleMatch::TooLate { file: late.into() });
        assert!(!uinput(&[file(late, SHIPPED)]));
        // A group needs no seat, so it may come at any time.
        let group = installed().replace("TAG+=\"uaccess\"", "GROUP=\"input\", MODE=\"0660\"");
        assert_eq!(board(&[file(late, &group)], BENCH), RuleMatch::Good { file: late.into() });
        assert!(uinput(&[file(late, &group)]));
        // One in time is enough.
        let early = "/usr/lib/udev/rules.d/60-tallywheel.rules";
        let both = [file(late, &installed()), file(early, &installed())];
        assert_eq!(board(&both, BENCH), RuleMatch::Good { file: early.into() });
    }

    #[test]
    fn ids_with_capital_letters_never_match() {
        let text = installed().replace("\"7a11\"", "\"7A11\"");
        let path = "/etc/udev/rules.d/60-tallywheel.rules";
        let verdict = board(&[file(path, &text)], BENCH);
        let RuleMatch::Capitals { file, line } = verdict else { panic!("{verdict:?}") };
        assert_eq!(file, path);
        assert!(text.lines().nth(line - 1).unwrap().contains("7A11"));
    }

    /// udev(7): a file in /etc takes the place of one with the same name elsewhere, and an empty one hides it.
    #[test]
    fn a_file_hides_those_of_its_name_in_lesser_folders() {
        let name = "60-tallywheel.rules";
        let etc = format!("/etc/udev/rules.d/{name}");
        let files = [file(&etc, ""), file(&format!("/usr/lib/udev/rules.d/{name}"), &installed())];
        assert_eq!(board(&files, BENCH), RuleMatch::NotNamed { file: etc });
        assert!(!uinput(&files));
    }

    #[test]
    fn rules_of_others_count_too_and_comments_and_other_devices_do_not() {
        let rule = r#"KERNEL=="hidraw*", ATTRS{idVendor}=="1209", MODE="0666""#;
        assert_eq!(
            board(&[file("/etc/udev/rules.d/50-mine.rules", rule)], OTHER),
            RuleMatch::Good { file: "/etc/udev/rules.d/50-mine.rules".into() }
        );
        let continued = "KERNEL==\"hidraw*\", \\\n  ATTRS{idVendor}==\"1209\", \\\n  MODE=\"0666\"\n";
        let verdict = board(&[file("/etc/udev/rules.d/50-mine.rules", continued)], BENCH);
        assert!(matches!(verdict, RuleMatch::Good { .. }), "{verdict:?}");
        let none = [
            format!("#{rule}"),
            rule.replace("hidraw*", "event*"),
            rule.replace("1209", "120a"),
            rule.replace("MODE=\"0666\"", "SYMLINK+=\"wheel\""),
            String::new(),
        ];
        for text in none {
            let verdict = board(&[file("/etc/udev/rules.d/50-mine.rules", &text)], BENCH);
            assert_eq!(verdict, RuleMatch::None, "{text}");
        }
    }
}
