//! Measured values of two mappings compared: heights, widths, volumes, lengths and areas.
//!
//! From the layers `measurements`, `lines` and `areas` of both files, by measure, name and quantity. The difference B − A has the variance
//! σ_A² + σ_B² − 2 Σ aᵢ bᵢ, aᵢ and bᵢ what one standard error of each error that both have changes them by, where the summaries tell; all tests are one
//! family under Holm's correction. Directions are compared the short way round the circle.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Serialize;

use super::change::{Finding, ValueStep};
use crate::intake::vector::{self, FieldTable, VectorError};
use crate::review::finished::{LayerError, RecordedArms, SharedErrors};
use crate::units::computed;

/// A value measured twice.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ValueChange {
    /// Kind of measurement; `line` or `area` for what is drawn by strings.
    pub measure: String,
    /// What was measured.
    pub name: String,
    /// Name of the value with its unit.
    pub quantity: String,
    /// The value in A.
    pub a: f64,
    /// The value in B.
    pub b: f64,
    /// B − A.
    pub difference: f64,
    /// Its standard error.
    pub sigma: Option<f64>,
    /// Probability of so great a difference where nothing changed, looked at alone.
    pub probability: Option<f64>,
    /// The same after Holm's correction.
    pub corrected: Option<f64>,
    /// `increased`, `decreased`, `turned`, `no significant change`, `not tested`.
    pub mark: &'static str,
    /// Names of the errors that both values have, which are not in `sigma` as far as they cancel.
    #[serde(skip)]
    pub in_common: Vec<String>,
}

/// What is to be said of them beside the figures.
pub const ASSUMPTION: &str = "Measured values (heights, widths, spans, volumes, lengths, areas) are taken as independent in both mappings, but for \
what the summaries beside both say that they err by alike. What they do not say is in the standard errors of the changes still, so that a real change is harder to see.";

/// Measure, name and quantity.
type ValueKey = [String; 3];

/// A value with its standard error; `times` counts how often its key stands in the file.
#[derive(Debug, Clone, Copy, PartialEq)]
struct ComparedValue {
    value: f64,
    sigma: Option<f64>,
    times: usize,
}

/// Compares the values of two files. Beside the changes: what stands in A alone, and in B alone, or more than once.
///
/// # Errors
/// When a layer cannot be read.
pub fn compare(
    (a, b): (&Path, &Path),
    shared: Option<&[SharedErrors; 2]>,
) -> Result<(Vec<ValueChange>, [Vec<String>; 2]), LayerError> {
    Ok(changes(&read(a)?, &read(b)?, shared))
}

fn changes(
    a: &BTreeMap<ValueKey, ComparedValue>,
    b: &BTreeMap<ValueKey, ComparedValue>,
    shared: Option<&[SharedErrors; 2]>,
) -> (Vec<ValueChange>, [Vec<String>; 2]) {
    let arms = |key: &ValueKey| shared.and_then(|[of_a, of_b]| of_a.of_value(key).zip(of_b.of_value(key)));
    let mut found: Vec<ValueChange> = Vec::new();
    let mut left = [Vec::new(), Vec::new()];
    for (key, one) in a {
        match b.get(key) {
            Some(other) if one.times == 1 && other.times == 1 => found.push(change(key, one, other, arms(key))),
            Some(_) => left.iter_mut().for_each(|left| left.push(format!("{} (several of one name)", label(key)))),
            None => left[0].push(label(key)),
        }
    }
    left[1].extend(b.keys().filter(|key| !a.contains_key(*key)).map(label));
    (found, left)
}

impl ValueChange {
    /// Marks it by its probability after the correction for all tests.
    pub fn judge(&mut self, corrected: Option<f64>) {
        self.corrected = corrected;
        self.mark = match Finding::judge(corrected) {
            Finding::NotTested => "not tested",
            Finding::NotSignificant => "no significant change",
            Finding::Significant if is_direction(&self.quantity) => "turned",
            Finding::Significant if self.difference > 0.0 => "increased",
            Finding::Significant => "decreased",
        };
    }
}

fn label([measure, name, quantity]: &ValueKey) -> String {
    format!("{measure} {name} {quantity}")
}

/// Whether a quantity goes round the circle.
fn is_direction(quantity: &str) -> bool {
    ["azimuth_deg", "direction_deg", "strike_deg"].iter().any(|ending| quantity.ends_with(ending))
}

fn change(
    [measure, name, quantity]: &ValueKey,
    a: &ComparedValue,
    b: &ComparedValue,
    arms: Option<(&RecordedArms, &RecordedArms)>,
) -> ValueChange {
    let difference = b.value - a.value;
    let difference = if is_direction(quantity) { (difference + 180.0).rem_euclid(360.0) - 180.0 } else { difference };
    let independent = a.sigma.zip(b.sigma).map(|(a, b)| a * a + b * b);
    let common = arms.and_then(|(one, other)| one.with(other));
    // As it is where rounding of the layers would leave nothing.
    let left = independent.zip(common).map(|(variance, common)| variance - 2.0 * common).filter(|left| *left > 0.0);
    let in_common = match (arms, left) {
        (Some((one, other)), Some(_)) => one.in_common(other).map(str::to_owned).collect(),
        _ => Vec::new(),
    };
    let step = ValueStep::against(difference, left.or(independent).map(f64::sqrt));
    ValueChange {
        measure: measure.clone(),
        name: name.clone(),
        quantity: quantity.clone(),
        a: a.value,
        b: b.value,
        difference,
        sigma: step.sigma,
        probability: step.probability,
        corrected: None,
        mark: "",
        in_common,
    }
}

fn read(path: &Path) -> Result<BTreeMap<ValueKey, ComparedValue>, LayerError> {
    let flawed = |flaw: VectorError| LayerError { path: path.to_owned(), flaw: flaw.into() };
    let table = |layer: &str| vector::read_fields(path, layer).map_err(flawed);
    let mut values = BTreeMap::new();
    if let Some(table) = table("measurements")? {
        let columns = ValueColumns::find(&table);
        for row in &table.rows {
            let [measure, name, quantity] = ["measure", "name", "quantity"].map(|field| columns.text(row, field).to_owned());
            add(&mut values, [measure, name, quantity], columns.number(row, "value"), columns.number(row, "sigma"));
        }
    }
    for (layer, measure, quantities) in [
        ("areas", "area", &[("area_ellipsoid_m2", "sigma_area_m2"), ("length_ellipsoid_m", "sigma_length_m")][..]),
        ("lines", "line", &[("length_ellipsoid_m", "sigma_length_m")][..]),
    ] {
        let Some(table) = table(layer)? else { continue };
        let columns = ValueColumns::find(&table);
        for row in &table.rows {
            for (quantity, sigma) in quantities {
                let key = [measure.to_owned(), columns.text(row, "name").to_owned(), (*quantity).to_owned()];
                add(&mut values, key, columns.number(row, quantity), columns.number(row, sigma));
            }
        }
    }
    Ok(values)
}

fn add(values: &mut BTreeMap<ValueKey, ComparedValue>, mut key: ValueKey, value: Option<f64>, sigma: Option<f64>) {
    let Some(value) = value else { return };
    // Two mappings in two units are compared in metres and degrees.
    let (value, sigma) = match computed(&key[2]) {
        Some((metric, factor)) => {
            key[2] = metric;
            (value * factor, sigma.map(|sigma| sigma * factor))
        }
        None => (value, sigma),
    };
    values.entry(key).and_modify(|known| known.times += 1).or_insert(ComparedValue { value, sigma, times: 1 });
}

/// Where fields stand in a table.
struct ValueColumns<'t> {
    headers: &'t [String],
}

impl<'t> ValueColumns<'t> {
    fn find(table: &'t FieldTable) -> ValueColumns<'t> {
        ValueColumns { headers: &table.headers }
    }

    fn text<'r>(&self, row: &'r [String], field: &str) -> &'r str {
        self.headers.iter().position(|header| header == field).and_then(|column| row.get(column)).map_or("", String::as_str)
    }

    fn number(&self, row: &[String], field: &str) -> Option<f64> {
        // By its own name, or by the one that it has in other units.
        let is_it = |header: &&String| header.as_str() == field || computed(header).is_some_and(|(metric, _)| metric == field);
        let header = self.headers.iter().find(is_it)?;
        let factor = if header == field { 1.0 } else { computed(header)?.1 };
        self.text(row, header).parse().ok().map(|value: f64| value * factor).filter(|value| value.is_finite())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As if nothing else was compared.
    fn judge(changes: &mut [ValueChange]) {
        let corrected = super::super::family::holm(&changes.iter().map(|change| change.probability).collect::<Vec<_>>());
        changes.iter_mut().zip(corrected).for_each(|(change, corrected)| change.judge(corrected));
    }

    fn values(list: &[(&str, &str, f64, f64)]) -> BTreeMap<ValueKey, ComparedValue> {
        let mut values = BTreeMap::new();
        for (name, quantity, value, sigma) in list {
            let key = ["height".to_owned(), (*name).to_owned(), (*quantity).to_owned()];
            add(&mut values, key, Some(*value), Some(*sigma));
        }
        values
    }

    #[test]
    fn growth_lean_and_what_cannot_be_told() {
        let a = values(&[
            ("T1", "height_m", 20.0, 0.3),
            ("T2", "height_m", 18.0, 0.3),
            ("T3", "lean_azimuth_deg", 359.0, 1.0),
            ("T4", "height_m", 9.0, 0.0),
            ("T5", "height_m", 9.0, 0.1),
            ("T6", "height_m", 9.0, 0.1),
            ("T6", "height_m", 9.1, 0.1),
        ]);
        let b = values(&[
            ("T1", "height_m", 21.6, 0.4),
            ("T2", "height_m", 17.5, 0.4),
            ("T3", "lean_azimuth_deg", 2.0, 1.0),
            ("T4", "height_m", 9.5, 0.0),
            ("T6", "height_m", 12.0, 0.1),
            ("T7", "height_m", 9.0, 0.1),
        ]);
        let (mut changes, [only_a, only_b]) = changes(&a, &b, None);
        judge(&mut changes);
        let marks: Vec<(&str, f64, &str)> = changes.iter().map(|c| (c.name.as_str(), c.difference, c.mark)).collect();
        // T1: 1.6 of 0.5, p 0.0014 times 3; T2: one standard error; T3: 3° the short way of √2, p 0.034 times 2.
        assert_eq!(marks.iter().map(|(name, _, _)| *name).collect::<Vec<_>>(), ["T1", "T2", "T3", "T4"]);
        assert!((marks[0].1 - 1.6).abs() < 1e-12 && marks[0].2 == "increased");
        assert_eq!(marks[1].2, "no significant change");
        assert!((marks[2].1 - 3.0).abs() < 1e-12 && marks[2].2 == "no significant change");
        assert_eq!(marks[3].2, "not tested");
        assert!((changes[0].corrected.unwrap() - 3.0 * changes[0].probability.unwrap()).abs() < 1e-12);
        assert_eq!(only_a, ["height T5 height_m", "height T6 height_m (several of one name)"]);
        assert_eq!(only_b, ["height T6 height_m (several of one name)", "height T7 height_m"]);
    }

    #[test]
    fn directions_turn_and_lengths_shrink() {
        let a = values(&[("S", "strike_deg", 5.0, 1.0), ("W", "width_m", 5.0, 0.1)]);
        let b = values(&[("S", "strike_deg", 355.0, 1.0), ("W", "width_m", 4.0, 0.1)]);
        let (mut changes, _) = changes(&a, &b, None);
        judge(&mut changes);
        assert!((changes[0].difference + 10.0).abs() < 1e-12);
        assert_eq!((changes[0].mark, changes[1].mark), ("turned", "decreased"));
    }
}
