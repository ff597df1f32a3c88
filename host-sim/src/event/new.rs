//! The field.toml of a new event: every key, empty, with what goes there.

use std::fmt::Write as _;

/// What a new event is made of.
#[derive(Clone, Debug, Default)]
pub struct Wish {
    /// Its name.
    pub name: String,
    /// The method.
    pub method: Option<String>,
    /// The pumps, one worker each.
    pub pumps: Vec<String>,
    /// How many samples a pump draws, as far as that is known.
    pub samples: u32,
    /// The day of the first start, for examples.
    pub day: String,
    /// The length of a shift, as far as that is known.
    pub shift: Option<String>,
}

/// No more samplers than that are written out for each pump.
pub const SAMPLES_AT_MOST: u32 = 60;

/// A text as TOML has it.
fn quoted(text: &str) -> String {
    let mut safe = String::new();
    for c in text.chars() {
        match c {
            '"' | '\\' => safe.extend(['\\', c]),
            c if c.is_control() => safe.push(' '),
            c => safe.push(c),
        }
    }
    format!("\"{safe}\"")
}

/// The path of a pump's record.
#[must_use]
pub fn record_path(pump: &str) -> String {
    let good = |c: char| c.is_ascii_alphanumeric() || "-_".contains(c);
    let name: String =
        pump.chars().map(|c| if good(c) { c.to_ascii_lowercase() } else { '-' }).collect();
    format!("records/{name}.json")
}

/// The text. Reading it gives the same samplers, with everything else missing.
#[must_use]
pub fn field(wish: &Wish) -> String {
    let mut t = String::new();
    // Writing to a String cannot fail.
    let _ = write!(
        t,
        "\
# What people fill in. Empty texts count as not there; draught event check says what is missing.
# Quantities are texts with units: \"2.01 L/min\", \"19 C\", \"99.8 kPa\", \"0.412 mg\", \"< 0.03 mg\".
# Times are in the site's time: \"{day} 06:40\". Every key: docs/event-folder.md

[event]
name        = {name}
site        = \"\"
task        = \"\"                          # what goes on there
why         = \"\"                          # why it is sampled
prepared-by = \"\"
reviewed-by = \"\"
laboratory  = \"\"                          # accredited for the method
method      = {method:<27} # draught methods lists them
# limit     = {{ value = \"5 mg/m3\", kind = \"twa-8h\", source = \"...\" }}   # twa-8h, short-term or ceiling

# Flow before and after: unless given, 5 % for worn pumps (common practice, no source), 4 % outdoors (40 CFR 50 App. L 9.2.5).
# Flow before beside the planned one: 5 % and 2 %.
# [verification]
# limit    = \"5 %\"
# required = \"5 %\"
# source   = \"...\"
",
        day = wish.day,
        name = quoted(&wish.name),
        method = quoted(wish.method.as_deref().unwrap_or("")),
    );
    for (i, _) in wish.pumps.iter().enumerate() {
        let _ = write!(
            t,
            "
[[worker]]
id      = \"W{n}\"                          # a number, no name
job     = \"\"
shift   = {shift}
divisor = \"8 h\"                         # or \"exposed\": over the time exposed
# unsampled = \"not-exposed\"             # of time without a sample; or \"as-sampled\", \"unknown\"
",
            n = i + 1,
            shift = quoted(wish.shift.as_deref().unwrap_or("")),
        );
    }
    for (i, pump) in wish.pumps.iter().enumerate() {
        for sample in 1..=wish.samples.clamp(1, SAMPLES_AT_MOST) {
            sampler(&mut t, wish, i + 1, pump, sample);
        }
    }
    t.push_str(BLANK);
    t
}

fn sampler(t: &mut String, wish: &Wish, worker: usize, pump: &str, sample: u32) {
    let id =
        if wish.samples > 1 { format!("S-{worker}{sample:02}") } else { format!("S-{worker}01") };
    let _ = write!(
        t,
        "
[[sampler]]
id        = \"{id}\"
kind      = \"pump\"                      # or \"field-blank\", \"bulk\", \"passive-none\"
worker    = \"W{worker}\"
place     = \"breathing zone\"            # or \"area, ...\"
pump      = {pump}
record    = {record}
sample    = {sample}                           # of the record
media-lot = \"\"
expiry    = \"\"                          # the last day they are good: \"{day}\"
seal      = \"\"
# group        = \"shift\"                # or \"task\", \"short-term\"
# duplicate-of = \"S-...\"
# volume-from  = \"integrated\"           # or \"mean-flow-time\"; tubes on a manifold: \"verified-tube\"
",
        pump = quoted(pump),
        record = quoted(&record_path(pump)),
        day = wish.day,
    );
    for which in ["before", "after"] {
        let _ = write!(
            t,
            "
  [[sampler.{which}]]
  at          = \"\"
  flow        = []                        # or runs = [{{ volume = \"500 mL\", time = \"14.9 s\" }}, ...]
  temperature = \"\"
  pressure    = \"\"                        # absolute, not that of a weather report at sea level
  meter       = \"\"
  meter-kind  = \"\"                        # bubble, piston, rotameter, other
  # meter-u   = \"1 %\"                     # its standard uncertainty, from its certificate
  by          = \"\"
"
        );
    }
    t.push_str(
        "
  # [[sampler.check]]                     # a look at the pump while it runs
  # at = \"\"
  # flow = \"\"
  # minutes = \"\"
  # by = \"\"
",
    );
    t.push_str(CUSTODY);
    t.push_str(LAB);
}

const CUSTODY: &str = "
  [sampler.custody]
  placed-by    = \"\"
  removed-by   = \"\"
  relinquished = [{ by = \"\", at = \"\" }]
  received     = [{ by = \"\", at = \"\" }]
  storage      = \"\"
  retrieve-by  = \"\"
";

const LAB: &str = "
  # [[sampler.lab]]                       # one for each analyte
  # analyte     = \"\"
  # mass        = \"0.412 mg\"              # or below = \"0.03 mg\", or mass-front with mass-back
  # lod         = \"\"
  # u           = \"4 %\"                   # standard uncertainty, of the mass
  # reported-by = \"\"
  # at          = \"\"
";

const BLANK: &str = "
# A field blank, opened and closed where the samples are, never pumped:
# [[sampler]]
# id = \"B-1\"
# kind = \"field-blank\"
# media-lot = \"\"
# expiry = \"\"
# seal = \"\"
#   [sampler.custody]
#   [[sampler.lab]]
";
