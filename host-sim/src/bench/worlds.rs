//! The worlds that come with the program: those of `docs/examples/worlds`, by the names of their files.

use super::world::World;
use crate::plan::source::Source;

/// A world that comes with the program.
#[derive(Clone, Copy, Debug)]
pub struct BuiltIn {
    /// Its name.
    pub name: &'static str,
    /// What it is, in a few words.
    pub about: &'static str,
    text: &'static str,
}

macro_rules! worlds {
    ($($name:literal: $about:literal;)+) => {
        /// All of them: first those without, then those with a whole pump.
        pub const BUILT_IN: &[BuiltIn] = &[$(BuiltIn {
            name: $name,
            about: $about,
            text: include_str!(concat!("../../../docs/examples/worlds/", $name, ".toml")),
        },)+];
    };
}

worlds! {
    "default": "schedule and meter only";
    "ideal": "the same without any error";
    "worn-pump": "the same, slow and with a clock that drifts";
    "worn-2-l-min": "a whole worn pump, 1.5 to 2.5 L/min";
    "worn-2-l-min-bad-day": "the same, and much goes wrong";
    "ambient-16-67": "a whole outdoor sampler, 16.67 L/min, mains";
    "low-flow-tube": "a whole low-flow pump, 50 to 200 mL/min";
}

/// A world by its name.
#[must_use]
pub fn by_name(name: &str) -> Option<&'static BuiltIn> {
    BUILT_IN.iter().find(|world| world.name == name)
}

impl BuiltIn {
    /// Its file.
    #[must_use]
    pub fn source(&self) -> Source {
        Source::new(format!("docs/examples/worlds/{}.toml", self.name), self.text)
    }

    /// The world; `None` never: a test reads them all.
    #[must_use]
    pub fn world(&self) -> Option<World> {
        World::read(&self.source()).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_world_is_read() {
        for world in BUILT_IN {
            let read = world.world().unwrap_or_else(|| panic!("{}", world.name));
            assert_eq!(
                read.plant.is_some(),
                world.about.contains("whole") || world.name.contains("worn-2")
            );
        }
    }
}
