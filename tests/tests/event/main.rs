//! Event folders: what is missing, what contradicts, and results against arithmetic of their own.

mod answers;
mod contradictions;
mod each_sample;
mod groups;
mod judgements;
mod method_fit;
mod missing;
mod numbers;
mod properties;

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use draught_sim::event::{Folder, Record};
use draught_sim::methods::Library;
use draught_sim::plan::finding::Findings;
use draught_sim::plan::source::Source;
use draught_sim::plan::{site, when};
use draught_sim::results::{Results, compute};
use draught_sim::{cli, event, record_file};

/// The demo event of the documents.
pub const DEMO: &str = "docs/examples/events/joinery-2027-05-10";
/// When its pumps were armed.
pub const ARMED: &str = "2027-05-10 06:15";

/// The top of the checkout.
pub fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().expect("the checkout")
}

/// A file of the checkout.
pub fn text(path: &str) -> String {
    std::fs::read_to_string(top().join(path)).expect(path)
}

/// A folder of a test's own, which goes when the test is over.
pub struct Temporary(pub PathBuf);

impl Temporary {
    /// An empty one.
    pub fn new(name: &str) -> Self {
        let path =
            std::env::temp_dir().join(format!("draught-event-{name}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).expect("a temporary folder");
        Self(path)
    }

    /// The path of a file in it.
    pub fn file(&self, name: &str) -> String {
        self.0.join(name).to_str().expect("a path").to_owned()
    }

    /// Writes a file in it.
    pub fn write(&self, name: &str, text: &str) {
        std::fs::write(self.0.join(name), text).expect(name);
    }
}

impl Drop for Temporary {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// Runs `draught`: exit code, results, what was said.
pub fn draught(arguments: &[&str]) -> (u8, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let now = when::civil("2027-01-04 12:00").expect("a date");
    let mut io = cli::Io {
        stdin: &mut std::io::empty(),
        out: &mut out,
        err: &mut err,
        now: site::SiteTime::utc().offset.instant(now).expect("an instant"),
        computer: None,
        colour_out: false,
        colour_err: false,
        watched: false,
    };
    let code = cli::run(std::iter::once("draught").chain(arguments.iter().copied()), &mut io);
    (code, String::from_utf8(out).expect("text"), String::from_utf8(err).expect("text"))
}

/// A plan's text, simulated on a whole pump and read back.
pub fn simulated(name: &str, plan: &str, armed: &str, world: &str, seed: u32) -> Record {
    let folder = Temporary::new(name);
    let (file, seed) = (folder.file("r.json"), seed.to_string());
    folder.write("plan.toml", plan);
    let plan = folder.file("plan.toml");
    let (code, _, err) = draught(&[
        "simulate",
        &plan,
        "--armed-at",
        armed,
        "--world",
        world,
        "--seed",
        &seed,
        "--record",
        &file,
    ]);
    assert_eq!(code, 0, "{err}");
    let text = std::fs::read_to_string(&file).expect("the record");
    let file = record_file::read(&text).unwrap_or_else(|e| panic!("{e}"));
    Record { path: format!("records/{name}.json"), file }
}

/// The demo's plan on two pumps.
pub fn shift() -> &'static [Record; 2] {
    static ONCE: OnceLock<[Record; 2]> = OnceLock::new();
    ONCE.get_or_init(|| {
        let run = |name: &str, seed| {
            simulated(name, &text(&format!("{DEMO}/plan.toml")), ARMED, "worn-2-l-min", seed)
        };
        [run("p1", 1), run("p2", 2)]
    })
}

/// A folder that is only in memory.
pub fn folder(field: &str, records: &[Record]) -> Folder {
    let source = Source::new("field.toml", field);
    let (read, findings) = event::read(&source);
    let found: Vec<String> = findings.sorted().iter().map(|f| f.message.clone()).collect();
    assert!(found.is_empty(), "{found:?}\n{field}");
    Folder {
        path: None,
        plan: None,
        block: None,
        field_source: source,
        field: read.expect("TOML"),
        has_field: true,
        records: records.to_vec(),
        findings: Findings::new(),
    }
}

/// The results of one.
pub fn results(field: &str, records: &[Record]) -> Results {
    compute(&folder(field, records), &Library::default())
}

/// Equal, but for the rounding of binary fractions.
pub fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * a.abs().max(b.abs())
}
