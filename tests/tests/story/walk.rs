//! Walks the page: writes its files into a folder, runs its commands there, and keeps what they said.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use draught_tests::terminal::{same_as_stored, type_in};

use crate::elide::shown;
use crate::page::{How, Piece, pieces};
use crate::sheet::filled_in;

/// The page.
pub const PAGE: &str = "docs/tutorial.md";

/// What stands above the sheet where it is kept.
const DEMO: &str = "\
# DEMO, an invented hall and invented people. The records are simulated: no air was sampled.
# It is the sheet of docs/tutorial.md, as it is in the end.

";

/// What came of it.
pub struct Told {
    /// Where it was told.
    pub folder: PathBuf,
    /// Each command with its screen, in order.
    pub screens: Vec<(String, String)>,
    /// The page as it should be.
    page: String,
    /// Lines of it that are on no screen.
    faults: Vec<String>,
}

/// A file of the checkout.
pub fn top(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(path)
}

/// The page, told once for all tests.
pub fn told() -> &'static Told {
    static ONCE: OnceLock<Told> = OnceLock::new();
    ONCE.get_or_init(|| {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("tutorial");
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(&folder).expect("a folder");
        // Every command is run where a reader is. Nothing else in this program uses relative paths.
        std::env::set_current_dir(&folder).expect("the folder");
        tell(&std::fs::read_to_string(top(PAGE)).expect("the page"), folder)
    })
}

fn tell(page: &str, folder: PathBuf) -> Told {
    let mut told = Told { folder, screens: Vec::new(), page: String::new(), faults: Vec::new() };
    for piece in pieces(page) {
        match piece {
            Piece::Prose(text) => told.page.push_str(text),
            Piece::File { path, how, text } => {
                write(&told.folder.join(path), how, text);
                let _ = write!(told.page, "```toml\n{text}\n```\n");
            }
            Piece::Console(commands) => {
                let mut block = String::new();
                let mut code = 0;
                for command in &commands {
                    let screen = told.typed(&command.typed, &mut code);
                    let lines = shown(&command.screen, &screen).unwrap_or_else(|fault| {
                        told.faults.push(format!("$ {}\n{screen}\n{fault}", command.typed));
                        command.screen.iter().map(|&line| line.to_owned()).collect()
                    });
                    let gap = if block.is_empty() { "" } else { "\n" };
                    let _ = writeln!(block, "{gap}$ {}", command.typed);
                    lines.iter().for_each(|line| {
                        let _ = writeln!(block, "{line}");
                    });
                }
                told.fine(code);
                let _ = write!(told.page, "```console\n{block}```\n");
            }
        }
    }
    told
}

fn write(path: &Path, how: How, text: &str) {
    let text = match how {
        How::New => {
            assert!(!path.exists(), "{} is there already", path.display());
            std::fs::create_dir_all(path.parent().expect("a folder")).expect("the folder");
            format!("{text}\n")
        }
        How::FilledIn => filled_in(&std::fs::read_to_string(path).expect("what is there"), text),
    };
    std::fs::write(path, text).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
}

impl Told {
    /// What a terminal shows: of `draught`, and of the two commands of a shell that the page uses.
    fn typed(&mut self, typed: &str, code: &mut u8) -> String {
        if typed == "echo $?" {
            return std::mem::take(code).to_string();
        }
        self.fine(*code);
        if let Some(file) = typed.strip_prefix("cat ") {
            return self.text(file);
        }
        let line = typed.replace("\\\n    ", "");
        let answer = type_in(&line);
        *code = answer.code;
        self.screens.push((line, answer.screen()));
        answer.screen()
    }

    /// Another exit code than 0 must be shown by `echo $?`.
    fn fine(&mut self, code: u8) {
        if let (1.., Some((line, screen))) = (code, self.screens.last()) {
            self.faults.push(format!("$ {line}\n{screen}\nexit code {code}, and no echo $?"));
        }
    }

    /// The results of a command that is not on the page.
    pub fn also(&self, line: &str) -> String {
        let answer = type_in(line);
        assert_eq!((answer.code, answer.err.as_str()), (0, ""), "{line}");
        String::from_utf8(answer.out).expect("text")
    }

    /// A file in the folder.
    pub fn text(&self, path: &str) -> String {
        std::fs::read_to_string(self.folder.join(path)).unwrap_or_else(|e| panic!("{path}: {e}"))
    }
}

/// Every screen on the page is the real one, whole, or with lines left out where the page says so.
#[test]
fn the_page_shows_what_its_commands_print() {
    let told = told();
    assert!(told.screens.len() >= 15, "{} commands", told.screens.len());
    assert!(told.faults.is_empty(), "{}", told.faults.join("\n\n"));
    same_as_stored(&top(PAGE), &told.page);
}

/// A figure that the prose names stands, with its unit, in a command, on a screen or in a file of the page.
#[test]
fn every_figure_in_the_prose_is_on_a_screen() {
    let page = std::fs::read_to_string(top(PAGE)).expect("the page");
    let (mut prose, mut rest) = (String::new(), String::new());
    for piece in pieces(&page) {
        match piece {
            Piece::Prose(text) => prose.push_str(text),
            Piece::File { text, .. } => rest.push_str(text),
            Piece::Console(all) => all.iter().for_each(|shown| {
                rest += &shown.typed;
                shown.screen.iter().for_each(|line| rest = format!("{rest}\n{line}"));
            }),
        }
    }
    let words: Vec<&str> = prose.split_whitespace().collect();
    let mut figures = 0;
    for pair in words.windows(2) {
        let unit = pair[1].trim_end_matches(|c: char| ",.:;)".contains(c));
        let number = pair[0].trim_start_matches('(');
        let named = ["L", "mg/m3", "µg", "L/min"].contains(&unit);
        if named && number.parse::<f64>().is_ok() {
            let figure = format!("{number} {unit}");
            assert!(rest.contains(&figure), "{figure} is in no command, screen or file");
            figures += 1;
        }
    }
    assert!(figures >= 12, "{figures} figures");
}

/// The pictures and files that it links to are those that its commands wrote.
#[test]
fn what_the_page_links_to_is_what_was_made() {
    let told = told();
    let sheet = DEMO.to_owned() + &told.text("stone-hall/field.toml");
    same_as_stored(&top("docs/examples/stone-hall/field.toml"), &sheet);
    let made = |link: &str| link.rsplit('/').next().map(|name| told.folder.join(name));
    let mut pictures = 0;
    for link in told.page.split("](").skip(1).filter_map(|t| t.split_once(')')).map(|(l, _)| l) {
        if let Some(picture) = link.strip_prefix("pictures/") {
            let made = made(picture).expect("a name");
            let made = std::fs::read_to_string(&made).unwrap_or_else(|e| panic!("{link}: {e}"));
            same_as_stored(&top("docs").join(link), &made);
            pictures += 1;
        } else if !link.starts_with("http") {
            let path = top("docs").join(link.split('#').next().unwrap_or(link));
            assert!(path.exists(), "{link} leads nowhere");
        }
    }
    assert!(pictures > 0, "no pictures");
}
