//! Links the images that link only without a panic, and looks through what is in them.

use std::collections::BTreeSet;
use std::path::Path;

use super::calls::CallGraph;
use super::image::Image;
use super::toolchain::{Target, Toolchain};
use crate::shell::{self, Outcome, capture, fail, read, root};

/// The symbol that no image may refer to.
const PANIC: &str = "a_panic_is_reachable";

/// The harness alone; what a pump needs; all of the public API.
pub const IMAGES: [&str; 4] = ["stub", "engine", "pump", "whole"];

/// Builds images for a target; a panic that can be reached is a failure that says from where.
pub fn link(tools: &Toolchain, target: Target, images: &[&str]) -> Outcome {
    for name in images {
        let output = capture(tools.cargo("build", target).args(["-p", "no-panic", "--bin", name]))?;
        if output.success {
            continue;
        }
        if output.err.contains(PANIC) {
            return fail(format!(
                "a panic can be reached in the image `{name}` for {}:\n{}",
                target.triple(),
                ways_to_panic(tools, target, name)?
            ));
        }
        return fail(output.err);
    }
    let all = images.join(", ");
    println!("  {}: {all} link, so no panic can be reached from them", target.triple());
    Ok(())
}

/// The same with a panic on purpose: if that links, the check proves nothing.
pub fn control(tools: &Toolchain, target: Target) -> Outcome {
    let mut command = tools.cargo("build", target);
    command.args(["-p", "no-panic", "--bin", "engine", "--features", "control"]);
    let output = capture(&mut command)?;
    if output.success {
        return fail("an image with a panic on purpose links: the check for panics proves nothing");
    }
    if !output.err.contains(PANIC) {
        return fail(format!(
            "the image with a panic on purpose fails for another reason:\n{}",
            output.err
        ));
    }
    println!("  {}: with a panic on purpose it does not link, as it should", target.triple());
    Ok(())
}

/// One chain of calls to each function of the library that panics.
fn ways_to_panic(tools: &Toolchain, target: Target, name: &str) -> Outcome<String> {
    let mut command = tools.cargo("build", target);
    shell::quietly(command.args(["-p", "no-panic", "--bin", name, "--features", "diagnose"]))?;
    let graph = CallGraph::of(&Image::read(&Toolchain::image(target, name))?);
    let ways: Vec<String> = graph
        .callers_of("core::panicking::")
        .into_iter()
        .filter_map(|caller| graph.chain_to(graph.find("reset")?, caller))
        .map(|chain| format!("  {}", chain.join("\n    -> ")))
        .collect();
    Ok(ways.join("\n"))
}

/// Looks for floating point, allocation and panics in the images.
pub fn symbols(target: Target) -> Outcome {
    for name in ["engine", "pump", "whole"] {
        let image = Image::read(&Toolchain::image(target, name))?;
        let names = image.functions.iter().map(|f| f.name.as_str());
        let unwanted: BTreeSet<&str> = names.filter(|n| is_unwanted(n)).collect();
        if !unwanted.is_empty() {
            let list = unwanted.into_iter().collect::<Vec<_>>().join(", ");
            return fail(format!("in the image `{name}` for {}: {list}", target.triple()));
        }
        println!(
            "  {}: {name}: {} functions, none for floating point, allocation or panics",
            target.triple(),
            image.functions.len()
        );
    }
    Ok(())
}

fn is_unwanted(name: &str) -> bool {
    let panics = name.starts_with("core::panicking") || name.contains("rust_begin_unwind");
    let allocates = ["__rust_alloc", "__rust_realloc", "__rust_dealloc", "malloc", "alloc::"]
        .iter()
        .any(|a| name.starts_with(a));
    panics || allocates || is_soft_float(name)
}

/// The run-time functions for `f32` and `f64`, under the names of the Arm ABI and of the compiler's library.
fn is_soft_float(name: &str) -> bool {
    let arm =
        ["f", "d", "i2f", "i2d", "ui2f", "ui2d", "l2f", "l2d", "ul2f", "ul2d", "cf", "cd", "h2f"];
    if let Some(rest) = name.strip_prefix("__aeabi_") {
        return arm.iter().any(|a| rest.starts_with(a));
    }
    let library =
        name.starts_with("__") && ["sf2", "sf3", "df2", "df3"].iter().any(|e| name.ends_with(e));
    let converts = ["__float", "__fix", "__extend", "__trunc"].iter().any(|b| name.starts_with(b));
    library || converts || name.starts_with("compiler_builtins::float")
}

/// Every public function of the core must be named in the images, or their linking says nothing about it.
pub fn nothing_left_out() -> Outcome {
    let core = sources(&root().join("scheduler/src"))?;
    let images = sources(&root().join("tests/pump-firmware/no-panic/src"))?;
    let used: BTreeSet<&str> = images.split(|c: char| !(c.is_alphanumeric() || c == '_')).collect();
    let missing: Vec<&str> = public_functions(&core).filter(|f| !used.contains(f)).collect();
    if missing.is_empty() {
        println!(
            "  all {} public functions of the core are in them",
            public_functions(&core).count()
        );
        return Ok(());
    }
    fail(format!(
        "public functions of the core that tests/pump-firmware/no-panic does not call: {}; add them to \
         engine.rs, values.rs or texts.rs there",
        missing.join(", ")
    ))
}

/// The names behind `pub fn` and `pub const fn`, outside of documentation.
fn public_functions(source: &str) -> impl Iterator<Item = &str> {
    source.lines().filter_map(|line| {
        let line = line.trim_start();
        let rest = line.strip_prefix("pub fn ").or_else(|| line.strip_prefix("pub const fn "))?;
        let name = rest.split(['(', '<']).next()?;
        // The names in a macro's definition stand for those in its uses.
        (!name.starts_with('$')).then_some(name)
    })
}

/// All Rust source below a folder, as one text.
fn sources(folder: &Path) -> Outcome<String> {
    let mut text = String::new();
    let entries = std::fs::read_dir(folder)
        .map_err(|e| shell::Failure::Check(format!("cannot read {}: {e}", folder.display())))?;
    for entry in entries.filter_map(Result::ok) {
        let path = entry.path();
        if path.is_dir() {
            text.push_str(&sources(&path)?);
        } else if path.extension().is_some_and(|e| e == "rs") {
            text.push_str(&read(&path)?);
        }
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn soft_float_allocation_and_panics_are_unwanted() {
        for name in [
            "__aeabi_fadd",
            "__aeabi_dmul",
            "__aeabi_ui2d",
            "__adddf3",
            "__floatsisf",
            "__rust_alloc",
            "core::panicking::panic_fmt",
            "alloc::raw_vec::finish_grow",
            "__aeabi_cdcmple",
        ] {
            assert!(is_unwanted(name), "{name}");
        }
        for name in [
            "__aeabi_uldivmod",
            "__aeabi_memcpy",
            "__udivmoddi4",
            "__aeabi_lmul",
            "__aeabi_llsl",
            "draught::machine::Machine::advance",
            "__clzsi2",
        ] {
            assert!(!is_unwanted(name), "{name}");
        }
    }

    #[test]
    fn public_functions_are_found_and_others_are_not() {
        let source = "pub fn one(&self) {}\n    pub const fn two<T>() {}\npub(crate) fn three() {}\n\
                      /// pub fn four()\n    pub const fn $from() {}\nfn five() {}\n";
        assert_eq!(public_functions(source).collect::<Vec<_>>(), ["one", "two"]);
    }
}
