//! `[event]`, `[verification]` and `[[worker]]`.

use super::amounts::{choice, known, quantity, stated_text, tables, text};
use super::field::{Event, LimitValue, Verification, Worker};
use crate::hygiene::exposure::{Divisor, Unsampled};
use crate::hygiene::parse::{self, Kind};
use crate::hygiene::ppm::{MolarVolume, ppm_to_mg_m3};
use crate::plan::fields::{Fields, Reader};
use crate::plan::finding::Finding;

pub(super) const EVENT: &[&str] = &[
    "name",
    "site",
    "task",
    "why",
    "prepared-by",
    "reviewed-by",
    "laboratory",
    "method",
    "subtract-blanks",
    "limit",
];
const LIMIT: &[&str] = &["value", "kind", "analyte", "source", "sae", "molar-mass"];
const VERIFICATION: &[&str] = &["limit", "required", "source"];
pub(super) const WORKER: &[&str] = &["id", "job", "shift", "divisor", "unsampled"];

pub(super) fn event(reader: &mut Reader<'_>, f: &Fields<'_, '_>) -> Event {
    known(reader, f, EVENT, "[event]");
    let limits = tables(
        reader,
        f,
        "limit",
        "limit = { value = \"5 mg/m3\", kind = \"twa-8h\", source = \"...\" }",
        true,
    );
    let subtract_blanks = f.get("subtract-blanks").and_then(|e| reader.flag(&e));
    Event {
        name: text(reader, f, "name", "oven line, spring"),
        site: text(reader, f, "site", "bakery, hall 2"),
        task: text(reader, f, "task", "dumping flour"),
        why: text(reader, f, "why", "baseline before the new extraction"),
        prepared_by: text(reader, f, "prepared-by", "A. Demo"),
        reviewed_by: text(reader, f, "reviewed-by", "B. Demo"),
        laboratory: text(reader, f, "laboratory", "Demo Laboratory"),
        method: stated_text(reader, f, "method", "nmam-0600"),
        subtract_blanks,
        limits: limits.iter().filter_map(|f| limit(reader, f)).collect(),
    }
}

fn limit(reader: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<LimitValue> {
    known(reader, f, LIMIT, "\"limit\"");
    let value = stated_text(reader, f, "value", "5 mg/m3");
    let kinds = [("twa-8h", "twa-8h"), ("short-term", "short-term"), ("ceiling", "ceiling")];
    let kind = choice(reader, f, "kind", &kinds);
    for (key, there, help) in [
        ("value", f.get("value").is_some(), "add value = \"5 mg/m3\""),
        ("kind", f.get("kind").is_some(), "add kind = \"twa-8h\", \"short-term\" or \"ceiling\""),
    ] {
        if !there {
            let what = format!("a limit needs {key:?}");
            let finding = Finding::error("missing-key", what);
            reader
                .report(finding.at(f.span.clone(), format!("{key:?} is missing here")).help(help));
        }
    }
    let sae = fraction(reader, f);
    let molar_mass = quantity(reader, f, "molar-mass", Kind::MolarMass, (1.0, 10_000.0));
    let analyte = text(reader, f, "analyte", "respirable dust");
    let source = text(reader, f, "source", "29 CFR 1910.1000 Table Z-1");
    let (value, kind) = (value?, kind?);
    let read = parse::read_concentration(&value.is);
    let in_ppm = matches!(read, Ok((_, Kind::GasConcentration)));
    let in_mg_m3 = match read {
        Ok((amount, Kind::MassConcentration)) => Ok(amount),
        Ok((amount, Kind::GasConcentration)) => match molar_mass {
            Some(m) => ppm_to_mg_m3(amount, m, MolarVolume::CUSTOMARY)
                .map_err(|p| (p.code(), p.message(), p.help())),
            None => Err((
                "missing-key",
                "a limit in ppm needs the molar mass of its substance".to_owned(),
                "add molar-mass = \"58.08 g/mol\", or give the limit in mg/m3".to_owned(),
            )),
        },
        Ok(_) => Err((
            "unknown-unit",
            "a limit of fibres cannot be compared with a mass".to_owned(),
            "draught compute fibres and twa take fibres; here a limit is in mg/m3 or ppm"
                .to_owned(),
        )),
        Err(e) => Err((e.code, e.message, e.help)),
    };
    let amount = match in_mg_m3 {
        Ok(crate::hygiene::Amount::Found(x)) if x > 0.0 => x,
        Ok(_) => {
            let finding = Finding::error("not-positive", "a limit is a number above 0");
            let finding = finding.at(value.at.clone(), "not a limit");
            reader.report(finding.help("write it as in \"5 mg/m3\""));
            return None;
        }
        Err((code, message, help)) => {
            let finding = Finding::error(code, message).at(value.at.clone(), "not understood");
            reader.report(finding.help(help));
            return None;
        }
    };
    Some(LimitValue {
        value_mg_m3: amount,
        says: value.is,
        kind: kind.is,
        analyte,
        source,
        sae,
        in_ppm,
        at: value.at,
    })
}

/// Sampling and analytical error: "0.23", a fraction.
fn fraction(reader: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<f64> {
    let entry = f.get("sae")?;
    let value = entry.value.get_ref();
    let number = value
        .as_str()
        .map(str::to_owned)
        .or_else(|| value.as_float().map(|x| x.as_str().to_owned()));
    let read =
        number.and_then(|t| t.trim().parse::<f64>().ok()).filter(|x| (0.0..=1.0).contains(x));
    if read.is_none() {
        reader.report(
            Finding::error("out-of-range", "\"sae\" is a fraction of the limit")
                .at(entry.value_span(), "the limits are 0 to 1")
                .help("write it as in sae = 0.23; the laboratory states it"),
        );
    }
    read
}

pub(super) fn verification(reader: &mut Reader<'_>, f: &Fields<'_, '_>) -> Verification {
    known(reader, f, VERIFICATION, "[verification]");
    let limit_percent = quantity(reader, f, "limit", Kind::Percent, (0.1, 50.0));
    let required_percent = quantity(reader, f, "required", Kind::Percent, (0.1, 50.0));
    let source = text(reader, f, "source", "common practice, no source");
    let given = limit_percent.is_some() || required_percent.is_some();
    Verification { given, limit_percent, required_percent, source }
}

pub(super) fn worker(reader: &mut Reader<'_>, f: &Fields<'_, '_>) -> Option<Worker> {
    known(reader, f, WORKER, "[[worker]]");
    let divisors = [("8 h", Divisor::EightHours), ("exposed", Divisor::HoursExposed)];
    let unsampled = [
        ("not-exposed", Unsampled::NotExposed),
        ("as-sampled", Unsampled::AsSampled),
        ("unknown", Unsampled::Unknown),
    ];
    let job = text(reader, f, "job", "dumps flour");
    let shift_min = quantity(reader, f, "shift", Kind::Duration, (1.0, 1440.0));
    let divisor = choice(reader, f, "divisor", &divisors).map(|s| s.is);
    let unsampled = choice(reader, f, "unsampled", &unsampled).map(|s| s.is);
    let id = id(reader, f, "worker", "W1")?;
    Some(Worker { id, job, shift_min, divisor, unsampled })
}

/// An id, which must be there.
pub(super) fn id(
    reader: &mut Reader<'_>,
    f: &Fields<'_, '_>,
    of: &str,
    example: &str,
) -> Option<super::field::Stated<String>> {
    let id = stated_text(reader, f, "id", example);
    if id.is_none() {
        reader.report(
            Finding::error("missing-key", format!("a {of} needs an id"))
                .at(f.span.start..f.span.start, "\"id\" is missing here")
                .help(format!("add id = {example:?}")),
        );
    }
    id
}
