//! What the end to end tests share: where things are, and how the program is run.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

/// The top of the checkout.
#[must_use]
pub fn top() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap_or(Path::new("."))
}

/// What `cargo metadata` says of the workspace and everything it depends on.
///
/// # Panics
/// Where cargo fails or answers something else than JSON.
#[must_use]
#[expect(clippy::expect_used, clippy::panic, reason = "a test helper stops at the first surprise")]
pub fn metadata() -> &'static Value {
    static METADATA: OnceLock<Value> = OnceLock::new();
    METADATA.get_or_init(|| {
        let output = Command::new(env!("CARGO"))
            .args(["metadata", "--format-version", "1", "--locked", "--offline"])
            .args(["--filter-platform", "x86_64-unknown-linux-gnu"])
            .current_dir(top())
            .output()
            .expect("cargo runs");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("cargo metadata: {e}"))
    })
}

/// The built program. Builds it if need be, in the profile these tests were built in.
///
/// # Panics
/// Where it cannot be built.
#[must_use]
#[expect(clippy::expect_used, reason = "a test helper stops at the first surprise")]
pub fn tallywheel() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| {
        let test = std::env::current_exe().expect("a test has a path");
        let folder = test.ancestors().nth(2).expect("tests lie in PROFILE/deps").to_owned();
        let mut build = Command::new(env!("CARGO"));
        build
            .args(["build", "--quiet", "--locked", "-p", "tallywheel", "--bin", "tallywheel"])
            .current_dir(top());
        if folder.ends_with("release") {
            build.arg("--release");
        }
        assert!(build.status().expect("cargo runs").success(), "the program does not build");
        folder.join(format!("tallywheel{}", std::env::consts::EXE_SUFFIX))
    })
}
