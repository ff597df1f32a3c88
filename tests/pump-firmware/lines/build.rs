//! Turns the golden vectors from JSON into a Rust table, so that an image can carry them.

use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::{env, fs};

use serde_json::Value;

fn main() {
    let own = PathBuf::from(env::var("CARGO_MANIFEST_DIR").expect("cargo sets it"));
    let folder = own.join("../../vectors");
    println!("cargo::rerun-if-changed={}", folder.display());
    let mut files = Vec::new();
    collect(&folder, &mut files);
    files.sort();

    let mut rust = String::from("&[\n");
    for file in &files {
        println!("cargo::rerun-if-changed={}", file.display());
        let text = fs::read_to_string(file).expect("a vector file can be read");
        let json: Value =
            serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", file.display()));
        vectors(&json, file, &mut rust);
    }
    rust.push(']');
    let out = PathBuf::from(env::var("OUT_DIR").expect("cargo sets it"));
    fs::write(out.join("vectors.rs"), rust).expect("cargo's folder can be written to");
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok) {
        let path = entry.path();
        if path.is_dir() {
            collect(&path, files);
        } else if path.extension().is_some_and(|e| e == "json") {
            files.push(path);
        }
    }
}

/// One file: a list of blocks, good ones with an arm instant and a pump, refused ones without.
fn vectors(json: &Value, file: &Path, rust: &mut String) {
    let stem = file.file_stem().unwrap_or_default().to_string_lossy();
    let list = json.as_array().unwrap_or_else(|| panic!("{}: no list", file.display()));
    for vector in list {
        let text = |key: &str| {
            let name = &vector["name"];
            vector[key].as_str().unwrap_or_else(|| panic!("{}: {name}: no {key}", file.display()))
        };
        let pump = &vector["pump"];
        writeln!(
            rust,
            "Vector {{ name: \"{stem}/{}\", block: &{:?}, armed_ms: {:?}, flow: {:?}, pressure: {:?} }},",
            text("name"),
            hex(text("hex")),
            vector["armed"]["utc_ms_since_2000"].as_u64(),
            range(&pump["flow_ul_per_min"]),
            range(&pump["pressure_pa"]),
        )
        .expect("text can be added to");
    }
}

fn range(json: &Value) -> Option<(u64, u64)> {
    Some((json[0].as_u64()?, json[1].as_u64()?))
}

fn hex(text: &str) -> Vec<u8> {
    let digits: Vec<u8> = text
        .chars()
        .filter(|c| !c.is_whitespace())
        .map(|c| c.to_digit(16).unwrap_or_else(|| panic!("{text}: not hexadecimal")) as u8)
        .collect();
    digits.chunks(2).map(|pair| pair[0] << 4 | pair[1]).collect()
}
