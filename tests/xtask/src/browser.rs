//! Report pages and field sheets in a real browser.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::shell::{self, Failure, Outcome, cargo, fail, root, target_folder};

/// `cargo xtask browser --help`
pub const HELP: &str = "\
Makes report pages and field sheets of invented events, opens them in Chromium and looks at what only a browser knows

Usage: cargo xtask browser [--pictures FOLDER]

No words on the console, no requests, nothing wider than a phone, a tablet or a desktop; axe-core finds nothing in light and
dark; skip link and order of focus; every number equals the JSON; prints on A4 and Letter of the expected length, no chart cut.
Needs Chromium, node, npm, and pdfinfo and pdftotext (poppler-utils); npm packages come with `npm ci`.

  --pictures FOLDER   also writes a picture of every page at every width, to look at";

/// What playwright-core needs.
const NODE: u32 = 20;

/// `cargo xtask browser`
pub fn run(arguments: &[String]) -> Outcome {
    let pictures = match arguments {
        [] => None,
        [option, folder] if option == "--pictures" => Some(folder),
        [unknown, ..] => return Err(Failure::Use(format!("`{unknown}` is not understood"))),
    };
    for (program, package) in [
        ("node", "nodejs"),
        ("npm", "npm"),
        ("pdfinfo", "poppler-utils"),
        ("pdftotext", "poppler-utils"),
    ] {
        if !shell::is_installed(program) {
            return fail(format!(
                "{program} is not installed; on Debian: apt-get install {package}"
            ));
        }
    }
    let version = shell::quietly(Command::new("node").arg("--version"))?;
    let major = version
        .trim()
        .trim_start_matches('v')
        .split('.')
        .next()
        .and_then(|n| n.parse::<u32>().ok());
    if major.is_none_or(|major| major < NODE) {
        return fail(format!("node {} is too old: {NODE} is needed", version.trim()));
    }
    let tests = root().join("tests/browser");
    let packages =
        ["node_modules/playwright-core/package.json", "node_modules/axe-core/axe.min.js"];
    if !packages.iter().all(|file| tests.join(file).is_file()) {
        shell::quietly(Command::new("npm").current_dir(&tests).args(["ci", "--ignore-scripts"]))?;
    }
    let folder = target_folder().join("browser");
    if folder.exists() {
        fs::remove_dir_all(&folder)
            .map_err(|e| Failure::Check(format!("{} cannot be emptied: {e}", folder.display())))?;
    }
    pages(&folder)?;
    let mut check = Command::new("node");
    check.current_dir(&tests).arg("check.mjs").arg(&folder);
    if let Some(pictures) = pictures {
        check.arg("--pictures").arg(std::path::absolute(pictures).unwrap_or_default());
    }
    shell::run(&mut check)
}

/// Every case as a page and as prints, made by the command that people type: invented results, event folders with their field sheets, and a
/// record alone.
fn pages(folder: &Path) -> Outcome {
    shell::run(cargo().args(["build", "--quiet", "--locked", "-p", "draught-sim"]))?;
    let mut cases = cargo();
    cases.args([
        "run",
        "--quiet",
        "--locked",
        "-p",
        "draught-tests",
        "--example",
        "report_cases",
        "--",
    ]);
    shell::run(cases.arg(folder))?;
    let mut made = 0;
    for results in inside(folder, |path| path.extension().is_some_and(|e| e == "json"))? {
        reports(&results, &results)?;
        made += 1;
    }
    // Nothing has happened in this one yet: its sheet is blank.
    let events = folder.join("events");
    let untouched = events.join("untouched");
    let plan = root().join("docs/examples/full-shift.toml");
    let mut new = draught();
    new.args(["event", "new"]).arg(plan).arg("-o").arg(untouched);
    shell::quietly(new.args(["--workers", "2", "--armed-at", "2027-01-04 06:00"]))?;
    let mut all = inside(&events, Path::is_dir)?;
    all.extend(inside(&root().join("docs/examples/events"), Path::is_dir)?);
    for event in all {
        let to = folder.join(event.file_name().unwrap_or_default()).with_extension("json");
        results(&event, &to)?;
        reports(&event, &to)?;
        for paper in ["a4", "letter"] {
            let mut sheet = draught();
            sheet.args(["event", "sheet"]).arg(&event).args(["--paper", paper]).arg("-o");
            shell::quietly(sheet.arg(to.with_extension(format!("sheet-{paper}.html"))))?;
        }
        made += 1;
    }
    let record = events.join("grain-cleaning/records/p3.json");
    let to = folder.join("a-record-alone.json");
    results(&record, &to)?;
    reports(&record, &to)?;
    if made == 0 { fail("no pages were made") } else { Ok(()) }
}

fn draught() -> Command {
    Command::new(target_folder().join("debug/draught"))
}

/// What is in a folder, in order.
fn inside(folder: &Path, wanted: impl Fn(&Path) -> bool) -> Result<Vec<PathBuf>, Failure> {
    let unreadable =
        |e: std::io::Error| Failure::Check(format!("{} cannot be read: {e}", folder.display()));
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        found.push(entry.map_err(unreadable)?.path());
    }
    found.retain(|path| wanted(path));
    found.sort();
    Ok(found)
}

/// What the page must agree with: the results as another command prints them.
fn results(of: &Path, to: &Path) -> Outcome {
    let json = shell::quietly(draught().arg("results").arg(of).arg("--json"))?;
    fs::write(to, json)
        .map_err(|e| Failure::Check(format!("{} cannot be written: {e}", to.display())))
}

fn reports(of: &Path, to: &Path) -> Outcome {
    let report = || {
        let mut report = draught();
        report.arg("report").arg(of);
        report
    };
    let to = |ending: &str| to.with_extension(ending);
    let mut a4 = report();
    a4.arg("-o").arg(to("html")).args(["--paper", "a4", "--pdf"]).arg(to("a4.pdf"));
    shell::quietly(&mut a4)?;
    shell::quietly(report().args(["--paper", "letter", "--pdf"]).arg(to("letter.pdf")))?;
    Ok(())
}
