//! What a record says in words, for formats that show words in place of fields: each value under its title, with its standard error.

use super::number::{iso_utc, rounded};
use crate::output::columns::{Batch, Cell, Layer};
use crate::output::style::{naming_fields, title_of};
use crate::units::computed;

/// The program's own fields that are said, in this order; a person in the field looks for these.
const SAID: [&str; 27] = [
    "code_title",
    "code",
    "measure",
    "role",
    "ellipsoid_height_m",
    "orthometric_height_m",
    "radius95_m",
    "height_m",
    "width_m",
    "length_ellipsoid_m",
    "area_ellipsoid_m2",
    "chainage_m",
    "offset_m",
    "position",
    "coarse_cell_m",
    "features",
    "codes",
    "day",
    "base",
    "shot",
    "shots_used",
    "time_local",
    "placed_by",
    "backsights",
    "flags",
    "warnings",
    "caution",
];

/// Fields whose standard error has another name than theirs with `sigma` in it.
const SIGMAS: [(&str, &str); 2] = [("length_ellipsoid_m", "sigma_length_m"), ("area_ellipsoid_m2", "sigma_area_m2")];

/// The two kinds of height, by the words of the field `height_kind`.
const HEIGHTS: [(&str, &str); 2] = [("ellipsoid_height_m", "ellipsoidal"), ("orthometric_height_m", "orthometric")];

/// Decimals of a value without a standard error, where the field has more.
const MOST_DECIMALS: u8 = 3;

/// Titles and values of record `i`; what is null is not said.
pub fn said(layer: &Layer, batch: &Batch, i: usize) -> Vec<(String, String)> {
    let own = SAID.iter().filter_map(|name| Some((*name, find(layer, name)?)));
    let own: Vec<(&str, usize)> = own.collect();
    let others = layer.fields.iter().enumerate().filter(|(_, field)| !field.is_own());
    let known = own.into_iter().chain(others.map(|(index, _)| ("", index)));
    known.filter_map(|(name, index)| Some((title_of(&layer.fields[index].name), value(layer, batch, i, name, index)?))).collect()
}

/// What record `i` is called; none where that is null.
pub fn name(layer: &Layer, batch: &Batch, i: usize) -> Option<String> {
    let fields = naming_fields(layer);
    let at = fields.iter().filter_map(|name| layer.fields.iter().position(|field| field.name == name.name));
    let words: Vec<String> = at.filter_map(|index| text(layer, batch, i, index)).collect();
    (!words.is_empty()).then(|| words.join(" "))
}

/// The field of the program's own of that name, in whatever unit.
pub fn find(layer: &Layer, name: &str) -> Option<usize> {
    let is_it = |known: &str| known == name || computed(known).is_some_and(|(metric, _)| metric == name);
    layer.fields.iter().position(|field| field.is_own() && is_it(&field.name))
}

/// A number of a field by its metric name, in metres, square metres or degrees; none where it is null.
pub fn metric(layer: &Layer, batch: &Batch, i: usize, name: &str) -> Option<f64> {
    let index = find(layer, name)?;
    let Cell::Real(value) = batch.cell(index, i) else { return None };
    let known = &layer.fields[index].name;
    Some(if known == name { value } else { value * computed(known).map_or(1.0, |(_, factor)| factor) })
}

/// A value as text; none where it is null.
pub fn text(layer: &Layer, batch: &Batch, i: usize, index: usize) -> Option<String> {
    Some(match batch.cell(index, i) {
        Cell::Null => return None,
        Cell::Real(value) => rounded(value, layer.fields[index].decimals).to_string(),
        Cell::Integer(value) => value.to_string(),
        Cell::Text(text) => text.to_owned(),
        Cell::Time(instant) => iso_utc(instant),
    })
}

fn value(layer: &Layer, batch: &Batch, i: usize, name: &str, index: usize) -> Option<String> {
    let Cell::Real(value) = batch.cell(index, i) else { return text(layer, batch, i, index) };
    if let Some(sigma) = sigma(layer, batch, i, name) {
        let digits = decimals(sigma);
        return Some(format!("{value:.digits$} ± {sigma:.digits$} (σ)"));
    }
    let decimals = layer.fields[index].decimals.map(|decimals| decimals.min(MOST_DECIMALS));
    Some(rounded(value, decimals).to_string())
}

/// The standard error of a field of the program's own, in the unit of the field.
fn sigma(layer: &Layer, batch: &Batch, i: usize, name: &str) -> Option<f64> {
    let real = |name: &str| match batch.cell(find(layer, name)?, i) {
        Cell::Real(value) => Some(value),
        _ => None,
    };
    if let Some((_, kind)) = HEIGHTS.iter().find(|(height, _)| *height == name) {
        let up = real("sigma_up_m").or_else(|| real("sigma_vertical_m"))?;
        let Cell::Text(known) = batch.cell(find(layer, "height_kind")?, i) else { return None };
        // The other kind of height has the geoid's error, too.
        return if known == *kind { Some(up) } else { Some(up.hypot(real("sigma_geoid_m")?)) };
    }
    if let Some((_, sigma)) = SIGMAS.iter().find(|(value, _)| *value == name) {
        return real(sigma);
    }
    let (stem, unit) = name.rsplit_once('_')?;
    real(&format!("sigma_{name}")).or_else(|| real(&format!("{stem}_sigma_{unit}")))
}

/// Decimals that leave a standard error two digits.
fn decimals(sigma: f64) -> usize {
    if sigma > 0.0 { (1.0 - sigma.log10().floor()).clamp(0.0, 4.0) as usize } else { 4 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_standard_error_has_two_digits() {
        let shown = |sigma: f64| format!("{sigma:.*}", decimals(sigma));
        assert_eq!([0.0613, 0.31, 1.24, 12.4, 0.0021, 0.0].map(shown), ["0.061", "0.31", "1.2", "12", "0.0021", "0.0000"]);
    }
}
