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
        build.arg("build-as-tested").current_dir(top());
        if folder.ends_with("release") {
            build.arg("--release");
        }
        assert!(build.status().expect("cargo runs").success(), "the program does not build");
        folder.join(format!("tallywheel{}", std::env::consts::EXE_SUFFIX))
    })
}

/// What a run of the program came to.
#[derive(Debug)]
pub struct Ran {
    /// The exit code; none where a signal ended it.
    pub code: Option<i32>,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

/// Runs the program in the top folder and waits for it.
///
/// # Panics
/// Where it cannot be started or does not write UTF-8.
#[must_use]
#[expect(clippy::expect_used, reason = "a test helper stops at the first surprise")]
pub fn run(arguments: &[&str]) -> Ran {
    let output = Command::new(tallywheel()).args(arguments).current_dir(top()).output().expect("it starts");
    Ran {
        code: output.status.code(),
        out: String::from_utf8(output.stdout).expect("UTF-8"),
        err: String::from_utf8(output.stderr).expect("UTF-8"),
    }
}

/// An empty folder of this test's own, gone when it is dropped.
#[derive(Debug)]
pub struct Folder(PathBuf);

impl Folder {
    /// Called after the test.
    ///
    /// # Panics
    /// Where it cannot be made.
    #[must_use]
    #[expect(clippy::expect_used, reason = "a test helper stops at the first surprise")]
    pub fn new(test: &str) -> Self {
        let path = std::env::temp_dir().join(format!("tallywheel-{test}-{}", std::process::id()));
        std::fs::create_dir_all(&path).expect("a folder can be made");
        Self(path)
    }

    /// Its path.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.0
    }

    /// Its path as an argument.
    ///
    /// # Panics
    /// Where it is no UTF-8.
    #[must_use]
    #[expect(clippy::expect_used, reason = "a test helper stops at the first surprise")]
    pub fn arg(&self) -> &str {
        self.0.to_str().expect("UTF-8")
    }

    /// Writes a file in it, with the folders it needs.
    ///
    /// # Panics
    /// Where that fails.
    #[expect(clippy::expect_used, reason = "a test helper stops at the first surprise")]
    pub fn write(&self, name: &str, text: &str) {
        let path = self.0.join(name);
        std::fs::create_dir_all(path.parent().expect("it is in the folder")).expect("folders can be made");
        std::fs::write(path, text).expect("a file can be written");
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}
