//! Tells the linker where flash and RAM of the emulated boards are.

use std::path::PathBuf;
use std::{env, fs};

fn main() {
    let target = env::var("TARGET").unwrap_or_default();
    // microbit: nRF51 with a Cortex-M0; lm3s6965evb: Cortex-M3. Both have flash at 0; the image for the
    // smaller one also runs on mps2-an385, which has room for both.
    let ram_kib = if target.starts_with("thumbv6m") { 16 } else { 64 };
    let memory = format!(
        "MEMORY\n{{\n  FLASH : ORIGIN = 0x00000000, LENGTH = 256K\n  \
         RAM : ORIGIN = 0x20000000, LENGTH = {ram_kib}K\n}}\n"
    );
    let folder = PathBuf::from(env::var("OUT_DIR").expect("cargo sets it"));
    fs::write(folder.join("memory.x"), memory).expect("cargo's folder can be written to");
    println!("cargo::rustc-link-search={}", folder.display());
    println!("cargo::rustc-link-arg-bins=-Tlink.x");
    println!("cargo::rerun-if-changed=build.rs");
}
