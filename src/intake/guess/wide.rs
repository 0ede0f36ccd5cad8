//! Layouts with several readings in a row: foot and top of a tree beside its distance, left and right of a face.

use super::columns::{Ask, Context};
use super::sample::Sample;
use super::told::{is_azimuth, is_distance, is_horizontal_distance, is_inclination, is_slope_distance};
use super::units::{angle_unit, is_percent, length_unit};
use super::words::means;
use crate::job::UNDECIDED;

/// One reading: its role, and its columns by canonical name.
#[derive(Debug, Clone, PartialEq)]
pub struct WideReading {
    /// Role in the measurement.
    pub role: &'static str,
    /// Canonical name and header.
    pub columns: Vec<(String, String)>,
}

/// A layout that was recognised.
#[derive(Debug, Clone, PartialEq)]
pub struct Wide {
    /// Kind of measurement.
    pub measure: &'static str,
    /// Its readings.
    pub readings: Vec<WideReading>,
    /// Indexes of their columns.
    pub columns: Vec<usize>,
    /// Why.
    pub reason: String,
    /// What is open, in the order of the marks.
    pub asks: Vec<Ask>,
}

/// Recognises one.
pub fn recognise(sample: &Sample, context: &Context) -> Option<Wide> {
    let split: Vec<Vec<String>> = (0..sample.headers.len()).map(|column| sample.words(column)).collect();
    let numeric: Vec<usize> = (0..split.len()).filter(|column| sample.is_numeric(*column)).collect();
    heights(sample, context, &split, &numeric).or_else(|| widths(sample, context, &split, &numeric))
}

fn heights(sample: &Sample, context: &Context, split: &[Vec<String>], numeric: &[usize]) -> Option<Wide> {
    let is_angle =
        |column: usize| length_unit(&split[column]).is_none() && sample.greatest(column).is_some_and(|most| most <= 400.0);
    let one = |concept: &str| {
        let mut found = numeric.iter().copied().filter(|column| means(&split[*column], concept) && is_angle(*column));
        found.next().filter(|_| found.next().is_none())
    };
    let (top, foot) = (one("top")?, one("foot")?);
    if top == foot {
        return None;
    }
    let has_distance = |column: &usize| is_distance(&split[*column]) && *column != top && *column != foot;
    let distance = numeric.iter().copied().find(|column| has_distance(column))?;
    let mut asks = Vec::new();
    let kind = match () {
        () if is_horizontal_distance(&split[distance]) => "horizontal_distance".to_owned(),
        () if is_slope_distance(&split[distance]) => "slope_distance".to_owned(),
        () => {
            asks.push(Ask::DistanceKind);
            format!("{UNDECIDED}_distance")
        }
    };
    let unit = length(&split[distance], context, &mut asks);
    let mut angle = |column: usize| format!("inclination_{}", slope_unit(&split[column], &mut asks));
    let (top_name, foot_name) = (angle(top), angle(foot));
    let header = |column: usize| sample.headers[column].clone();
    let reading = |role, name: String, column: usize| WideReading { role, columns: vec![(name, header(column))] };
    Some(Wide {
        measure: "height",
        readings: vec![
            reading("distance", format!("{kind}_{unit}"), distance),
            reading("top", top_name, top),
            reading("foot", foot_name, foot),
        ],
        columns: vec![distance, top, foot],
        reason: "one row has a distance and the angles to foot and top: the height of each".into(),
        asks,
    })
}

fn widths(sample: &Sample, context: &Context, split: &[Vec<String>], numeric: &[usize]) -> Option<Wide> {
    let side = |side: &str, is: &dyn Fn(&[String]) -> bool| {
        numeric.iter().copied().find(|column| means(&split[*column], side) && is(&split[*column]))
    };
    let mut asks = Vec::new();
    let mut readings = Vec::new();
    let mut columns = Vec::new();
    for role in ["left", "right"] {
        let azimuth = side(role, &is_azimuth)?;
        let said = ["magnetic", "true", "grid"].into_iter().find(|north| means(&split[azimuth], north));
        // Without bases no north is needed: the zero of the instrument serves.
        let north = said.or(context.has_no_bases.then_some("magnetic")).unwrap_or_else(|| {
            asks.push(Ask::North);
            UNDECIDED
        });
        let mut of_side = vec![(format!("{north}_azimuth_deg"), sample.headers[azimuth].clone())];
        columns.push(azimuth);
        if let Some(inclination) = side(role, &is_inclination).filter(|column| *column != azimuth) {
            of_side.push((
                format!("inclination_{}", slope_unit(&split[inclination], &mut asks)),
                sample.headers[inclination].clone(),
            ));
            columns.push(inclination);
        }
        if let Some(distance) = side(role, &is_distance) {
            let kind = if is_horizontal_distance(&split[distance]) { "horizontal" } else { "slope" };
            of_side.push((
                format!("{kind}_distance_{}", length(&split[distance], context, &mut asks)),
                sample.headers[distance].clone(),
            ));
            columns.push(distance);
        }
        readings.push(WideReading { role, columns: of_side });
    }
    let reason = "one row has the sights to the left and to the right edge: the width of each".into();
    Some(Wide { measure: "width", readings, columns, reason, asks })
}

fn length(words: &[String], context: &Context, asks: &mut Vec<Ask>) -> &'static str {
    match (length_unit(words), &context.metric) {
        (Some(unit), _) => unit,
        (None, Some(_)) => "m",
        (None, None) => {
            asks.push(Ask::LengthUnit);
            UNDECIDED
        }
    }
}

fn slope_unit(words: &[String], asks: &mut Vec<Ask>) -> &'static str {
    match () {
        () if is_percent(words) => "pct",
        () if angle_unit(words).is_some() => angle_unit(words).unwrap_or(UNDECIDED),
        () => {
            asks.push(Ask::SlopeUnit);
            UNDECIDED
        }
    }
}
