//! The search: every flow worth looking at, the best kept.

use super::collide::{Collision, Lasting, collisions};
use super::{Answer, Limit, Proposal, Wish, Wrong, mass_mg};

/// How long a pump goes on at a flow in L/min, in min.
pub struct Endurance<'a> {
    /// Until its battery is empty.
    pub battery_min: &'a dyn Fn(f64) -> f64,
    /// Until its filter is loaded.
    pub filter_min: &'a dyn Fn(f64) -> f64,
}

/// Numbers that differ by less than this part are the same.
const SAME: f64 = 1e-9;

/// Not more than, but for rounding.
pub(super) fn within(a: f64, b: f64) -> bool {
    a <= b * (1.0 + SAME)
}

/// The bounds of a wish, put together.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bounds {
    pub flow: (f64, f64),
    pub minutes: (f64, f64),
    pub least: Option<Limit>,
    pub most: Option<Limit>,
}

impl Bounds {
    pub fn of(wish: &Wish) -> Self {
        let any = (0.0, f64::INFINITY);
        let (method, pump) = (wish.method_flow.unwrap_or(any), wish.pump_flow.unwrap_or(any));
        let (sample, window) = (wish.sample_min.unwrap_or(any), wish.method_min.unwrap_or(any));
        let tighter = |a: &Limit, b: &Limit| a.l.total_cmp(&b.l);
        Self {
            flow: (method.0.max(pump.0), method.1.min(pump.1)),
            minutes: (sample.0.max(window.0), sample.1.min(window.1).min(wish.time_min)),
            least: wish.least().into_iter().max_by(tighter),
            most: wish.most().into_iter().min_by(tighter),
        }
    }

    pub fn least_l(&self) -> f64 {
        self.least.map_or(0.0, |l| l.l)
    }

    pub fn most_l(&self) -> f64 {
        self.most.map_or(f64::INFINITY, |l| l.l)
    }

    /// The flows at which some time satisfies all but endurance.
    fn flows(&self) -> (f64, f64) {
        let from = (self.least_l() / self.minutes.1).max(self.flow.0);
        let to = if self.minutes.0 > 0.0 { self.most_l() / self.minutes.0 } else { f64::INFINITY };
        (from, to.min(self.flow.1))
    }
}

/// What one flow comes to.
#[derive(Clone, Copy, Debug)]
struct AtFlow {
    flow: f64,
    /// A flow that people set: few digits.
    round: bool,
    minutes: f64,
    between: (f64, f64),
    samples: u32,
    full: bool,
}

impl AtFlow {
    fn total(&self) -> f64 {
        self.minutes * f64::from(self.samples)
    }
}

/// Proposes flow, time and number of samples.
///
/// # Errors
/// [`Wrong`], when a number is one that no sample can have.
pub fn propose(wish: &Wish, endurance: Option<&Endurance<'_>>) -> Result<Answer, Wrong> {
    wish.check()?;
    let bounds = Bounds::of(wish);
    let found = collisions(wish, &bounds);
    if !found.is_empty() {
        return Ok(Answer::Impossible(found));
    }
    let candidates = candidates(&bounds);
    let looked_at = |flows: &[(f64, bool)]| -> Vec<AtFlow> {
        flows.iter().filter_map(|flow| at_flow(wish, &bounds, endurance, *flow)).collect()
    };
    let mut all = looked_at(&candidates);
    // Fewer samples may want a flow between those: narrow volumes leave little choice.
    let enough = all.iter().filter(|a| a.full).map(|a| a.samples).min();
    let fewer = enough.map_or(wish.samples_at_most, |n| n.saturating_sub(1));
    all.extend(looked_at(&for_fewer(wish, &bounds, fewer)));
    let middle = middle(&bounds);
    let best = all.iter().min_by(|a, b| {
        let key = |x: &AtFlow| {
            let covered = (x.total() / wish.time_min * 1e4).round() as i64;
            let far = (x.flow * x.minutes / middle).ln().abs();
            (!x.full, if x.full { 0 } else { -covered }, x.samples, !x.round, far)
        };
        let (a, b) = (key(a), key(b));
        (a.0, a.1, a.2, a.3).cmp(&(b.0, b.1, b.2, b.3)).then(a.4.total_cmp(&b.4))
    });
    let Some(best) = best else {
        let flows = candidates.iter().map(|c| c.0);
        let lasting = endurance.and_then(|e| Lasting::best(&bounds, e, flows));
        return Ok(Answer::Impossible(lasting.map(Collision::Lasting).into_iter().collect()));
    };
    let flows = all.iter().fold((best.flow, best.flow), |r, x| (r.0.min(x.flow), r.1.max(x.flow)));
    let volume_l = best.flow * best.minutes;
    Ok(Answer::Possible(Box::new(Proposal {
        flow_l_per_min: best.flow,
        flows_l_per_min: flows,
        minutes: best.minutes,
        minutes_between: best.between,
        volume_l,
        least: bounds.least,
        most: bounds.most,
        samples: best.samples,
        total_min: best.total(),
        covers_all: best.full,
        mass_expect_mg: wish.expect_mg_m3.map(|c| mass_mg(c, volume_l)),
        mass_limit_mg: wish.limit_mg_m3.map(|c| mass_mg(c, volume_l)),
        why_flow: why_flow(&bounds, flows, best),
        why_time: why_time(wish, &bounds, best),
    })))
}

/// The volume to aim at: as far, in parts, from the least as from the most; where one is missing, that of the middle flow.
fn middle(bounds: &Bounds) -> f64 {
    match (bounds.least, bounds.most) {
        (Some(least), Some(most)) => (least.l * most.l).sqrt(),
        _ => {
            let (from, to) = bounds.flows();
            (from + to) / 2.0 * bounds.minutes.1
        }
    }
}

/// Flows worth looking at: round ones, and the ends of what is possible.
fn candidates(bounds: &Bounds) -> Vec<(f64, bool)> {
    let (from, to) = bounds.flows();
    let mut step = 10_f64.powf(from.log10().floor() - 1.0);
    while (to - from) / step > 400.0 {
        step *= 10.0;
    }
    let first = (from / step - SAME).ceil() as u64;
    let last = (to / step + SAME).floor() as u64;
    // Divided by a whole number, 0.1 times 17 is 1.7 and not 1.7000000000000002.
    let per = (1.0 / step).round();
    let round = |i: u64| if step < 1.0 { i as f64 / per } else { i as f64 * step };
    let mut all: Vec<(f64, bool)> = (first..=last).map(|i| (round(i), true)).collect();
    // The ends of the ranges that people gave, and of what the times leave of them.
    for end in [from, to] {
        let given = end == bounds.flow.0 || end == bounds.flow.1;
        all.push((end, given && (from - to).abs() <= SAME * to));
    }
    all
}

/// Flows at which so many samples or fewer cover the time, the least first: the ends for each number, and the one with the fewest
/// digits between them.
fn for_fewer(wish: &Wish, bounds: &Bounds, samples: u32) -> Vec<(f64, bool)> {
    let mut flows = Vec::new();
    for n in 1..=samples {
        let each = (wish.time_min + wish.change_min) / f64::from(n) - wish.change_min;
        if each <= 0.0 {
            break;
        }
        let from = (bounds.least_l() / each).max(bounds.flow.0);
        let to = (bounds.most_l() / each).min(bounds.flow.1);
        if within(from, to) {
            flows.extend([(from, false), (to.max(from), false)]);
            flows.extend(fewest_digits(from, to));
        }
    }
    flows
}

/// The number with the fewest digits from one to another, if three or four are enough; people set three.
fn fewest_digits(from: f64, to: f64) -> Option<(f64, bool)> {
    let digits = |count: i32| {
        let step = 10_f64.powi(from.log10().floor() as i32 + 1 - count);
        let first = (from / step - SAME).ceil();
        // Divided by a whole number, 0.1 times 17 is 1.7 and not 1.7000000000000002.
        let value = if step < 1.0 { first / (1.0 / step).round() } else { first * step };
        (within(from, value) && within(value, to)).then_some((value, count < 4))
    };
    if from > 0.0 && from.is_finite() { (1..=4).find_map(digits) } else { None }
}

fn at_flow(
    wish: &Wish,
    bounds: &Bounds,
    endurance: Option<&Endurance<'_>>,
    (flow, round): (f64, bool),
) -> Option<AtFlow> {
    let battery = endurance.map_or(f64::INFINITY, |e| (e.battery_min)(flow));
    let filter = endurance.map_or(f64::INFINITY, |e| (e.filter_min)(flow));
    let time = wish.time_min.min(battery);
    let least = bounds.minutes.0.max(bounds.least_l() / flow);
    let most = bounds.minutes.1.min(time).min(filter).min(bounds.most_l() / flow);
    if !within(least, most) {
        return None;
    }
    let most = most.max(least);
    // As many as it takes to cover the time, if each is still long enough.
    let change = wish.change_min;
    let needed = ((wish.time_min + change) / (most + change) - SAME).ceil().max(1.0);
    let each = (wish.time_min + change) / needed - change;
    let full = needed <= f64::from(wish.samples_at_most)
        && within(least, each)
        && within(wish.time_min, battery);
    let (samples, minutes) = if full {
        (needed, each.max(least).min(most))
    } else {
        // As much of it as can be: more samples than one of the longest may do more, each a little shorter.
        let part = |n: u32| {
            let n = f64::from(n);
            let length = most.min(battery / n).min((wish.time_min - (n - 1.0) * change) / n);
            within(least, length).then_some((n, length))
        };
        (1..=wish.samples_at_most).filter_map(part).fold((1.0, most), |best, (n, length)| {
            if n * length > best.0 * best.1 * (1.0 + SAME) { (n, length) } else { best }
        })
    };
    let minutes = handy(minutes, least);
    Some(AtFlow { flow, round, minutes, between: (least, most), samples: samples as u32, full })
}

/// Down to whole minutes, or seconds, where that is still long enough.
fn handy(minutes: f64, least: f64) -> f64 {
    let whole = (minutes + SAME).floor();
    let seconds = (minutes * 60.0 + SAME).floor() / 60.0;
    [whole, seconds].into_iter().find(|m| *m > 0.0 && within(least, *m)).unwrap_or(minutes)
}

fn why_flow(bounds: &Bounds, (from, to): (f64, f64), best: &AtFlow) -> String {
    if bounds.flow.0 == bounds.flow.1 {
        return "the only flow that is allowed".to_owned();
    }
    if (to - from).abs() <= SAME * to {
        return "the only flow that satisfies all of it".to_owned();
    }
    match (bounds.least, bounds.most) {
        (Some(least), Some(most)) if within(most.l, least.l) => {
            "gives the volume in the fewest samples".to_owned()
        }
        (Some(_), Some(_)) => {
            "of those with the fewest samples, the volume furthest from its least and most"
                .to_owned()
        }
        _ if best.samples > 1 => {
            "of those with the fewest samples, the nearest to the middle".to_owned()
        }
        _ => "nearest to the middle of what is possible".to_owned(),
    }
}

fn why_time(wish: &Wish, bounds: &Bounds, best: &AtFlow) -> String {
    let many = best.samples;
    if best.full && many == 1 {
        return "one sample covers the time there is".to_owned();
    }
    if best.full {
        let would = bounds.most.map_or("one would be too much".to_owned(), |m| {
            format!("one of the whole time would pass {}", m.source.words())
        });
        let longer = bounds.minutes.1 < wish.time_min;
        let would =
            if longer { "one sample may not take the whole time".to_owned() } else { would };
        return format!("{would}; {many} cover it");
    }
    let what =
        if many == 1 { "one sample covers".to_owned() } else { format!("{many} samples cover") };
    format!("{what} part of the time there is; what is not sampled is not known")
}
