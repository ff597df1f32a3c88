//! Whole fractions, read from what people and programs wrote.

use num_rational::Ratio;
use serde_json::Value;

use crate::sheet;
use crate::walk::Told;

/// A whole fraction.
pub type Q = Ratio<i128>;

/// A decimal number, exactly.
pub fn decimal(text: &str) -> Q {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let number = |t: &str| t.parse::<i128>().unwrap_or_else(|_| panic!("no number: {text:?}"));
    let scale = 10_i128.pow(part.len().try_into().expect("few digits"));
    Q::new(number(&format!("{whole}{part}")), scale)
}

/// The quantities in a value of the sheet, all in this unit: `["1.69 L/min", "1.70 L/min"]`.
pub fn quantities(value: &str, unit: &str) -> Vec<Q> {
    let texts = value.split('"').skip(1).step_by(2);
    let number = |t: &str| t.strip_suffix(unit).map(|n| decimal(n.trim()));
    texts.map(|t| number(t).unwrap_or_else(|| panic!("{t:?} is not in {unit}"))).collect()
}

/// One quantity of the sheet; `None` where the key is not there.
pub fn quantity(told: &Told, table: &str, of: &str, key: &str, unit: &str) -> Option<Q> {
    let text = sheet::value(&told.text("stone-hall/field.toml"), table, of, key)?;
    quantities(&text, unit).first().copied()
}

/// A whole number of a record.
pub fn whole(of: &Value, pointer: &str) -> i128 {
    let found = of.pointer(pointer).and_then(Value::as_u64);
    found.unwrap_or_else(|| panic!("{pointer} is no whole number")).into()
}

/// The arithmetic mean.
pub fn mean(of: &[Q]) -> Q {
    of.iter().sum::<Q>() / Q::from_integer(of.len().try_into().expect("few"))
}

/// A number of the results is this one, but for the rounding of binary fractions.
#[track_caller]
pub fn is(of: &Value, pointer: &str, wanted: Q) {
    let found = of.pointer(pointer).and_then(Value::as_f64);
    let found = found.unwrap_or_else(|| panic!("{pointer} is no number: {of:#}"));
    let wanted = *wanted.numer() as f64 / *wanted.denom() as f64;
    let near = (found - wanted).abs() <= 1e-12 * wanted.abs();
    assert!(near, "{pointer} is {found}, and by hand {wanted}");
}

/// There is no number here.
#[track_caller]
pub fn is_not(of: &Value, pointer: &str) {
    assert!(of.pointer(pointer).is_some_and(Value::is_null), "{pointer}: {of:#}");
}

#[test]
fn decimals_are_read_exactly() {
    assert_eq!(decimal("34.1"), Q::new(341, 10));
    assert_eq!(decimal("0.05"), Q::new(1, 20));
    assert_eq!(
        quantities("[\"1.69 L/min\", \"2 L/min\"]", "L/min"),
        [Q::new(169, 100), Q::new(2, 1)]
    );
    assert_eq!(mean(&[decimal("4.0"), decimal("5.0")]), Q::new(9, 2));
}
