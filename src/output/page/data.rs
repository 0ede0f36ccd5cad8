//! What the page's script gets: the map's records by column, as JSON in which no markup can stand.

use serde_json::{Map, Value, json};

use super::background::{Background, BackgroundDrawn};
use super::collect::Collected;
use super::groups::{Groups, LegendGroup};
use super::items::PageLine;
use super::map::{MANY, MapNorths, convergence_deg};
use super::plane::MapPlane;
use crate::geodesy::covariance::INTERVAL95;
use crate::output::style::Look;
use crate::records::ledger::Flag;
use crate::units::Shown;

/// The data of the script.
pub fn json(
    collected: &Collected,
    groups: &Groups,
    plane: &MapPlane,
    norths: &MapNorths,
    factor: Option<f64>,
    background: Option<&Background>,
) -> String {
    let value = json!({
        "plane": {
            "origin": plane.origin,
            "unit_m": plane.unit_m,
            "degrees": plane.degrees,
            "bounds": plane.bounds.map(|edge| rounded(edge, 2)),
        },
        "unit": collected.unit_name,
        "units": {"length": in_unit(collected.units.length()), "area": in_unit(collected.units.area()), "angle": in_unit(collected.units.angle())},
        "many": collected.features.seen as usize > MANY,
        "sights": collected.sights,
        "factor": factor,
        "groups": groups.groups.iter().map(group).collect::<Vec<_>>(),
        "looks": looks(),
        "flags": Flag::ALL.iter().map(|flag| (flag.code().to_owned(), Value::from(flag.sentence()))).collect::<Map<_, _>>(),
        "features": features(collected, groups, plane, norths),
        "bases": bases(collected, plane),
        "lines": collected.lines.kept.iter().map(|line| outline(line, plane)).collect::<Vec<_>>(),
        "areas": collected.areas.kept.iter().map(|area| outline(area, plane)).collect::<Vec<_>>(),
        "cells": cells(collected, plane),
        "background": under(background, plane),
    });
    without_markup(&value.to_string())
}

/// JSON is the same with these signs escaped, and cannot end the element that it stands in.
fn without_markup(json: &str) -> String {
    let mut text = String::with_capacity(json.len());
    for sign in json.chars() {
        match sign {
            '<' => text.push_str("\\u003c"),
            '>' => text.push_str("\\u003e"),
            '&' => text.push_str("\\u0026"),
            '\u{2028}' => text.push_str("\\u2028"),
            '\u{2029}' => text.push_str("\\u2029"),
            _ => text.push(sign),
        }
    }
    text
}

fn rounded(value: f64, decimals: i32) -> Value {
    let factor = 10f64.powi(decimals);
    let value = (value * factor).round() / factor;
    if !value.is_finite() {
        Value::Null
    } else if value.fract() == 0.0 && value.abs() < 9e15 {
        Value::from(value as i64)
    } else {
        Value::from(value)
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

fn features(collected: &Collected, groups: &Groups, plane: &MapPlane, norths: &MapNorths) -> Value {
    let kept = &collected.features.kept;
    let mut words = RecurringTexts::default();
    let index = |of: &mut dyn FnMut(usize) -> usize| (0..kept.len()).map(|i| Value::from(of(i))).collect::<Vec<_>>();
    let codes = index(&mut |i| words.number(if kept[i].code_title.is_empty() { &kept[i].code } else { &kept[i].code_title }));
    let bases = index(&mut |i| words.number(&kept[i].base));
    let flags = index(&mut |i| words.number(&kept[i].flags));
    let files = index(&mut |i| words.number(&kept[i].file));
    let kinds = index(&mut |i| words.number(&kept[i].height_kind));
    let reals = |decimals: i32, of: &dyn Fn(usize) -> f64| {
        let values: Vec<Value> = (0..kept.len()).map(|i| rounded(of(i), decimals)).collect();
        // A column of nulls says nothing.
        if values.iter().all(Value::is_null) { Value::Null } else { Value::from(values) }
    };
    let at: Vec<[f64; 2]> = kept.iter().map(|feature| plane.at(feature.at)).collect();
    json!({
        "seen": collected.features.seen,
        "stride": collected.features.stride,
        "words": words.list,
        "name": kept.iter().map(|feature| Value::from(feature.name.as_str())).collect::<Vec<_>>(),
        "group": groups.of,
        "code": codes,
        "base": bases,
        "flags": flags,
        "file": files,
        "kind": kinds,
        "line": kept.iter().map(|feature| feature.line).collect::<Vec<_>>(),
        "time": kept.iter().map(|feature| Value::from(feature.time.as_str())).collect::<Vec<_>>(),
        "x": reals(2, &|i| at[i][0]),
        "y": reals(2, &|i| at[i][1]),
        "height": reals(3, &|i| kept[i].height_m),
        "height95": reals(4, &|i| kept[i].height95_m),
        "radius95": reals(4, &|i| kept[i].radius95_m),
        "major": reals(4, &|i| kept[i].ellipse[0]),
        "minor": reals(4, &|i| kept[i].ellipse[1]),
        // From the north of the map, so that it can be drawn.
        "turn": reals(1, &|i| kept[i].ellipse[2] - convergence_deg(collected, &kept[i], norths)),
        "sigma_east": reals(4, &|i| kept[i].sigma_m[0]),
        "sigma_north": reals(4, &|i| kept[i].sigma_m[1]),
        "distance": reals(2, &|i| kept[i].distance_m),
        "azimuth": reals(2, &|i| kept[i].azimuth_deg),
        "share_base": reals(3, &|i| kept[i].shares[0]),
        "share_direction": reals(3, &|i| kept[i].shares[1]),
        "share_distance": reals(3, &|i| kept[i].shares[2]),
        "cell": reals(2, &|i| kept[i].cell_m),
        "used": kept.iter().map(|feature| feature.used).collect::<Vec<_>>(),
        "aside": kept.iter().map(|feature| feature.aside).collect::<Vec<_>>(),
    })
}

fn bases(collected: &Collected, plane: &MapPlane) -> Value {
    let kept = &collected.bases.kept;
    let list = kept.iter().map(|base| {
        let [x, y] = plane.at(base.at);
        json!({
            "name": base.name, "x": rounded(x, 2), "y": rounded(y, 2), "shots": base.shots,
            "sigma": rounded(base.sigma_horizontal_m, 4),
            "flags": base.flags,
            "place": base.line.map(|line| format!("{}:{line}", base.file)),
        })
    });
    Value::from(list.collect::<Vec<_>>())
}

fn outline(line: &PageLine, plane: &MapPlane) -> Value {
    let corners: Vec<Value> =
        line.corners.iter().flat_map(|[x, y, _]| plane.at([*x, *y])).map(|metres| rounded(metres, 2)).collect();
    json!({
        "name": line.name, "code": line.code, "origin": line.origin, "corners": corners,
        "length": rounded(line.length_m, 3), "length95": rounded(INTERVAL95 * line.sigma_length_m, 4),
        "area": rounded(line.area_m2, 3), "area95": rounded(INTERVAL95 * line.sigma_area_m2, 4),
    })
}

/// Outlines under the map. A picture stands in the drawn map already, and the script takes it from there.
fn under(background: Option<&Background>, plane: &MapPlane) -> Value {
    let Some(Background { drawn: BackgroundDrawn::Outlines(lines, _), .. }) = background else { return Value::Null };
    let flat =
        |line: &Vec<[f64; 2]>| line.iter().flat_map(|at| plane.at(*at)).map(|metres| rounded(metres, 2)).collect::<Vec<_>>();
    Value::from(lines.iter().map(flat).map(Value::from).collect::<Vec<_>>())
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
            [rounded(x, 2), rounded(y, 2), Value::from(*count)]
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
        assert_eq!([rounded(1.005, 1), rounded(2.0, 3), rounded(f64::NAN, 1)], [json!(1), json!(2), Value::Null]);
    }
}
