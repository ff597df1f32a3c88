//! From readings to an answer: published worked examples, properties, another arithmetic, chance.

mod answers;
mod bad_numbers;
mod chance;
mod cycles;
mod fractions;
mod properties;
mod published;
mod quantiles;
mod rounding;
mod unsure;
