//! A page as pieces: prose, commands with their screens, and files to write.

/// A piece of the page.
#[derive(Debug, PartialEq, Eq)]
pub enum Piece<'p> {
    /// What is not run, to be kept as it is.
    Prose(&'p str),
    /// A block of commands and what they print.
    Console(Vec<Shown<'p>>),
    /// A file, or what is filled into one.
    File { path: &'p str, how: How, text: &'p str },
}

/// What is done with the text of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum How {
    /// It is a file of its own.
    New,
    /// It is a part of one, as it looks when it is filled in.
    FilledIn,
}

/// A command as it stands there, with the screen below it.
#[derive(Debug, PartialEq, Eq)]
pub struct Shown<'p> {
    /// As it is typed; it may go over several lines, each but the last with `\` at its end.
    pub typed: String,
    pub screen: Vec<&'p str>,
}

const CONSOLE: &str = "```console\n";
const TOML: &str = "```toml\n";
const END: &str = "```\n";

/// Cuts a page into pieces. Whatever stands in a fence must be understood.
pub fn pieces(page: &str) -> Vec<Piece<'_>> {
    let mut pieces = Vec::new();
    let mut rest = page;
    while let Some(fence) = fence(rest) {
        let (prose, block) = rest.split_at(fence);
        pieces.push(Piece::Prose(prose));
        let (head, inside) = block.split_at(block.find('\n').expect("a line that ends") + 1);
        let (inside, after) = inside.split_once(&format!("\n{END}")).expect("a fence that ends");
        pieces.push(match head {
            CONSOLE => Piece::Console(commands(inside)),
            TOML => {
                let (path, how) = title(prose);
                Piece::File { path, how, text: inside }
            }
            other => panic!("a block of {other:?} would not be run; write console or toml"),
        });
        rest = after;
    }
    pieces.push(Piece::Prose(rest));
    pieces
}

/// Where the next fence begins.
fn fence(text: &str) -> Option<usize> {
    if text.starts_with("```") { Some(0) } else { text.find("\n```").map(|at| at + 1) }
}

/// The path in the line before a block of TOML: "**`worlds/cut.toml`**, a new file:".
fn title(prose: &str) -> (&str, How) {
    let line = prose.trim_end().lines().last().unwrap_or_default();
    let understood = line.strip_prefix("**`").and_then(|l| l.split_once("`**"));
    let (path, rest) = understood.unwrap_or_else(|| panic!("no path before a file: {line:?}"));
    match rest {
        ", a new file:" => (path, How::New),
        ", filled in:" => (path, How::FilledIn),
        _ => panic!("{line:?}: neither a new file nor filled in"),
    }
}

fn commands(block: &str) -> Vec<Shown<'_>> {
    let mut all: Vec<Shown<'_>> = Vec::new();
    let mut goes_on = false;
    for line in block.lines() {
        match (line.strip_prefix("$ "), all.last_mut()) {
            (_, Some(command)) if goes_on => {
                command.typed.push('\n');
                command.typed.push_str(line);
                goes_on = line.ends_with('\\');
            }
            (Some(typed), _) => {
                all.push(Shown { typed: typed.to_owned(), screen: Vec::new() });
                goes_on = typed.ends_with('\\');
            }
            (None, Some(command)) => command.screen.push(line),
            (None, None) => panic!("a block begins with a command, not with {line:?}"),
        }
    }
    for command in &mut all {
        while command.screen.last().is_some_and(|line| line.is_empty()) {
            command.screen.pop();
        }
    }
    all
}

#[test]
fn a_page_is_cut_into_pieces() {
    let page = "Do it.\n\n```console\n$ draught check \\\n    a.toml\nfine\n\nall\n\n$ echo $?\n0\n```\n\
                Then:\n\n**`a.toml`**, a new file:\n\n```toml\nx = 1\n```\nEnd.\n";
    let shown = |typed: &str, screen: &[&'static str]| Shown {
        typed: typed.to_owned(),
        screen: screen.to_vec(),
    };
    assert_eq!(
        pieces(page),
        [
            Piece::Prose("Do it.\n\n"),
            Piece::Console(vec![
                shown("draught check \\\n    a.toml", &["fine", "", "all"]),
                shown("echo $?", &["0"]),
            ]),
            Piece::Prose("Then:\n\n**`a.toml`**, a new file:\n\n"),
            Piece::File { path: "a.toml", how: How::New, text: "x = 1" },
            Piece::Prose("End.\n"),
        ]
    );
}
