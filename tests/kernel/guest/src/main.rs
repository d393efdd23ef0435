//! What `tests/kernel` runs inside its guest: a board that the kernel believes in, a datagram listener, a meter for the
//! way from report to axis event.
//!
//! It acts and records; it never judges. The judging is done on the host, in Python, from the records, so that nothing
//! here can hide an error of the program under test. It shares no code with that program either.

#[cfg(unix)]
mod board;
#[cfg(unix)]
mod gadget;
#[cfg(unix)]
mod input;
#[cfg(unix)]
mod latency;
#[cfg(unix)]
mod listen;
#[cfg(unix)]
mod recording;
#[cfg(unix)]
mod syscalls;
#[cfg(unix)]
mod uhid;

/// Whatever stops a guest tool; its text ends up in the guest's transcript.
#[cfg(unix)]
type Failure = Box<dyn std::error::Error + Send + Sync>;

#[cfg(unix)]
fn main() -> Result<(), Failure> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let Some((tool, rest)) = words.split_first() else {
        return Err("lab board|listen|as-user|latency ...".into());
    };
    match tool.as_str() {
        "board" => board::run(rest),
        "listen" => listen::run(rest),
        "as-user" => as_user(rest),
        "latency" => latency::run(rest),
        other => Err(format!("no tool {other}").into()),
    }
}

#[cfg(not(unix))]
fn main() {}

/// `as-user UID COMMAND...`: becomes COMMAND, without root's rights.
#[cfg(unix)]
fn as_user(words: &[String]) -> Result<(), Failure> {
    use std::os::unix::process::CommandExt;
    let [user, program, arguments @ ..] = words else {
        return Err("as-user UID COMMAND...".into());
    };
    let user: u32 = user.parse()?;
    Err(std::process::Command::new(program).args(arguments).uid(user).gid(user).exec().into())
}

/// The value after `--name` in a tool's words.
#[cfg(unix)]
fn option<'a>(words: &'a [String], name: &str) -> Result<&'a str, Failure> {
    let at = words.iter().position(|word| word == name).ok_or_else(|| format!("{name} is missing"))?;
    Ok(words.get(at + 1).ok_or_else(|| format!("{name} wants a value"))?)
}
