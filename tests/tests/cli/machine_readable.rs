//! What machines read: JSON that keeps its schema, bytes that come back as they were.

use serde_json::Value;

use crate::harness::{armed_at, plans, run_into, run_with};

/// Checks a value against the part of JSON Schema that `docs/schema` uses, and refuses schemas that
/// use more. Gives the first fault.
pub fn fault(value: &Value, schema: &Value, root: &Value, at: &str) -> Option<String> {
    const KNOWN: [&str; 14] = [
        "$schema",
        "$id",
        "$defs",
        "$ref",
        "title",
        "description",
        "type",
        "enum",
        "const",
        "properties",
        "required",
        "additionalProperties",
        "items",
        "minimum",
    ];
    let schema = match schema.get("$ref").and_then(Value::as_str) {
        Some(name) => root.pointer(name.trim_start_matches('#')).expect("a definition"),
        None => schema,
    };
    let keys = schema.as_object().expect("a schema is an object");
    if let Some(unknown) = keys.keys().find(|k| !KNOWN.contains(&k.as_str())) {
        return Some(format!("{at}: this test does not know the schema keyword {unknown}"));
    }
    let is = |kind: &str| match kind {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "integer" => value.is_i64() || value.is_u64(),
        "number" => value.is_number(),
        "boolean" => value.is_boolean(),
        "null" => value.is_null(),
        other => panic!("an unknown type {other}"),
    };
    match keys.get("type") {
        Some(Value::String(kind)) if !is(kind) => {
            return Some(format!("{at}: {value} is no {kind}"));
        }
        Some(Value::Array(kinds)) if !kinds.iter().filter_map(Value::as_str).any(is) => {
            return Some(format!("{at}: {value} is none of {kinds:?}"));
        }
        _ => {}
    }
    if let Some(allowed) = keys.get("enum").and_then(Value::as_array)
        && !allowed.contains(value)
    {
        return Some(format!("{at}: {value} is none of {allowed:?}"));
    }
    if let Some(only) = keys.get("const")
        && only != value
    {
        return Some(format!("{at}: {value} is not {only}"));
    }
    if let (Some(least), Some(number)) =
        (keys.get("minimum").and_then(Value::as_i64), value.as_i64())
        && number < least
    {
        return Some(format!("{at}: {number} is below {least}"));
    }
    if let (Some(items), Some(list)) = (keys.get("items"), value.as_array()) {
        let mut faults =
            list.iter().enumerate().map(|(i, v)| fault(v, items, root, &format!("{at}/{i}")));
        if let Some(first) = faults.find_map(|f| f) {
            return Some(first);
        }
    }
    let object = value.as_object()?;
    let properties = keys.get("properties").and_then(Value::as_object);
    let required = keys.get("required").and_then(Value::as_array).into_iter().flatten();
    if let Some(missing) = required.filter_map(Value::as_str).find(|k| !object.contains_key(*k)) {
        return Some(format!("{at}: {missing} is missing"));
    }
    object.iter().find_map(|(key, value)| match properties.and_then(|p| p.get(key)) {
        Some(schema) => fault(value, schema, root, &format!("{at}/{key}")),
        None if keys.get("additionalProperties") == Some(&Value::Bool(false)) => {
            Some(format!("{at}: {key} is not in the schema"))
        }
        None => None,
    })
}

fn schema_at_top(name: &str) -> Value {
    crate::harness::at_top();
    schema(name)
}

pub fn schema(name: &str) -> Value {
    let text = std::fs::read_to_string(format!("docs/schema/{name}.json")).expect("the schema");
    serde_json::from_str(&text).expect("a schema is JSON")
}

#[test]
fn json_keeps_its_schema() {
    for folder in ["docs/examples", "docs/examples/mistakes"] {
        for plan in plans(folder) {
            let path = plan.to_str().expect("a path");
            let armed = armed_at(&plan);
            for command in ["check", "forecast", "encode"] {
                let answer = run_with(&[command, path, "--armed-at", &armed, "--json"], b"");
                if command != "check" && answer.code == 1 {
                    assert!(answer.out.is_empty(), "{path}: a plan at fault gives no {command}");
                    continue;
                }
                let value: Value = serde_json::from_slice(&answer.out).expect("JSON");
                let schema = schema(command);
                assert_eq!(fault(&value, &schema, &schema, ""), None, "{command} {path}");
            }
        }
    }
}

#[test]
fn explained_bytes_keep_their_schema_damaged_or_not() {
    let schema = schema_at_top("explain");
    let plan = "docs/examples/bakery-night.toml";
    let block = run_with(&["encode", plan, "--armed-at", "2027-01-14 18:40", "-o", "-"], b"").out;
    let mut damaged = block.clone();
    damaged[20] ^= 1;
    for (bytes, code) in [(block, 0), (damaged, 1)] {
        let answer = run_with(&["explain", "-", "--json"], &bytes);
        assert_eq!(answer.code, code);
        let value: Value = serde_json::from_slice(&answer.out).expect("JSON");
        assert_eq!(fault(&value, &schema, &schema, ""), None);
        assert_eq!(run_with(&["explain", "-"], &bytes).code, code);
    }
}

#[test]
fn a_schema_refuses_what_is_not_in_it() {
    let schema = schema_at_top("encode");
    let good = r#"{"format":1,"name":"","bytes":12,"id":"ccbc17a9","hex":"44"}"#;
    let check = |text: &str| {
        let value = serde_json::from_str(text).expect("JSON");
        fault(&value, &schema, &schema, "")
    };
    assert_eq!(check(good), None);
    assert!(check(&good.replace("12", "\"12\"")).is_some(), "a wrong type");
    assert!(check(&good.replace("\"name\":\"\",", "")).is_some(), "a missing key");
    assert!(check(&good.replace("\"name\"", "\"title\"")).is_some(), "an unknown key");
}

#[test]
fn examples_come_back_from_their_bytes() {
    for plan in plans("docs/examples") {
        let armed = armed_at(&plan);
        let path = plan.to_str().expect("a path");
        let block = run_with(&["encode", path, "--armed-at", &armed, "-o", "-"], b"").out;
        assert!(block.len() > 10, "{path}");
        let text = run_with(&["decode", "-"], &block);
        assert_eq!(text.code, 0, "{path}: {}", text.err);
        // The moment of arming has no offset of its own here, and the plan has become one at a fixed
        // offset: that is the first start's, so the moment may have moved by an hour, which no example minds.
        let again = run_with(&["encode", "-", "--armed-at", &armed, "-o", "-"], &text.out);
        assert_eq!(again.out, block, "{path}\n{}", again.err);
    }
}

#[test]
fn a_damaged_block_is_refused_with_code_and_offset() {
    let plan = "docs/examples/bakery-night.toml";
    let block = run_with(&["encode", plan, "--armed-at", "2027-01-14 18:40", "-o", "-"], b"").out;
    for at in 0..block.len() {
        let mut damaged = block.clone();
        damaged[at] ^= 1;
        let answer = run_with(&["decode", "-"], &damaged);
        assert_eq!((answer.code, answer.out.len()), (1, 0));
        assert!(answer.err.starts_with("error[crc]: "), "{}", answer.err);
        let short = run_with(&["decode", "-"], &block[..at]);
        assert_eq!(short.code, 1);
        assert!(short.err.contains("--> standard input: byte "), "{}", short.err);
    }
}

/// An output that takes all that is written and fails when it is to be kept, as a full disk does.
struct Lost(std::io::ErrorKind);

impl std::io::Write for Lost {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Err(self.0.into())
    }
}

#[test]
fn results_that_are_lost_are_told() {
    use std::io::ErrorKind::{BrokenPipe, StorageFull};
    let plan = "docs/examples/bakery-night.toml";
    let other = "docs/examples/weekdays.toml";
    // A reader that has seen enough is no fault; a difference is one all the same.
    for (arguments, closed) in [
        (&["encode", plan, "-o", "-"][..], 0),
        (&["check", plan], 0),
        (&["diff", plan, plan], 0),
        (&["diff", plan, other], 1),
    ] {
        let (code, err) = run_into(arguments, b"", &mut Lost(StorageFull));
        assert_eq!(code, 2, "{arguments:?}");
        assert!(err.contains("error: the output cannot be written: "), "{arguments:?}\n{err}");
        let (code, err) = run_into(arguments, b"", &mut Lost(BrokenPipe));
        assert_eq!((code, err.contains("error")), (closed, false), "{arguments:?}\n{err}");
    }
}
