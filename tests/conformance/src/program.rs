//! Another implementation: a program that reads cases and answers each with a line.

use std::io::{BufRead, BufReader, BufWriter, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::Arc;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread::{self, JoinHandle};

/// A question and the answer that the core gave.
pub struct Case {
    /// The line to ask.
    pub ask: String,
    /// The line to be answered.
    pub answer: String,
}

/// What a program answered otherwise.
pub struct Verdict {
    /// Its name.
    pub name: String,
    /// How many cases it was asked.
    pub asked: u64,
    /// How many it answered otherwise.
    pub disagreements: u64,
    /// The first few of them, in words.
    pub first: Vec<String>,
}

/// Cases that several programs are asked.
pub type Lot = Arc<Vec<Case>>;

/// A running program, which is asked on one thread and listened to on another.
pub struct Program {
    ask: SyncSender<Lot>,
    listening: JoinHandle<Result<Verdict, String>>,
}

const SHOWN: usize = 5;

impl Program {
    /// Starts it.
    ///
    /// # Errors
    /// When it cannot be started.
    pub fn start(name: &str, program: &Path, arguments: &[&Path]) -> Result<Self, String> {
        let mut child = Command::new(program)
            .args(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .map_err(|e| format!("cannot start {}: {e}", program.display()))?;
        let (input, output) = (child.stdin.take(), child.stdout.take());
        let (Some(input), Some(output)) = (input, output) else {
            return Err(format!("{name}: no pipes"));
        };
        let (ask, cases) = sync_channel::<Lot>(4);
        // What was asked goes on to the thread that listens; a program may be some way behind.
        let (asked, answers) = sync_channel::<Lot>(64);
        let asking = thread::spawn(move || {
            let mut input = BufWriter::new(input);
            for lot in cases {
                // First who listens: the program may answer before it has read all of the lot.
                if asked.send(Arc::clone(&lot)).is_err() || put(&mut input, &lot).is_err() {
                    break; // who listens says why
                }
            }
        });
        let name = name.to_owned();
        let listening = thread::spawn(move || {
            let verdict = listen(name, BufReader::new(output), answers.into_iter(), &mut child);
            asking.join().map_err(|_| "the asking thread failed".to_owned())?;
            verdict
        });
        Ok(Self { ask, listening })
    }

    /// Asks it some cases.
    ///
    /// # Errors
    /// When it is gone.
    pub fn ask(&self, cases: Lot) -> Result<(), String> {
        self.ask.send(cases).map_err(|_| "a program ended before it was asked everything".into())
    }

    /// Waits for the last answer.
    ///
    /// # Errors
    /// When it ended early or badly.
    pub fn finish(self) -> Result<Verdict, String> {
        drop(self.ask);
        self.listening.join().map_err(|_| "the listening thread failed".to_owned())?
    }
}

fn put(input: &mut BufWriter<ChildStdin>, lot: &[Case]) -> std::io::Result<()> {
    for case in lot {
        writeln!(input, "{}", case.ask)?;
    }
    input.flush()
}

fn listen(
    name: String,
    mut output: BufReader<ChildStdout>,
    lots: impl Iterator<Item = Lot>,
    child: &mut Child,
) -> Result<Verdict, String> {
    let mut verdict = Verdict { name, asked: 0, disagreements: 0, first: Vec::new() };
    let mut line = String::new();
    for lot in lots {
        for case in lot.iter() {
            line.clear();
            let got = output.read_line(&mut line).map_err(|e| format!("{}: {e}", verdict.name))?;
            if got == 0 {
                let status = child.wait().map_or_else(|e| e.to_string(), |s| s.to_string());
                let name = &verdict.name;
                return Err(format!("{name} ended ({status}) instead of answering: {}", case.ask));
            }
            verdict.asked += 1;
            if line.trim_end_matches('\n') != case.answer {
                verdict.disagreements += 1;
                if verdict.first.len() < SHOWN {
                    verdict.first.push(format!(
                        "asked   {}\nthe core says  {}\n{} says  {}",
                        case.ask,
                        case.answer,
                        verdict.name,
                        line.trim_end()
                    ));
                }
            }
        }
    }
    line.clear();
    if output.read_line(&mut line).map_err(|e| e.to_string())? > 0 {
        return Err(format!("{} said more than it was asked: {line}", verdict.name));
    }
    let status = child.wait().map_err(|e| e.to_string())?;
    if status.success() { Ok(verdict) } else { Err(format!("{}: {status}", verdict.name)) }
}
