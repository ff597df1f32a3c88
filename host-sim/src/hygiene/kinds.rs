//! What is measured, and the units in which people write it.

/// What a text is meant to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// L/min.
    Flow,
    /// L.
    Volume,
    /// min.
    Duration,
    /// mg.
    Mass,
    /// °C; the only one that may be below 0, with [`Kind::Change`].
    Temperature,
    /// kPa, absolute.
    Pressure,
    /// %.
    Percent,
    /// mg/m3.
    MassConcentration,
    /// ppm by volume.
    GasConcentration,
    /// fibres/mL.
    FibreConcentration,
    /// fibres/mm2.
    FibreDensity,
    /// mm2.
    Area,
    /// g/mol.
    MolarMass,
    /// mg, may be below 0: by how much a blank changed.
    Change,
    /// K, or as many °C: a difference of temperatures.
    Kelvin,
}

/// A unit: how it is written, the usual way first, and base units = (number - offset) x over / under.
pub(super) struct Unit(pub &'static [&'static str], pub f64, pub f64, pub f64);

const fn unit(names: &'static [&'static str], over: f64, under: f64) -> Unit {
    Unit(names, 0.0, over, under)
}

impl Kind {
    pub(super) const ALL: [Self; 15] = [
        Self::Flow,
        Self::Volume,
        Self::Duration,
        Self::Mass,
        Self::Temperature,
        Self::Pressure,
        Self::Percent,
        Self::MassConcentration,
        Self::GasConcentration,
        Self::FibreConcentration,
        Self::FibreDensity,
        Self::Area,
        Self::MolarMass,
        Self::Change,
        Self::Kelvin,
    ];

    /// "flow", "volume", ...
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Flow => "flow",
            Self::Volume => "volume",
            Self::Duration => "duration",
            Self::Mass => "mass",
            Self::Temperature => "temperature",
            Self::Pressure => "pressure",
            Self::Percent => "percentage",
            Self::MassConcentration => "concentration",
            Self::GasConcentration => "concentration of a gas",
            Self::FibreConcentration => "concentration of fibres",
            Self::FibreDensity => "density of fibres",
            Self::Area => "area",
            Self::MolarMass => "molar mass",
            Self::Change => "change of mass",
            Self::Kelvin => "difference of temperatures",
        }
    }

    /// The unit of the number that is read.
    #[must_use]
    pub const fn base(self) -> &'static str {
        match self {
            Self::Flow => "L/min",
            Self::Volume => "L",
            Self::Duration => "min",
            Self::Mass | Self::Change => "mg",
            Self::Temperature => "C",
            Self::Pressure => "kPa",
            Self::Percent => "%",
            Self::MassConcentration => "mg/m3",
            Self::GasConcentration => "ppm",
            Self::FibreConcentration => "f/mL",
            Self::FibreDensity => "f/mm2",
            Self::Area => "mm2",
            Self::MolarMass => "g/mol",
            Self::Kelvin => "K",
        }
    }

    /// An example, for messages.
    #[must_use]
    pub const fn example(self) -> &'static str {
        match self {
            Self::Flow => "2.0 L/min",
            Self::Volume => "480 L",
            Self::Duration => "1 h 30 min",
            Self::Mass => "0.412 mg",
            Self::Temperature => "19 C",
            Self::Pressure => "99.8 kPa",
            Self::Percent => "5 %",
            Self::MassConcentration => "0.86 mg/m3",
            Self::GasConcentration => "150 ppm",
            Self::FibreConcentration => "0.1 f/mL",
            Self::FibreDensity => "100 f/mm2",
            Self::Area => "385 mm2",
            Self::MolarMass => "58.08 g/mol",
            Self::Change => "-0.002 mg",
            Self::Kelvin => "2 K",
        }
    }

    pub(super) const fn units(self) -> &'static [Unit] {
        match self {
            Self::Flow => {
                const {
                    &[
                        unit(&["L/min", "l/min"], 1.0, 1.0),
                        unit(&["mL/min", "ml/min", "cm3/min", "cm³/min"], 1.0, 1e3),
                        unit(&["L/h", "l/h"], 1.0, 60.0),
                        unit(&["m3/h", "m³/h"], 1e3, 60.0),
                        unit(&["m3/min", "m³/min"], 1e3, 1.0),
                    ]
                }
            }
            Self::Volume => {
                const {
                    &[
                        unit(&["L", "l"], 1.0, 1.0),
                        unit(&["mL", "ml", "cm3", "cm³"], 1.0, 1e3),
                        unit(&["m3", "m³"], 1e3, 1.0),
                    ]
                }
            }
            Self::Duration => {
                const {
                    &[
                        unit(&["min", "minute", "minutes"], 1.0, 1.0),
                        unit(&["s", "second", "seconds"], 1.0, 60.0),
                        unit(&["h", "hour", "hours"], 60.0, 1.0),
                        unit(&["d", "day", "days"], 1440.0, 1.0),
                    ]
                }
            }
            Self::Mass | Self::Change => {
                const {
                    &[
                        unit(&["mg"], 1.0, 1.0),
                        unit(&["ug", "µg", "μg"], 1.0, 1e3),
                        unit(&["ng"], 1.0, 1e6),
                        unit(&["g"], 1e3, 1.0),
                    ]
                }
            }
            Self::Temperature => {
                const {
                    &[
                        unit(&["C", "°C"], 1.0, 1.0),
                        Unit(&["K"], 273.15, 1.0, 1.0),
                        Unit(&["F", "°F"], 32.0, 5.0, 9.0),
                    ]
                }
            }
            Self::Pressure => {
                const {
                    &[
                        unit(&["kPa"], 1.0, 1.0),
                        unit(&["hPa", "mbar"], 1.0, 10.0),
                        unit(&["Pa"], 1.0, 1e3),
                        unit(&["mm Hg", "mmHg", "torr", "Torr"], 101.325, 760.0),
                    ]
                }
            }
            Self::Percent => const { &[unit(&["%"], 1.0, 1.0)] },
            Self::MassConcentration => {
                const {
                    &[
                        unit(&["mg/m3", "mg/m³"], 1.0, 1.0),
                        unit(&["ug/m3", "µg/m3", "μg/m3", "ug/m³", "µg/m³", "μg/m³"], 1.0, 1e3),
                        unit(&["ng/m3", "ng/m³"], 1.0, 1e6),
                        unit(&["g/m3", "g/m³"], 1e3, 1.0),
                    ]
                }
            }
            Self::GasConcentration => {
                const { &[unit(&["ppm"], 1.0, 1.0), unit(&["ppb"], 1.0, 1e3)] }
            }
            Self::FibreConcentration => {
                const {
                    &[
                        unit(
                            &[
                                "f/mL",
                                "f/ml",
                                "f/cc",
                                "f/cm3",
                                "f/cm³",
                                "fibres/mL",
                                "fibers/mL",
                                "fibres/cc",
                                "fibers/cc",
                            ],
                            1.0,
                            1.0,
                        ),
                        unit(&["f/L", "f/l"], 1.0, 1e3),
                    ]
                }
            }
            Self::FibreDensity => {
                const { &[unit(&["f/mm2", "f/mm²", "fibres/mm2", "fibers/mm2"], 1.0, 1.0)] }
            }
            Self::Area => {
                const { &[unit(&["mm2", "mm²"], 1.0, 1.0), unit(&["cm2", "cm²"], 100.0, 1.0)] }
            }
            Self::MolarMass => const { &[unit(&["g/mol"], 1.0, 1.0)] },
            Self::Kelvin => const { &[unit(&["K", "C", "°C"], 1.0, 1.0)] },
        }
    }

    pub(super) fn unit_list(self) -> String {
        let names: Vec<&str> = self.units().iter().filter_map(|u| u.0.first().copied()).collect();
        crate::plan::format::or_list(&names)
    }
}

/// Ways of writing units that are not taken, with what is meant.
pub(super) const NOT_TAKEN: [(&str, &str); 15] = [
    ("lpm", "L/min"),
    ("LPM", "L/min"),
    ("slpm", "L/min"),
    ("ccm", "mL/min"),
    ("cc/min", "mL/min"),
    ("cc", "mL"),
    ("litres", "L"),
    ("liters", "L"),
    ("mins", "min"),
    ("hr", "h"),
    ("hrs", "h"),
    ("mcg", "ug"),
    ("kpa", "kPa"),
    ("hpa", "hPa"),
    ("percent", "%"),
];
