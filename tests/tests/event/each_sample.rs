//! What happened to one sample of an event is told of that one, and of no other.

use draught_sim::event::Folder;
use draught_sim::methods::Library;
use draught_sim::record_file;
use draught_sim::results::{SampleResult, compute};

use super::{Temporary, draught};

const PLAN: &str = r#"
name = "four-tasks"
zone = "Europe/Oslo"
flow = "2.0 L/min"
steps = [
  { wait-for-date = "2027-05-10" },
  { wait-for-time = "07:00" },
  { run-for = "30 min" },
  { hold = "15 min" },
  { repeat-from = 3, passes = 4, sampler = "fresh" },
  { finish = true },
]
"#;

/// Armed half an hour before: the second sample is drawn from 75 to 105 min, the third from 120 to 150 min.
const ARMED: &str = "2027-05-10 06:30";

const WORLD: &str = r#"
name = "two faults"
[plant]
[[fault]]
what  = "power-cut"
at    = "90 min"
lasts = "2 min"
[[fault]]
what  = "blockage"
at    = "130 min"
lasts = "65 s"
"#;

fn samples() -> Vec<SampleResult> {
    let folder = Temporary::new("each-sample");
    folder.write("plan.toml", PLAN);
    folder.write("world.toml", WORLD);
    let (plan, world) = (folder.file("plan.toml"), folder.file("world.toml"));
    let path = folder.file("p1.json");
    let (code, _, err) =
        draught(&["simulate", &plan, "--armed-at", ARMED, "--world", &world, "--record", &path]);
    assert_eq!(code, 1, "the event went another way than forecast\n{err}");
    let text = std::fs::read_to_string(&path).expect("the record");
    let file = record_file::read(&text).unwrap_or_else(|e| panic!("{e}"));
    let record = draught_sim::event::Record { path, file };
    compute(&Folder::of_records(vec![record]), &Library::default()).samples
}

#[test]
fn flags_and_counts_are_those_of_the_sample() {
    let samples = samples();
    assert_eq!(samples.len(), 4);
    let codes = |s: &SampleResult| s.flags.iter().map(|f| f.code.clone()).collect::<Vec<_>>();
    let happened = |i: usize| samples[i].happened.as_ref().expect("it was drawn");
    for good in [0, 3] {
        assert_eq!(codes(&samples[good]), Vec::<String>::new(), "sample {}", good + 1);
        assert_eq!(happened(good).interruptions, Some(0));
    }
    assert!(codes(&samples[1]).contains(&"interrupted".to_owned()), "{:?}", codes(&samples[1]));
    assert!(!codes(&samples[1]).contains(&"limit-tripped".to_owned()));
    let cut = samples[1].flags.iter().find(|f| f.code == "interrupted").expect("a flag");
    assert_eq!(cut.says, "1 interruption of more than 1 min");
    assert_eq!(happened(1).interruptions, Some(1));
    assert!(codes(&samples[2]).contains(&"limit-tripped".to_owned()), "{:?}", codes(&samples[2]));
    assert!(!codes(&samples[2]).contains(&"interrupted".to_owned()));
    let tripped = samples[2].flags.iter().find(|f| f.code == "limit-tripped").expect("a flag");
    assert_eq!(tripped.says, "too little flow");
    let trips = |i: usize| happened(i).trips.expect("counted");
    assert_eq!((trips(2).flow_low, trips(1).flow_low, trips(3).flow_low), (1, 0, 0));
    // Its time is short of the 30 min by what the blockage took.
    assert!(happened(2).pumped_ms < 30 * 60_000 && happened(3).pumped_ms == 30 * 60_000);
}
