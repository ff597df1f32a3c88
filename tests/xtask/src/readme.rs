//! The commands that README.md tells people to type, so that what is run and what is told cannot drift.

use crate::shell::{Outcome, fail, read, root};

/// The one command line in README.md that begins with `prefix`, as words.
pub fn command(prefix: &str) -> Outcome<Vec<String>> {
    find(&read(&root().join("README.md"))?, prefix)
}

/// Lines of code blocks: fenced, or indented by four spaces.
fn code_lines(text: &str) -> impl Iterator<Item = &str> {
    let mut fenced = false;
    text.lines().filter_map(move |line| {
        if line.trim_start().starts_with("```") {
            fenced = !fenced;
            return None;
        }
        (fenced || line.starts_with("    ")).then(|| line.trim().trim_start_matches("$ "))
    })
}

fn find(text: &str, prefix: &str) -> Outcome<Vec<String>> {
    let mut found: Vec<&str> = code_lines(text)
        .filter(|line| line.starts_with(prefix))
        // A remark for the reader is not part of the command.
        .map(|line| line.split(" #").next().unwrap_or(line).trim())
        .collect();
    found.dedup();
    match found.as_slice() {
        [one] => Ok(one.split_whitespace().map(str::to_owned).collect()),
        [] => fail(format!("README.md has no code line that begins with `{prefix}`")),
        many => fail(format!(
            "README.md has {} different code lines that begin with `{prefix}`: {}",
            many.len(),
            many.join("; ")
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "\
Not this: cargo test --all\n\n    cargo test --workspace    # every test\n\n\
```sh\n$ cargo run --release -- simulate docs/examples/a.toml\n```\n\
cargo run --release -- simulate prose.toml\n";

    #[test]
    fn commands_come_from_code_blocks_only() {
        assert_eq!(find(TEXT, "cargo test").unwrap(), ["cargo", "test", "--workspace"]);
        let main = find(TEXT, "cargo run --release -- simulate").unwrap();
        assert_eq!(main.last().map(String::as_str), Some("docs/examples/a.toml"));
    }

    #[test]
    fn none_and_two_are_refused() {
        assert!(find(TEXT, "cargo bench").unwrap_err().to_string().contains("no code line"));
        let twice = "    cargo test\n    cargo test --lib\n";
        assert!(find(twice, "cargo test").unwrap_err().to_string().contains("2 different"));
    }
}
