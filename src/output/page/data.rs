//! What the page's script gets: the map's records by column, as JSON in which no markup can stand.

use serde::{Serialize, Serializer};
use serde_json::{Map, Value, json};

use super::background::{Background, BackgroundDrawn};
use super::collect::Collected;
use super::groups::{Groups, LegendGroup};
use super::items::{PageFeature, PageLine};
use super::map::{MANY, MapNorths, NamedBases};
use super::plane::MapPlane;
use crate::geodesy::covariance::INTERVAL95;
use crate::output::style::Look;
use crate::records::ledger::Flag;
use crate::units::Shown;

/// The data of the script.
#[derive(Serialize)]
struct MapData<'c> {
    plane: Value,
    unit: &'c str,
    units: Value,
    many: bool,
    sights: bool,
    factor: Option<f64>,
    groups: Vec<Value>,
    looks: Value,
    flags: Map<String, Value>,
    features: FeatureData<'c>,
    bases: Value,
    lines: Vec<Value>,
    areas: Vec<Value>,
    cells: Value,
    background: Value,
}

/// The data of the script, as JSON.
///
/// # Errors
/// None that this data can have: it has no keys but texts.
pub fn json(
    collected: &Collected,
    groups: &Groups,
    plane: &MapPlane,
    norths: &MapNorths,
    factor: Option<f64>,
    background: Option<&Background>,
) -> serde_json::Result<String> {
    let data = MapData {
        plane: json!({
            "origin": plane.origin,
            "unit_m": plane.unit_m,
            "degrees": plane.degrees,
            "bounds": plane.bounds.map(|edge| Rounded(edge, 2)),
        }),
        unit: &collected.unit_name,
        units: json!({"length": in_unit(collected.units.length()), "area": in_unit(collected.units.area()), "angle": in_unit(collected.units.angle())}),
        many: collected.features.seen as usize > MANY,
        sights: collected.sights,
        factor,
        groups: groups.groups.iter().map(group).collect(),
        looks: looks(),
        flags: Flag::ALL.iter().map(|flag| (flag.code().to_owned(), Value::from(flag.sentence()))).collect(),
        features: features(collected, groups, plane, norths),
        bases: bases(collected, plane),
        lines: collected.lines.kept.iter().map(|line| outline(line, plane)).collect(),
        areas: collected.areas.kept.iter().map(|area| outline(area, plane)).collect(),
        cells: cells(collected, plane),
        background: under(background, plane),
    };
    Ok(without_markup(&serde_json::to_string(&data)?))
}

/// JSON is the same with these signs escaped, and cannot end the element that it stands in.
fn without_markup(json: &str) -> String {
    let mut text = String::with_capacity(json.len());
    let mut rest = json;
    while let Some(at) = rest.find(['<', '>', '&', '\u{2028}', '\u{2029}']) {
        let (plain, marked) = rest.split_at(at);
        text.push_str(plain);
        let mut signs = marked.chars();
        if let Some(sign) = signs.next() {
            text.push_str(&format!("\\u{:04x}", u32::from(sign)));
        }
        rest = signs.as_str();
    }
    text.push_str(rest);
    text
}

/// A number with so many decimals: null where it is none, without a point where it is whole.
#[derive(Clone, Copy)]
struct Rounded(f64, i32);

impl Rounded {
    fn value(self) -> f64 {
        let factor = 10f64.powi(self.1);
        (self.0 * factor).round() / factor
    }
}

impl Serialize for Rounded {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let value = self.value();
        if !value.is_finite() {
            to.serialize_unit()
        } else if value.fract() == 0.0 && value.abs() < 9e15 {
            to.serialize_i64(value as i64)
        } else {
            to.serialize_f64(value)
        }
    }
}

/// What a metre, or a square metre, is of a unit, and how people write that.
fn in_unit(shown: Shown) -> Value {
    json!({"by": shown.value(1.0), "sign": shown.sign})
}

fn group(group: &LegendGroup) -> Value {
    json!({
        "title": group.title,
        "colour": group.look.colour.to_string(),
        "mark": group.look.mark.word(),
        "size": group.look.size_px,
    })
}

fn looks() -> Value {
    let of = |id: &str| {
        Look::standard(id).map(|look| {
            json!({"colour": look.colour.to_string(), "mark": look.mark.word(), "size": look.size_px, "width": look.line_width_px, "fill": look.fill_opacity})
        })
    };
    json!({"bases": of("bases"), "sights": of("sight_lines"), "ellipses": of("ellipses"), "lines": of("lines"), "areas": of("areas")})
}

/// Texts that recur, each once.
#[derive(Default)]
struct RecurringTexts<'w> {
    index: rustc_hash::FxHashMap<&'w str, usize>,
    list: Vec<&'w str>,
}

impl<'w> RecurringTexts<'w> {
    fn number(&mut self, word: &'w str) -> usize {
        *self.index.entry(word).or_insert_with(|| {
            self.list.push(word);
            self.list.len() - 1
        })
    }
}

/// The point features by column: a number for each, or the place of its text in `words`.
#[derive(Serialize)]
struct FeatureData<'c> {
    seen: u64,
    stride: u64,
    words: Vec<&'c str>,
    name: Vec<&'c str>,
    group: &'c [usize],
    code: Vec<usize>,
    base: Vec<usize>,
    flags: Vec<usize>,
    file: Vec<usize>,
    kind: Vec<usize>,
    line: Vec<i64>,
    time: Vec<&'c str>,
    x: Option<Vec<Rounded>>,
    y: Option<Vec<Rounded>>,
    height: Option<Vec<Rounded>>,
    height95: Option<Vec<Rounded>>,
    radius95: Option<Vec<Rounded>>,
    major: Option<Vec<Rounded>>,
    minor: Option<Vec<Rounded>>,
    /// From the north of the map, so that it can be drawn.
    turn: Option<Vec<Rounded>>,
    sigma_east: Option<Vec<Rounded>>,
    sigma_north: Option<Vec<Rounded>>,
    distance: Option<Vec<Rounded>>,
    azimuth: Option<Vec<Rounded>>,
    share_base: Option<Vec<Rounded>>,
    share_direction: Option<Vec<Rounded>>,
    share_distance: Option<Vec<Rounded>>,
    cell: Option<Vec<Rounded>>,
    used: Vec<i64>,
    aside: Vec<i64>,
}

fn features<'c>(collected: &'c Collected, groups: &'c Groups, plane: &MapPlane, norths: &MapNorths) -> FeatureData<'c> {
    let kept = &collected.features.kept;
    let mut words = RecurringTexts::default();
    let mut numbered = |of: fn(&PageFeature) -> &str| kept.iter().map(|feature| words.number(of(feature))).collect();
    let code = numbered(|feature| if feature.code_title.is_empty() { &feature.code } else { &feature.code_title });
    let (base, flags) = (numbered(|feature| &feature.base), numbered(|feature| &feature.flags));
    let (file, kind) = (numbered(|feature| &feature.file), numbered(|feature| &feature.height_kind));
    let reals = |decimals: i32, of: &dyn Fn(usize) -> f64| {
        let values: Vec<Rounded> = (0..kept.len()).map(|i| Rounded(of(i), decimals)).collect();
        // A column of nulls says nothing.
        values.iter().any(|real| real.value().is_finite()).then_some(values)
    };
    let at: Vec<[f64; 2]> = kept.iter().map(|feature| plane.at(feature.at)).collect();
    let named = NamedBases::new(collected, norths);
    FeatureData {
        seen: collected.features.seen,
        stride: collected.features.stride,
        words: words.list,
        name: kept.iter().map(|feature| feature.name.as_str()).collect(),
        group: &groups.of,
        code,
        base,
        flags,
        file,
        kind,
        line: kept.iter().map(|feature| feature.line).collect(),
        time: kept.iter().map(|feature| feature.time.as_str()).collect(),
        x: reals(2, &|i| at[i][0]),
        y: reals(2, &|i| at[i][1]),
        height: reals(3, &|i| kept[i].height_m),
        height95: reals(4, &|i| kept[i].height95_m),
        radius95: reals(4, &|i| kept[i].radius95_m),
        major: reals(4, &|i| kept[i].ellipse[0]),
        minor: reals(4, &|i| kept[i].ellipse[1]),
        turn: reals(1, &|i| kept[i].ellipse[2] - named.convergence_deg(&kept[i])),
        sigma_east: reals(4, &|i| kept[i].sigma_m[0]),
        sigma_north: reals(4, &|i| kept[i].sigma_m[1]),
        distance: reals(2, &|i| kept[i].distance_m),
        azimuth: reals(2, &|i| kept[i].azimuth_deg),
        share_base: reals(3, &|i| kept[i].shares[0]),
        share_direction: reals(3, &|i| kept[i].shares[1]),
        share_distance: reals(3, &|i| kept[i].shares[2]),
        cell: reals(2, &|i| kept[i].cell_m),
        used: kept.iter().map(|feature| feature.used).collect(),
        aside: kept.iter().map(|feature| feature.aside).collect(),
    }
}

fn bases(collected: &Collected, plane: &MapPlane) -> Value {
    let kept = &collected.bases.kept;
    let list = kept.iter().map(|base| {
        let [x, y] = plane.at(base.at);
        json!({
            "name": base.name, "x": Rounded(x, 2), "y": Rounded(y, 2), "shots": base.shots,
            "sigma": Rounded(base.sigma_horizontal_m, 4),
            "flags": base.flags,
            "place": base.line.map(|line| format!("{}:{line}", base.file)),
        })
    });
    Value::from(list.collect::<Vec<_>>())
}

fn outline(line: &PageLine, plane: &MapPlane) -> Value {
    let corners: Vec<Rounded> =
        line.corners.iter().flat_map(|[x, y, _]| plane.at([*x, *y])).map(|metres| Rounded(metres, 2)).collect();
    json!({
        "name": line.name, "code": line.code, "origin": line.origin, "corners": corners,
        "length": Rounded(line.length_m, 3), "length95": Rounded(INTERVAL95 * line.sigma_length_m, 4),
        "area": Rounded(line.area_m2, 3), "area95": Rounded(INTERVAL95 * line.sigma_area_m2, 4),
    })
}

/// Outlines under the map. A picture stands in the drawn map already, and the script takes it from there.
fn under(background: Option<&Background>, plane: &MapPlane) -> Value {
    let Some(Background { drawn: BackgroundDrawn::Outlines(lines, _), .. }) = background else { return Value::Null };
    let flat =
        |line: &Vec<[f64; 2]>| line.iter().flat_map(|at| plane.at(*at)).map(|metres| Rounded(metres, 2)).collect::<Vec<_>>();
    json!(lines.iter().map(flat).collect::<Vec<_>>())
}

fn cells(collected: &Collected, plane: &MapPlane) -> Value {
    if !collected.features.is_part() {
        return Value::Null;
    }
    let (side, list) = collected.cells.list();
    let flat: Vec<Value> = list
        .iter()
        .flat_map(|(corner, count)| {
            let [x, y] = plane.at(*corner);
            [json!(Rounded(x, 2)), json!(Rounded(y, 2)), Value::from(*count)]
        })
        .collect();
    json!({"width": side * plane.unit_m[0], "height": side * plane.unit_m[1], "cells": flat})
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markup_cannot_leave_the_data() {
        let text = without_markup(&json!({"name": "</script><script>alert('&')</script>\u{2028}"}).to_string());
        assert!(!text.contains(['<', '>', '&', '\u{2028}']));
        let back: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(back["name"], "</script><script>alert('&')</script>\u{2028}");
        assert_eq!(
            json!([Rounded(1.005, 1), Rounded(2.0, 3), Rounded(f64::NAN, 1), Rounded(-0.25, 2)]),
            json!([1, 2, null, -0.25])
        );
        assert_eq!(serde_json::to_string(&[Rounded(1.005, 1), Rounded(0.1, 3)]).unwrap(), "[1,0.1]");
    }
}
