//! What fuzzing begins with: the golden vectors without their CRC, and the examples.

use std::fs;
use std::path::Path;

use crate::shell::{Failure, Outcome, fail, read, root};

/// What comes after a schedule in a seed of `arm_advance` (`tests/fuzz/src/arm/world.rs`): called in time; late,
/// without a wall clock, and with commands; from the last days of the calendar on.
const SCRIPTS: [&[u8]; 3] = [
    &[0x14, 10, 0, 0, 0, 0, 0, 0],
    &[
        0x14, 90, 0, 0x34, 2, 0, 0x06, 5, 100, 0, 0, 0, 0x36, 10, 9, 0x88, 1, 1, 0, 20, 0, 0, 0x4d,
        1,
    ],
    &[0x08, 0, 0, 0, 9, 0, 0, 3, 128, 0x96, 7, 0, 0, 0xc6, 7, 0, 0, 0x0b],
];

/// Writes the seeds of a target; inputs that are there already stay.
pub fn write(target: &str, folder: &Path) -> Outcome {
    let seeds = match target {
        "plan_parse" => plans()?,
        "arm_advance" => schedules()?,
        _ => blocks()?,
    };
    if seeds.is_empty() {
        return fail(format!("there are no seeds for {target}"));
    }
    let cannot =
        |e: std::io::Error| Failure::Check(format!("cannot write {}: {e}", folder.display()));
    fs::create_dir_all(folder).map_err(cannot)?;
    for (name, bytes) in seeds {
        fs::write(folder.join(format!("seed-{name}")), bytes).map_err(cannot)?;
    }
    Ok(())
}

type Seeds = Vec<(String, Vec<u8>)>;

/// `capacity byte | body`; a block whose CRC or length is at fault stays whole.
fn blocks() -> Outcome<Seeds> {
    let mut seeds = Vec::new();
    for file in ["valid", "refused"] {
        for (n, v) in vectors(file)?.into_iter().enumerate() {
            let whole = ["crc", "too-short"].contains(&v.code.as_str());
            let how = match v.capacity {
                _ if whole => 255,
                32 => 1,
                _ => 0,
            };
            let body = if whole { &v.block[..] } else { v.body() };
            seeds.push((format!("{file}-{n}"), [&[how], body].concat()));
        }
    }
    Ok(seeds)
}

/// `body | script`.
fn schedules() -> Outcome<Seeds> {
    let mut seeds = Vec::new();
    for (n, v) in vectors("valid")?.into_iter().enumerate() {
        for (i, script) in SCRIPTS.iter().enumerate() {
            seeds.push((format!("{n}-{i}"), [v.body(), script].concat()));
        }
    }
    Ok(seeds)
}

fn plans() -> Outcome<Seeds> {
    let mut seeds = Vec::new();
    for folder in ["docs/examples", "docs/examples/mistakes"] {
        let cannot = |e: std::io::Error| Failure::Check(format!("cannot read {folder}: {e}"));
        for entry in fs::read_dir(root().join(folder)).map_err(cannot)? {
            let path = entry.map_err(cannot)?.path();
            if path.extension().is_some_and(|e| e == "toml") {
                let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
                seeds.push((name, read(&path)?.into_bytes()));
            }
        }
    }
    Ok(seeds)
}

/// A golden vector, as far as a seed needs it.
#[derive(Debug, Default, PartialEq, Eq)]
struct Vector {
    block: Vec<u8>,
    capacity: usize,
    code: String,
}

impl Vector {
    fn body(&self) -> &[u8] {
        self.block.get(..self.block.len().saturating_sub(4)).unwrap_or_default()
    }
}

fn vectors(file: &str) -> Outcome<Vec<Vector>> {
    let path = root().join(format!("tests/vectors/v1/{file}.json"));
    let vectors = parse(&read(&path)?);
    match vectors.len() {
        100.. => Ok(vectors),
        few => fail(format!("{few} vectors found in {}", path.display())),
    }
}

/// The files hold a key a line, so that they need no reader of JSON here.
fn parse(json: &str) -> Vec<Vector> {
    let mut vectors: Vec<Vector> = Vec::new();
    for line in json.lines() {
        let Some((key, value)) = line.trim().trim_end_matches(',').split_once(": ") else {
            continue;
        };
        let text = value.trim_matches('"');
        match (key, vectors.last_mut()) {
            ("\"hex\"", _) => {
                let block = bytes(text).unwrap_or_default();
                vectors.push(Vector { block, capacity: 255, ..Vector::default() });
            }
            ("\"capacity\"", Some(v)) => v.capacity = text.parse().unwrap_or(255),
            ("\"code\"", Some(v)) => v.code = text.to_owned(),
            _ => {}
        }
    }
    vectors
}

/// Hex digits as bytes; `None` when they are none.
pub fn bytes(hex: &str) -> Option<Vec<u8>> {
    let digits: Vec<u32> = hex.chars().map(|c| c.to_digit(16)).collect::<Option<_>>()?;
    let pairs = digits.chunks(2);
    pairs.map(|pair| Some((pair[0] << 4 | pair.get(1)?) as u8)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn vectors_are_read_from_their_lines() {
        let json = "[\n  {\n    \"name\": \"a\",\n    \"hex\": \"44010aff00\",\n    \"capacity\": 32,\n    \
                    \"code\": \"crc\",\n    \"at\": 1\n  },\n  {\n    \"hex\": \"\",\n    \"id\": \"\"\n  }\n]\n";
        let vectors = parse(json);
        assert_eq!(vectors.len(), 2);
        assert_eq!((vectors[0].body(), vectors[0].capacity), (&[0x44][..], 32));
        assert_eq!((vectors[0].code.as_str(), vectors[1].capacity), ("crc", 255));
        assert!(vectors[1].body().is_empty());
    }

    #[test]
    fn hex_is_whole_bytes() {
        assert_eq!(bytes("00fF"), Some(vec![0, 255]));
        assert_eq!((bytes("0"), bytes("0x")), (None, None));
    }

    #[test]
    fn every_target_has_seeds() {
        assert!(blocks().unwrap().len() > 250);
        assert!(schedules().unwrap().len() > 300);
        assert!(plans().unwrap().len() > 40);
    }
}
