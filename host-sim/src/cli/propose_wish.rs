//! From a command line to wishes: one for each variant of the method that may be meant.

use draught::units::Quantity;

use super::io::{Failure, Io};
use super::library::not_named;
use super::propose::{Args, Lasts, Tried};
use super::propose_remarks;
use super::simulate_world::named_or_file;
use crate::hygiene::parse::{self, Kind};
use crate::methods::units::{self, minutes};
use crate::methods::{Air, Entry, How, Library, Limits, Method, Named};
use crate::plan::{format, quantity, when};
use crate::propose::{Answer, Endurance, Fibres, PumpWorld, Wish, propose};

/// Asks for each way of using the method.
pub(super) fn tried(
    args: &Args,
    library: &Library,
    io: &mut Io<'_>,
) -> Result<Vec<Tried>, Failure> {
    let hand = Hand::read(args)?;
    let plant = match &args.world {
        Some(path) => Some(plant(path, io)?),
        None => None,
    };
    let ways: Vec<(Option<&Method>, Option<Entry>)> = match &args.method {
        None => vec![(None, None)],
        Some(name) => match library.named(name) {
            Named::Found(method, entries) => {
                entries.into_iter().map(|e| (Some(method), Some(e))).collect()
            }
            named => return Err(not_named("--method: ", name, &named)),
        },
    };
    ways.into_iter()
        .map(|(method, entry)| {
            let mut remarks = Vec::new();
            let is_dust = method.is_some_and(|m| m.is_dust);
            let of = Of { entry: entry.as_ref(), is_dust, plant: plant.as_ref() };
            let wish = hand.wish(args, of, &mut remarks)?;
            let pump = plant.as_ref().map(|p| p.pump(&wish));
            let (answer, lasts) = asked(&wish, pump.as_ref())?;
            let title = match (method, &entry) {
                (Some(m), Some(e)) if !e.what.is_empty() => format!("{}: {}", m.title, e.what),
                (Some(m), _) => m.title.clone(),
                _ => "by hand".to_owned(),
            };
            let id = entry.map_or(String::new(), |e| e.id);
            let file = method.and_then(|m| m.file.clone());
            Ok(Tried { id, title, file, wish, answer, remarks, lasts })
        })
        .collect()
}

fn asked(wish: &Wish, pump: Option<&PumpWorld>) -> Result<(Answer, Option<Lasts>), Failure> {
    let wrong = |w: crate::propose::Wrong| Failure::Usage(w.says, w.help);
    let Some(pump) = pump else { return Ok((propose(wish, None).map_err(wrong)?, None)) };
    let endurance = Endurance {
        battery_min: &|flow| pump.runs(flow).battery_min,
        filter_min: &|flow| pump.runs(flow).filter_min,
    };
    let answer = propose(wish, Some(&endurance)).map_err(wrong)?;
    let lasts = match &answer {
        Answer::Impossible(_) => None,
        Answer::Possible(p) => {
            let runs = pump.runs(p.flow_l_per_min);
            let drop = format::pressure(pump.rated_drop_pa().round() as u64);
            let how = format!(
                "minute by minute with the world's constants; dust {}, filter loaded at {drop}",
                units::concentration(pump.dust_mg_m3()),
            );
            Some(Lasts { battery_min: runs.battery_min, filter_min: runs.filter_min, how })
        }
    };
    Ok((answer, lasts))
}

/// A pump of a world.
struct Plant(crate::bench::physics::PlantWorld);

impl Plant {
    fn pump(&self, wish: &Wish) -> PumpWorld {
        PumpWorld::new(self.0.clone(), wish.dust_mg_m3)
    }
}

fn plant(name: &str, io: &mut Io<'_>) -> Result<Plant, Failure> {
    named_or_file(name, io)?.plant.map(Plant).ok_or_else(|| {
        let what = format!("--world: {name} has no [plant], so neither battery nor filter");
        Failure::Usage(what, "give one that has, such as worn-2-l-min".to_owned())
    })
}

/// What is given by hand.
struct Hand {
    flow: Option<(f64, f64)>,
    volume: Option<(f64, f64)>,
    loq: Option<f64>,
    most_mass: Option<f64>,
    expect: Option<f64>,
    limit: Option<f64>,
    dust: Option<f64>,
    time: Option<f64>,
    short_term: Option<f64>,
    pump: Option<(f64, f64)>,
    fibres: Option<f64>,
    area: Option<f64>,
    density: Option<(f64, f64)>,
    change: Option<f64>,
}

impl Hand {
    fn read(args: &Args) -> Result<Self, Failure> {
        let measure = |option: &str, text: &Option<String>, kind| {
            text.as_deref().map(|t| measured(option, t, kind)).transpose()
        };
        let minutes = |option: &str, text: &Option<String>| {
            let ms = text.as_deref().map(|t| base(option, t, Quantity::Duration)).transpose()?;
            Ok::<_, Failure>(ms.map(|ms| ms / 60_000.0))
        };
        let density: Vec<f64> = args
            .density
            .iter()
            .map(|t| measured("--density", t, Kind::FibreDensity))
            .collect::<Result<_, _>>()?;
        let time = match (&args.from, &args.until) {
            (Some(from), Some(until)) => Some(between(from, until)?),
            _ => minutes("--time", &args.time)?,
        };
        Ok(Self {
            flow: range("--flow", &args.flow, Quantity::Flow, 1e6)?,
            volume: range("--volume", &args.volume, Quantity::Volume, 1e3)?,
            loq: measure("--loq", &args.loq, Kind::Mass)?,
            most_mass: measure("--mass-at-most", &args.mass_at_most, Kind::Mass)?,
            expect: measure("--expect", &args.expect, Kind::MassConcentration)?,
            limit: measure("--limit", &args.limit, Kind::MassConcentration)?,
            dust: measure("--dust", &args.dust, Kind::MassConcentration)?,
            time,
            short_term: minutes("--short-term", &args.short_term)?,
            pump: range("--pump", &args.pump, Quantity::Flow, 1e6)?,
            fibres: measure("--fibres", &args.fibres, Kind::FibreConcentration)?,
            area: measure("--area", &args.area, Kind::Area)?,
            density: density.first().copied().zip(density.get(1).copied()),
            // No time at all is one that a pump's schedule does not hold, and a change may take.
            change: match args.change.as_deref().map(|t| parse::read(t, Kind::Duration)) {
                Some(Ok(0.0)) => Some(0.0),
                _ => minutes("--change", &args.change)?,
            },
        })
    }

    /// The wish, with what a method says where nothing is given by hand.
    fn wish(
        &self,
        args: &Args,
        Of { entry, is_dust, plant }: Of<'_>,
        remarks: &mut Vec<String>,
    ) -> Result<Wish, Failure> {
        let one = |key: &str| entry.and_then(|e| e.values.one(key));
        let range = |key: &str| entry.and_then(|e| e.values.range(key));
        for value in entry.iter().flat_map(|e| &e.values.0).filter(|v| v.tag == How::Memory) {
            let heading = crate::methods::KEYS.iter().find(|k| k.key == value.key);
            let heading = heading.map_or(value.key, |k| k.heading);
            remarks.push(format!("{heading} {} is from memory: not used", value.shown));
        }
        let nominal = one("nominal-flow").map(|flow| (flow, flow));
        let window = range("duration");
        let asked = one("duration-recommended");
        // A volume that is recommended gives the time; one that is not leaves the recommended time.
        let by_hand = self.volume.is_some() || self.time.is_some() && window.is_some();
        let recommended = one("volume-recommended").filter(|_| self.volume.is_none());
        let exactly = asked.filter(|_| recommended.is_none() && !by_hand).map(|t| (t, t));
        let time_min = match (self.short_term, self.time, asked, window) {
            (Some(time), ..) | (None, Some(time), ..) => time,
            (None, None, Some(time), None) if recommended.is_some() => {
                remarks.push(format!(
                    "the time there is was not given: {} taken, as recommended",
                    minutes(time)
                ));
                time
            }
            (None, None, Some(time), _) => {
                remarks.push(format!(
                    "the time there is was not given: {} taken, as the method asks",
                    minutes(time)
                ));
                time
            }
            (None, None, None, _) => {
                remarks.push("the time there is was not given: 8 h taken".to_owned());
                480.0
            }
        };
        // What is expected is the dust, where dust is measured.
        let dust = self.dust.or(if is_dust { self.expect } else { None });
        let low = self.expect.or(self.limit);
        let high = self.expect.into_iter().chain(self.limit).reduce(f64::max);
        let values = entry.map(|e| match self.volume {
            Some(_) => e.values.without_volumes(),
            None => e.values.clone(),
        });
        let limits = |concentration_mg_m3| {
            let air = Air { concentration_mg_m3, dust_mg_m3: dust };
            values.as_ref().map_or(Limits::default(), |v| v.limits(air))
        };
        let (at_low, at_high) = (limits(low), limits(high));
        remarks.extend(values.as_ref().and_then(|v| propose_remarks::stated(v, &at_low, &at_high)));
        let loq = self.loq.or_else(|| {
            let (mg, is) = at_low.least_mass?;
            if is == "detected from" {
                remarks.push(format!(
                    "the laboratory's LOQ was not given: {} taken, from which on it is detected",
                    units::mass(mg)
                ));
            }
            Some(mg)
        });
        let fibre_area = one("area");
        let weighs = ["mass", "lod", "loq", "load-max"];
        if let Some(e) = entry.filter(|e| {
            self.fibres.is_some()
                && range("density").is_none()
                && (is_dust || weighs.iter().any(|key| e.values.any(key).is_some()))
        }) {
            return Err(Failure::Usage(
                format!("--fibres: {} weighs, and counts no fibres", e.id),
                "leave --fibres out, or name a method that counts: nmam-7400, osha-id-160"
                    .to_owned(),
            ));
        }
        let fibres = self.fibres.map(|level_f_ml| {
            if fibre_area.is_none() && self.area.is_none() {
                remarks.push(
                    "filter 385 mm2 and 100 to 1300 f/mm2 taken, as in NMAM 7400 step 4".to_owned(),
                );
            }
            Fibres {
                level_f_ml,
                area_mm2: self.area.or(fibre_area).unwrap_or(385.0),
                density_f_mm2: self.density.or(range("density")).unwrap_or((100.0, 1_300.0)),
            }
        });
        if fibres.is_none() && range("density").is_some() {
            remarks.push(
                "fibres on the filter are not checked: --fibres says for which level".to_owned(),
            );
        }
        if self.dust.is_some() && at_high.load_max_mg.is_none() && plant.is_none() {
            remarks.extend(propose_remarks::no_most_dust(entry.is_some(), fibres.is_some()));
        }
        if entry.is_some_and(|e| e.values.any("load-max").is_some()) && self.dust.is_none() {
            remarks.push(
                "dust on the filter is not checked: --dust says how much is in the air".to_owned(),
            );
        }
        if self.expect.or(self.limit).is_none() && fibres.is_none() {
            remarks.push("the mass is not checked: give --expect or --limit".to_owned());
        }
        let world_pump = plant.map(|p| PumpWorld::new(p.0.clone(), None).flow_l_per_min());
        let pump_flow = self.pump.or(world_pump);
        if pump_flow.is_none() {
            remarks.push("the pump's range is not checked: --pump gives it".to_owned());
        }
        if let (Some(from), true) = (&args.from, args.from == args.until) {
            remarks.push(format!("from {from} until {from} again: 24 h taken"));
        }
        let change_min = self.change.unwrap_or(2.0);
        let method_flow = self.flow.or(nominal).or(range("flow"));
        if let Some(e) = entry.filter(|_| method_flow.or(pump_flow).is_none()) {
            return Err(Failure::Usage(
                format!("--flow is missing: {} names no flow, its sampler sets it", e.id),
                "give that of the sampler's maker with --flow, or what the pump keeps with --pump"
                    .to_owned(),
            ));
        }
        let wish = Wish {
            method_flow,
            pump_flow,
            volume_min_l: self.volume.map(|v| v.0).or(at_low.fixed_least_l),
            volume_max_l: self.volume.map(|v| v.1).or(at_high.fixed_most_l),
            volume_recommended_l: recommended,
            least_mass_mg: loq,
            most_mass_mg: self.most_mass.or(at_high.most_mass_mg),
            load_max_mg: at_high.load_max_mg,
            dust_mg_m3: dust,
            expect_mg_m3: self.expect,
            limit_mg_m3: self.limit,
            fibres,
            time_min,
            sample_min: self.short_term.map(|t| (t, t)).or(exactly),
            method_min: window,
            change_min,
            samples_at_most: args.samples,
        };
        wish.check().map_err(|w| Failure::Usage(w.says, w.help))?;
        Ok(wish)
    }
}

/// A method's use, and the pump.
#[derive(Clone, Copy)]
struct Of<'a> {
    entry: Option<&'a Entry>,
    is_dust: bool,
    plant: Option<&'a Plant>,
}

fn measured(option: &str, text: &str, kind: Kind) -> Result<f64, Failure> {
    parse::read_positive(text, kind)
        .map_err(|e| Failure::Usage(format!("{option}: {}", e.message), e.help))
}

fn base(option: &str, text: &str, of: Quantity) -> Result<f64, Failure> {
    let usage =
        |e: quantity::NotAQuantity| Failure::Usage(format!("{option}: {}", e.message), e.help);
    quantity::parse(text, of).map(f64::from).map_err(usage)
}

fn range(
    option: &str,
    texts: &[String],
    of: Quantity,
    per: f64,
) -> Result<Option<(f64, f64)>, Failure> {
    let ends: Vec<f64> =
        texts.iter().map(|t| base(option, t, of).map(|b| b / per)).collect::<Result<_, _>>()?;
    Ok(match ends.as_slice() {
        [] => None,
        [one] => Some((*one, *one)),
        [least, most, ..] if least > most => {
            let what = format!("{option}: the range begins above its end");
            return Err(Failure::Usage(what, "the least comes first".to_owned()));
        }
        [least, most, ..] => Some((*least, *most)),
    })
}

/// From one time of day to another, which may be of the next day, in min.
fn between(from: &str, until: &str) -> Result<f64, Failure> {
    let read = |option: &str, text: &str| {
        when::time(text).map_err(|e| Failure::Usage(format!("{option}: {}", e.message), e.help))
    };
    let (from, until) = (read("--from", from)?, read("--until", until)?);
    let day = 86_400_000;
    let ms = (until.as_ms() + day - from.as_ms()) % day;
    Ok(f64::from(if ms == 0 { day } else { ms }) / 60_000.0)
}
