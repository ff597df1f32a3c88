//! What is on the screens, compared with what is stored and documented.

use std::collections::BTreeSet;

use crate::harness::{armed_at, plans, run_with, same_as_stored, type_in};

/// Every plan in `docs/examples/mistakes` beside what is said about it.
#[test]
fn each_mistake_is_told_as_it_is_documented() {
    let plans = plans("docs/examples/mistakes");
    assert!(plans.len() >= 15, "{} mistakes", plans.len());
    for plan in plans {
        let path = plan.to_str().expect("a path");
        let line = format!("draught check {path} --armed-at \"{}\"", armed_at(&plan));
        let answer = type_in(&line);
        let told = format!("$ {line}\n{}\nexit code {}\n", answer.screen(), answer.code);
        same_as_stored(&plan.with_extension("txt"), &told);
    }
}

/// Every example can be used as it is, and its screens are stored.
#[test]
fn each_example_checks_and_forecasts() {
    let plans = plans("docs/examples");
    assert!(plans.len() >= 7, "{} examples", plans.len());
    for plan in plans {
        let path = plan.to_str().expect("a path");
        let armed = armed_at(&plan);
        let mut told = String::new();
        for command in [
            format!("draught check {path} --armed-at \"{armed}\""),
            format!("draught forecast {path} --armed-at \"{armed}\""),
            format!("draught forecast {path} --armed-at \"{armed}\" --steps"),
            format!("draught encode {path} --armed-at \"{armed}\""),
        ] {
            let answer = type_in(&command);
            assert_eq!(answer.code, 0, "{command}\n{}", answer.screen());
            told.push_str(&format!("$ {command}\n{}\n", answer.screen()));
        }
        let name = plan.file_stem().and_then(|s| s.to_str()).expect("a name");
        same_as_stored(format!("tests/tests/cli/screens/{name}.txt").as_ref(), &told);
    }
}

/// Each first plan can be used as it is written, and armed where it starts by the clock.
#[test]
fn each_first_plan_is_usable() {
    let mut told = String::new();
    for kind in ["shift", "short", "day", "cycle", "week", "volume"] {
        let line = format!("draught new {kind} --zone Europe/Oslo");
        let answer = type_in(&line);
        assert_eq!((answer.code, answer.err.as_str()), (0, ""), "{line}");
        let checked = run_with(&["check", "-"], &answer.out);
        assert_eq!(checked.code, 0, "{line}\n{}", checked.screen());
        assert!(checked.screen().contains("\n0 errors, 0 warnings."), "{}", checked.screen());
        told.push_str(&format!("$ {line}\n{}\n", answer.screen()));
    }
    let asked = "draught new shift --zone America/Denver --flow \"2.2 L/min\" --start \"2027-03-08 07:30\" \
                 --run \"8 h\" --hold \"45 min\" --name first";
    told.push_str(&format!("$ {asked}\n{}", type_in(asked).screen()));
    same_as_stored("tests/tests/cli/screens/new.txt".as_ref(), &told);
}

/// What is asked for wrongly is told on the error stream, with exit code 2.
#[test]
fn wrong_use_is_told() {
    let mut told = String::new();
    for line in [
        "draught",
        "draught chekc plan.toml",
        "draught check",
        "draught check no-such-file.toml",
        "draught check docs",
        "draught forecast docs/examples/short-term.toml --armed-at tomorrow",
        "draught forecast docs/examples/short-term.toml --armed-at \"2019-01-01T00:00Z\"",
        "draught encode docs/examples/short-term.toml -o no-such-folder/x.draught",
        "draught encode docs/examples/short-term.toml -o docs/examples/../examples/short-term.toml",
        "draught decode no-such-file.draught",
        "draught simulate docs/examples/short-term.toml --seed -1",
        "draught new shift --zone Nowhere/Land",
        "draught new shift --flow 2.0",
        "draught new day --start \"2027-03-08 07:30\"",
        "draught new day --volume \"2 L\"",
        "draught new week --start 2027-03-06",
        "draught new shift --start 2020-01-01",
        "draught new shift --zone Europe/Oslo -o docs/plan.md",
    ] {
        let answer = type_in(line);
        assert_eq!(answer.code, 2, "{line}\n{}", answer.screen());
        assert!(answer.out.is_empty(), "{line} must say nothing on standard output");
        told.push_str(&format!("$ {line}\n{}\n", answer.screen()));
    }
    same_as_stored("tests/tests/cli/screens/wrong-use.txt".as_ref(), &told);
}

/// The first and the last lines of a long answer.
fn brief(screen: &str) -> String {
    let lines: Vec<&str> = screen.lines().collect();
    if lines.len() < 40 {
        return screen.to_owned();
    }
    let (first, last) = (lines[..8].join("\n"), lines[lines.len() - 5..].join("\n"));
    format!("{first}\n[... {} lines ...]\n{last}\n", lines.len() - 13)
}

/// What is no plan and no block at all is told as such, with exit code 1 and in a few lines.
#[test]
fn wrong_files_are_told() {
    let folder = std::env::temp_dir().join(format!("draught-files-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a temporary folder");
    let file = |name: &str, bytes: &[u8]| {
        let path = folder.join(name);
        std::fs::write(&path, bytes).expect("a temporary file");
        path.to_str().expect("a path").to_owned()
    };
    let empty = file("empty", b"");
    let binary = file("binary", &[0xD8, 0x00, 0xFF, 0x10].repeat(20));
    let endless = file("endless", &b"x = 1\n".repeat(200_000));
    let many = file("many", &b"x = 1\n".repeat(1_000));
    let nested = file("nested", &[b'['; 10_000]);
    let plan = "docs/examples/short-term.toml".to_owned();
    let world = ["simulate", &plan, "--world", &binary];
    let mut told = String::new();
    for arguments in [
        &["check", &empty][..],
        &["check", &binary],
        &["check", &endless],
        &["check", &many],
        &["check", &nested],
        &["simulate", &many],
        &world,
        &["decode", &empty],
        &["decode", &binary],
        &["decode", &endless],
        &["decode", &plan],
        &["explain", &empty],
        &["explain", &binary],
        &["explain", &plan],
    ] {
        let answer = run_with(arguments, b"");
        let line = format!("$ draught {}\n", arguments.join(" "));
        assert_eq!(answer.code, 1, "{line}{}", answer.screen());
        assert!(answer.screen().lines().count() < 200, "{line} says too much");
        told.push_str(&format!("{line}{}\n", brief(&answer.screen())));
    }
    let told = told.replace(&format!("{}/", folder.to_str().expect("a path")), "");
    same_as_stored("tests/tests/cli/screens/wrong-files.txt".as_ref(), &told);
    std::fs::remove_dir_all(&folder).expect("it was made");
}

/// Each command explains itself with an example.
#[test]
fn help_has_an_example_for_each_command() {
    let mut told = String::new();
    for command in [
        "",
        "propose",
        "new",
        "check",
        "forecast",
        "simulate",
        "encode",
        "decode",
        "explain",
        "diff",
        "methods",
        "methods show",
        "compute",
        "event",
        "event new",
        "event check",
        "event sheet",
        "results",
        "report",
    ] {
        let line = format!("draught {command} --help").replace("  ", " ");
        let answer = type_in(&line);
        assert_eq!(answer.code, 0, "{line}");
        let text = answer.screen();
        assert!(text.contains("\n  draught "), "{line} shows no example:\n{text}");
        told.push_str(&format!("$ {line}\n{text}\n"));
    }
    same_as_stored("tests/tests/cli/screens/help.txt".as_ref(), &told);
}

/// The screens shown in the documents are the real ones.
#[test]
fn documents_show_real_screens() {
    for document in ["docs/cli.md", "docs/methods.md", "docs/accuracy.md", "docs/hygiene.md"] {
        crate::harness::at_top();
        let text = std::fs::read_to_string(document).expect("the document");
        let mut found = String::new();
        let mut rest = text.as_str();
        let mut blocks = 0;
        while let Some((before, block)) = rest.split_once("```console\n") {
            let (block, after) = block.split_once("```").expect("a block that ends");
            let line = block.lines().next().expect("a command line");
            let command = line.strip_prefix("$ ").expect("a block begins with a command line");
            found
                .push_str(&format!("{before}```console\n{line}\n{}```", type_in(command).screen()));
            blocks += 1;
            rest = after;
        }
        assert!(blocks > 0, "{document} shows no screens");
        found.push_str(rest);
        same_as_stored(document.as_ref(), &found);
    }
}

/// Every code that a plan can meet stands in docs/plan.md, and every one that stands there is shown by
/// a mistake or an example.
#[test]
fn codes_are_documented_and_shown() {
    let mut shown = BTreeSet::new();
    for folder in ["docs/examples", "docs/examples/mistakes"] {
        for plan in plans(folder) {
            let armed = armed_at(&plan);
            let path = plan.to_str().expect("a path");
            let text = run_with(&["check", path, "--armed-at", &armed], b"").screen();
            for severity in ["error[", "warning[", "note["] {
                let codes = text.split(severity).skip(1).filter_map(|t| t.split_once(']'));
                shown.extend(codes.map(|(code, _)| code.to_owned()));
            }
        }
    }
    let reference = std::fs::read_to_string("docs/plan.md").expect("the reference");
    let (_, table) = reference.split_once("## Codes").expect("a list of codes");
    let documented: BTreeSet<String> = table
        .lines()
        .filter_map(|l| l.strip_prefix("| `")?.split_once('`'))
        .map(|(code, _)| code.to_owned())
        .collect();
    assert_eq!(documented, shown, "left: in docs/plan.md, right: shown by an example or a mistake");
}

/// The summary says only what it knows: several samples of unknown volume, and a schedule without a last stop.
#[test]
fn a_summary_claims_nothing_that_is_not_known() {
    let steps = r#"{ run-for = "1 h" }, { repeat-from = 1, passes = 2, sampler = "fresh" }"#;
    let plan = format!(
        "utc-offset = \"-09:30\"\npressure = \"1.5 kPa\"\nsteps = [{steps}, {{ finish = true }}]\n"
    );
    let told = run_with(&["check", "-"], plan.as_bytes()).screen();
    assert!(told.contains("2 samples, not known under pressure control"), "{told}");

    let steps = r#"{ run-for = "31 d" }, { repeat-from = 1, passes = 65535 }"#;
    let plan = format!(
        "zone = \"Europe/Berlin\"\nflow = \"1 L/min\"\nsteps = [{steps}, {{ finish = true }}]\n"
    );
    let told = run_with(&["check", "-"], plan.as_bytes()).screen();
    assert!(told.contains("beyond-2135"), "{told}");
    assert!(!told.contains("no change before the last stop"), "{told}");
}
