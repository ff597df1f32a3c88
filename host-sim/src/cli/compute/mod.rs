//! `draught compute`: the arithmetic of [`crate::hygiene`], one answer at a time.

mod against;
mod air;
mod confidence;
mod days;
mod drift;
mod exposed;
mod lab;
mod read;
mod short;
mod shown;
mod uncertainty;
mod verify;

use super::io::{Failure, Io};

/// Compute one thing: volume, concentration, exposure, uncertainty and the like, with formula and source.
///
/// Every quantity has its unit: "2.0 L/min", "240 min", "0.412 mg", "745 mm Hg". What a laboratory found below its limit is
/// written with it, "< 0.03 mg", and never becomes 0.
#[derive(clap::Args, Debug)]
#[command(after_help = "\
Examples:
  draught compute volume --before \"2.02 L/min\" --after \"1.98 L/min\" --time \"240 min\"
  draught compute concentration --mass \"0.412 mg\" --volume \"480 L\"
  draught compute twa --sample \"2 h, 150 ppm\" --sample \"6 h, 40 ppm\" --limit \"100 ppm\"

Each has its own --help with examples. docs/hygiene.md has every formula with its source.
Follow the method, the accredited laboratory, the site's hygienist and the local code.")]
pub struct Args {
    #[command(subcommand)]
    what: What,
    /// The same as JSON (docs/schema/compute.json).
    #[arg(long, global = true)]
    json: bool,
}

/// In the order in which a day of sampling needs them.
#[derive(clap::Subcommand, Debug)]
enum What {
    /// Minutes for a count of fibres on a filter.
    Fibres(days::Fibres),
    /// One day in so many, and when a missed day can be made up.
    Calendar(days::Calendar),
    /// Flow before and after, or a sampler against a standard.
    Verify(verify::Verify),
    /// A rotameter's volume in other air than that of its calibration.
    Rotameter(air::Rotameter),
    /// Mean flow x time, beside the volume that the pump counted.
    Volume(air::Volume),
    /// An actual volume at standard conditions.
    Standard(air::Standard),
    /// Laboratory mass over volume: blanks, sorbent sections, below the limit.
    Concentration(lab::Concentration),
    /// mg/m3 to ppm and back.
    Ppm(lab::Ppm),
    /// Exposure over 8 h, or over the hours exposed.
    Twa(exposed::Twa),
    /// Exposure over 15 minutes, ceilings and peaks.
    ShortTerm(short::ShortTerm),
    /// Several substances that act together.
    Mixture(exposed::Mixture),
    /// Over the limit or not, errors allowed for.
    Confidence(confidence::Confidence),
    /// An uncertainty budget: of a volume, a concentration, or of terms of your own.
    Uncertainty(uncertainty::Uncertainty),
    /// Share of scheduled samples that were valid, by quarter.
    Completeness(days::Completeness),
}

/// Runs the command.
///
/// # Errors
/// Wrong use: an argument that is no quantity, or cannot be.
pub fn run(args: &Args, io: &mut Io<'_>) -> Result<(), Failure> {
    let shown = match &args.what {
        What::Fibres(args) => args.compute(),
        What::Calendar(args) => args.compute(),
        What::Verify(args) => args.compute(),
        What::Rotameter(args) => args.compute(),
        What::Volume(args) => args.compute(),
        What::Standard(args) => args.compute(),
        What::Concentration(args) => args.compute(),
        What::Ppm(args) => args.compute(),
        What::Twa(args) => args.compute(),
        What::ShortTerm(args) => args.compute(),
        What::Mixture(args) => args.compute(),
        What::Confidence(args) => args.compute(),
        What::Uncertainty(args) => args.compute(),
        What::Completeness(args) => args.compute(),
    }?;
    shown.print(args.json, io)
}
