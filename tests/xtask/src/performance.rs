//! The tables of docs/performance.md, written by the tasks that measure them.

use std::path::PathBuf;

use crate::shell::{Failure, Outcome, fail, read, root};

/// The argument that asks for it.
pub const UPDATE: &str = "--update";

fn path() -> PathBuf {
    root().join("docs/performance.md")
}

/// Puts a text between the marks `<!-- name -->` and `<!-- end of name -->` of docs/performance.md.
pub fn update(name: &str, text: &str) -> Outcome {
    let path = path();
    let updated = replaced(&read(&path)?, name, text)?;
    std::fs::write(&path, updated)
        .map_err(|e| Failure::Check(format!("cannot write {}: {e}", path.display())))?;
    println!("docs/performance.md: `{name}` written");
    Ok(())
}

fn replaced(page: &str, name: &str, text: &str) -> Outcome<String> {
    let (begin, end) = (format!("<!-- {name} -->\n"), format!("<!-- end of {name} -->"));
    let parts = page.split_once(&begin).and_then(|(before, rest)| {
        let (_, after) = rest.split_once(&end)?;
        Some((before, after))
    });
    let Some((before, after)) = parts else {
        return fail(format!("docs/performance.md has no place for `{name}`"));
    };
    Ok(format!("{before}{begin}\n{}\n\n{end}{after}", text.trim_end()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_named_place_is_written() {
        let page = "a\n<!-- x -->\nold\n<!-- end of x -->\nb\n";
        let once = replaced(page, "x", "new\n").unwrap();
        assert_eq!(once, "a\n<!-- x -->\n\nnew\n\n<!-- end of x -->\nb\n");
        assert_eq!(replaced(&once, "x", "new").unwrap(), once);
        assert!(replaced(page, "y", "new").is_err());
    }

    #[test]
    fn the_page_has_a_place_for_every_table() {
        let page = read(&path()).unwrap();
        for name in ["device", "bench"] {
            assert!(replaced(&page, name, "").is_ok(), "{name}");
        }
    }
}
