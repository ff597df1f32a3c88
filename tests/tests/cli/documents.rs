//! What README.md and docs/standards.md say, compared with what there is.

use std::collections::BTreeSet;
use std::fs;

use crate::harness::{at_top, type_in};

fn text(path: &str) -> String {
    at_top();
    fs::read_to_string(path).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// README.md shows the real output of its own main command; `[...]` stands for lines left out.
#[test]
fn the_readme_shows_what_its_command_prints() {
    let readme = text("README.md");
    let plan = readme
        .lines()
        .find_map(|l| l.trim().strip_prefix("cargo run --release -- simulate "))
        .expect("the main command");
    let screen = type_in(&format!("draught simulate {plan}")).screen();
    let (_, block) = readme.split_once("```text\n").expect("what is seen");
    let (block, _) = block.split_once("```").expect("its end");
    let pieces: Vec<&str> = block.split("[...]\n").collect();
    assert!(screen.starts_with(pieces[0]), "not how it begins:\n{}", pieces[0]);
    assert!(screen.ends_with(pieces[pieces.len() - 1]), "not how it ends:\n{screen}");
    let mut rest = screen.as_str();
    for piece in pieces {
        let (_, after) =
            rest.split_once(piece).unwrap_or_else(|| panic!("not in what is left:\n{piece}"));
        rest = after;
    }
}

/// Every relative link in the front pages leads somewhere.
#[test]
fn links_lead_somewhere() {
    for page in [
        "README.md",
        "docs/README.md",
        "docs/standards.md",
        "docs/cautions.md",
        "docs/hygiene.md",
        "docs/tutorial.md",
    ] {
        let folder = page.rsplit_once('/').map_or("", |(folder, _)| folder);
        let page_text = text(page);
        let links = page_text.split("](").skip(1).filter_map(|t| t.split_once(')'));
        let mut found = 0;
        for (link, _) in links.filter(|(link, _)| !link.starts_with("http")) {
            let path = at_top().join(folder).join(link.split('#').next().unwrap_or(link));
            assert!(path.exists(), "{page} links to {link}, which is not there");
            found += 1;
        }
        assert!(found > 0, "{page} has no links");
    }
}

/// Names of the tests in a file.
fn tests_in(path: &str) -> BTreeSet<String> {
    let source = text(path);
    let names = source.split("#[test]\nfn ").skip(1).filter_map(|t| t.split_once('('));
    names.map(|(name, _)| name.to_owned()).collect()
}

/// Every test that docs/standards.md names exists, and every test in the files of published figures is
/// named there.
#[test]
fn the_standards_page_lists_the_tests_there_are() {
    let page = text("docs/standards.md");
    let (_, held) = page.split_once("## Held by tests").expect("what is held");
    let (held, _) = held.split_once("\n## ").expect("its end");
    let named: BTreeSet<String> = held
        .lines()
        .filter_map(|row| row.strip_suffix(" |")?.rsplit_once("| "))
        .flat_map(|(_, tests)| tests.split(", "))
        .filter_map(|test| test.strip_prefix('`')?.strip_suffix('`'))
        .map(str::to_owned)
        .collect();
    let mut standards = tests_in("tests/tests/standards.rs");
    standards.append(&mut tests_in("tests/tests/standards_power.rs"));
    standards.append(&mut tests_in("tests/tests/pump_published.rs"));
    standards.append(&mut tests_in("tests/tests/hygiene/published.rs"));
    assert!(standards.len() > 15, "{standards:?}");
    let unnamed: Vec<_> = standards.difference(&named).collect();
    assert!(unnamed.is_empty(), "docs/standards.md has no row for {unnamed:?}");
    let files = [
        "standards",
        "standards_power",
        "pump_published",
        "worlds/hold",
        "hygiene/published",
        "calendar",
        "crc",
        "encoding",
        "simulate",
        "methods/library",
        "methods/plans",
    ];
    let all: BTreeSet<String> =
        files.iter().flat_map(|f| tests_in(&format!("tests/tests/{f}.rs"))).collect();
    let missing: Vec<_> = named.difference(&all).collect();
    assert!(missing.is_empty(), "docs/standards.md names {missing:?}, which are not there");
}
