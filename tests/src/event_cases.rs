//! An event folder as people would have it: a plan, its block, six workers, records of six simulated pumps, of which one was blocked
//! and one lost its power, readings before and after, blanks, and what a laboratory found. All of it is invented.

use std::fmt::Write as _;
use std::path::Path;

use draught_sim::cli;
use draught_sim::plan::{site, when};

const PLAN: &str = r#"# DEMO, an invented mill: respirable dust on six workers, one morning.
name     = "grain-cleaning"
zone     = "Europe/Oslo"
flow     = "2.2 L/min"
method   = "nmam-0600/hd"
start-by = "2027-05-11 07:15"

steps = [
  { wait-for-date = "2027-05-11" },
  { wait-for-time = "07:00" },
  { run-for = "3 h" },
  { finish = true },
]

[limits]
pump-flow = ["1.5 L/min", "2.5 L/min"]
volume    = ["300 L", "400 L"]
"#;

/// When the pumps are armed; the sample begins 45 min later.
const ARMED: &str = "2027-05-11 06:15";

const HEAD: &str = r#"# DEMO, an invented mill and invented people.
[event]
name        = "Grain cleaning, six workers"
site        = "Demo mill, floor 3, Oslo"
task        = "cleaning, sieving and bagging of grain"
why         = "first look after the new filters"
prepared-by = "A. Demo"
reviewed-by = "B. Demo"
laboratory  = "Demo Laboratory"
method      = "nmam-0600/hd"
limit       = { value = "1.2 mg/m3", kind = "twa-8h", source = "demo, no real limit", sae = 0.20 }

[verification]
limit  = "5 %"
source = "common practice, no source"
"#;

/// Of each worker: job, flow before, flow after, mass.
const WORKERS: [(&str, &str, &str, &str); 6] = [
    ("feeds the sieve", "2.21", "2.19", "mass = \"0.212 mg\""),
    ("feeds the sieve", "2.19", "2.18", "mass = \"0.256 mg\""),
    ("bags", "2.20", "2.20", "mass = \"0.154 mg\""),
    ("bags", "2.23", "2.08", "mass = \"0.871 mg\""),
    ("drives the truck", "2.20", "2.19", "mass = \"0.118 mg\""),
    ("control room", "2.22", "2.20", "below = \"0.03 mg\""),
];

const BLOCKED: &str = "name = \"demo, an inlet is blocked\"\n[plant]\n[[fault]]\nwhat = \"blockage\"\nat = \"150 min\"\nlasts = \"3 min\"\n";
const CUT: &str = "name = \"demo, power is cut\"\n[plant]\n[[fault]]\nwhat = \"power-cut\"\nat = \"120 min\"\nlasts = \"4 min\"\n";

/// Runs `draught`: exit code, and what it said.
fn draught(arguments: &[&str]) -> (u8, String) {
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
    (code, String::from_utf8_lossy(&out).into_owned() + &String::from_utf8_lossy(&err))
}

/// Makes the folder; it must not be there yet.
///
/// # Errors
/// It cannot be written.
///
/// # Panics
/// A command of `draught` fails that must not.
pub fn six_workers(folder: &Path) -> std::io::Result<()> {
    let beside = folder.with_extension("made-of");
    std::fs::create_dir_all(&beside)?;
    let path = |name: &str| beside.join(name).display().to_string();
    std::fs::write(path("plan.toml"), PLAN)?;
    std::fs::write(path("blocked.toml"), BLOCKED)?;
    std::fs::write(path("cut.toml"), CUT)?;
    let shown = folder.display().to_string();
    let plan = path("plan.toml");
    let (code, said) =
        draught(&["event", "new", &plan, "-o", &shown, "--workers", "6", "--armed-at", ARMED]);
    assert_eq!(code, 0, "{said}");
    std::fs::create_dir_all(folder.join("records"))?;
    for n in 1..=6 {
        let world = match n {
            3 => path("blocked.toml"),
            5 => path("cut.toml"),
            _ => "worn-2-l-min".to_owned(),
        };
        let (record, seed) = (folder.join(format!("records/p{n}.json")), n.to_string());
        let record = record.display().to_string();
        let (code, said) = draught(&[
            "simulate",
            &plan,
            "--armed-at",
            ARMED,
            "--world",
            &world,
            "--seed",
            &seed,
            "--record",
            &record,
        ]);
        // What goes another way than forecast is what these two are for.
        assert_eq!(code, u8::from(n == 3 || n == 5), "{said}");
    }
    std::fs::write(folder.join("field.toml"), field())?;
    std::fs::remove_dir_all(&beside)
}

fn field() -> String {
    let mut t = HEAD.to_owned();
    for (i, (job, before, after, mass)) in WORKERS.iter().enumerate() {
        let n = i + 1;
        let _ = write!(
            t,
            "\n[[worker]]\nid = \"W{n}\"\njob = \"{job}\"\nshift = \"8 h\"\ndivisor = \"8 h\"\nunsampled = \"as-sampled\"\n\
             \n[[sampler]]\nid = \"S-{n}01\"\nworker = \"W{n}\"\nplace = \"breathing zone\"\npump = \"P{n}\"\nrecord = \"records/p{n}.json\"\n\
             group = \"shift\"\n{}\n{}\n{}\n{}",
            media(n),
            readings("before", "06:40", before),
            readings("after", "10:30", after),
            custody()
        );
        if n < 3 {
            t += "\n[[sampler.check]]\nat = \"2027-05-11 08:30\"\nflow = \"2.2 L/min\"\nminutes = \"90 min\"\nby = \"A.D.\"\n";
        }
        let _ = write!(t, "\n{}", laboratory(mass));
    }
    for n in 7..=8 {
        let mass = if n == 7 { "mass = \"0.006 mg\"" } else { "mass = \"0.010 mg\"" };
        let _ = write!(
            t,
            "\n[[sampler]]\nid = \"B-{n}\"\nkind = \"field-blank\"\n{}\n{}\n{}",
            media(n),
            custody(),
            laboratory(mass)
        );
    }
    t
}

fn media(n: usize) -> String {
    format!("media-lot = \"L-2027-05\"\nexpiry = \"2028-04-30\"\nseal = \"02{n:02}\"")
}

fn readings(which: &str, at: &str, flow: &str) -> String {
    format!(
        "[[sampler.{which}]]\nat = \"2027-05-11 {at}\"\nflow = [\"{flow} L/min\", \"{flow} L/min\", \"{flow}4 L/min\"]\n\
         temperature = \"19 C\"\npressure = \"101.2 kPa\"\nmeter = \"M-3\"\nmeter-kind = \"piston\"\nmeter-u = \"0.5 %\"\nby = \"A. Demo\"\n"
    )
}

fn custody() -> String {
    "[sampler.custody]\nplaced-by = \"A. Demo\"\nremoved-by = \"A. Demo\"\nrelinquished = [{ by = \"A. Demo\", at = \"2027-05-11 15:30\" }]\n\
     received = [{ by = \"L. Demo\", at = \"2027-05-12 09:10\" }]\nstorage = \"cool, upright\"\nretrieve-by = \"2027-05-11 12:00\"\n"
        .to_owned()
}

fn laboratory(mass: &str) -> String {
    format!(
        "[[sampler.lab]]\nanalyte = \"respirable dust\"\n{mass}\nlod = \"0.005 mg\"\nloq = \"0.015 mg\"\nu = \"5 %\"\nreported-by = \"L. Demo\"\nat = \"2027-05-18 14:00\"\n"
    )
}
