//! Which compiler builds for Cortex-M: a target installed by rustup, else a system compiler with its library source.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::shell::{self, Failure, Outcome, capture, fail, target_folder};

/// The two targets the core is built for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Target {
    /// Cortex-M0, M0+, M1: the budgets hold here.
    Thumbv6m,
    /// Cortex-M3.
    Thumbv7m,
}

impl Target {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Thumbv6m, Self::Thumbv7m];

    /// The compiler's name for it.
    pub const fn triple(self) -> &'static str {
        match self {
            Self::Thumbv6m => "thumbv6m-none-eabi",
            Self::Thumbv7m => "thumbv7m-none-eabi",
        }
    }
}

/// A compiler that can build for both targets.
#[derive(Debug)]
pub enum Toolchain {
    /// The toolchain that runs this task has both targets.
    Installed,
    /// The system's cargo and rustc, which build the core library from its source.
    System {
        /// The cargo to call.
        cargo: PathBuf,
        /// The rustc it shall call.
        rustc: PathBuf,
    },
}

const HOW_TO: &str = "no compiler for thumbv6m-none-eabi and thumbv7m-none-eabi found. Either\n  \
    rustup target add thumbv6m-none-eabi thumbv7m-none-eabi\n\
    or install a system compiler of at least 1.88 together with its library source and ld.lld, on Debian\n  \
    apt-get install rustc-web cargo-web rust-web-src lld";

impl Toolchain {
    /// Looks for one.
    pub fn find() -> Outcome<Self> {
        if Target::ALL.iter().all(|t| has_library(Path::new("rustc"), *t).unwrap_or(false)) {
            return Ok(Self::Installed);
        }
        let (cargo, rustc) = (PathBuf::from("/usr/bin/cargo"), PathBuf::from("/usr/bin/rustc"));
        let source =
            sysroot(&rustc).map(|s| s.join("lib/rustlib/src/rust/library/core/Cargo.toml"));
        if cargo.is_file() && source.is_ok_and(|s| s.is_file()) && shell::is_installed("ld.lld") {
            return Ok(Self::System { cargo, rustc });
        }
        fail(HOW_TO)
    }

    /// What it is, in a line.
    pub fn describe(&self) -> Outcome<String> {
        let (rustc, how) = match self {
            Self::Installed => (Path::new("rustc"), "installed targets"),
            Self::System { rustc, .. } => (rustc.as_path(), "core library from source, ld.lld"),
        };
        Ok(format!("{} ({how})", shell::quietly(rustc_command(rustc).arg("-V"))?.trim()))
    }

    /// `cargo <verb>` for a target, in the workspace of the images.
    pub fn cargo(&self, verb: &str, target: Target) -> Command {
        let mut flags = vec!["-Zemit-stack-sizes"];
        let mut command = match self {
            Self::Installed => shell::cargo(),
            Self::System { cargo, rustc } => {
                let mut command = Command::new(cargo);
                command.env("RUSTC", rustc).env_remove("RUSTUP_TOOLCHAIN").env_remove("RUSTDOC");
                flags.push("-Clinker=ld.lld");
                command
            }
        };
        command
            .arg(verb)
            .args(["--release", "--locked", "--target", target.triple()])
            .arg("--target-dir")
            .arg(target_folder().join("device"))
            // Frame sizes are not yet a stable output of the compiler; nothing else unstable is used.
            .env("RUSTC_BOOTSTRAP", "1")
            .env("RUSTFLAGS", flags.join(" "))
            .current_dir(shell::root().join("tests/pump-firmware"));
        if matches!(self, Self::System { .. }) {
            command.arg("-Zbuild-std=core");
        }
        command
    }

    /// Where an image lies after it has been built.
    pub fn image(target: Target, name: &str) -> PathBuf {
        target_folder().join("device").join(target.triple()).join("release").join(name)
    }
}

fn rustc_command(rustc: &Path) -> Command {
    let mut command = Command::new(rustc);
    if rustc.is_absolute() {
        command.env_remove("RUSTUP_TOOLCHAIN");
    }
    command
}

fn sysroot(rustc: &Path) -> Outcome<PathBuf> {
    let out = shell::quietly(rustc_command(rustc).args(["--print", "sysroot"]))?;
    Ok(PathBuf::from(out.trim()))
}

fn has_library(rustc: &Path, target: Target) -> Outcome<bool> {
    let mut command = rustc_command(rustc);
    command.args(["--print", "target-libdir", "--target", target.triple()]);
    let output = capture(&mut command)?;
    if !output.success {
        return Err(Failure::Check(output.err));
    }
    let folder = PathBuf::from(output.out.trim());
    Ok(std::fs::read_dir(folder).is_ok_and(|mut files| {
        files.any(|f| f.is_ok_and(|f| f.file_name().to_string_lossy().starts_with("libcore-")))
    }))
}
