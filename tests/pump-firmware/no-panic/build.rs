//! Hands the linker script to the linker.

fn main() {
    let folder = std::env::var("CARGO_MANIFEST_DIR").expect("cargo sets it");
    println!("cargo::rustc-link-arg-bins=-T{folder}/image.x");
    println!("cargo::rerun-if-changed=image.x");
}
