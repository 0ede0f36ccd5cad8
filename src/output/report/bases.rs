//! Each base in one readable block: where its position is from and how good it is, its heights, its
//! north, and the shots that found it.

use std::fmt::Write;
use std::sync::Arc;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::Offset;

use super::styled::{HELD as FLAG, STRONG};
use crate::geodesy::crs::Operation;
use crate::geodesy::geoid::{self, UndulationSource};
use crate::geodesy::north::ModelDeclination;
use crate::numeric::words::counted;
use crate::records::shown::visible;
use crate::shots::locate::Placed;
use crate::stations::base::{Base, HeightKind};
use crate::stations::join::time::duration_words;
use crate::stations::orientation::Orientation;
use crate::units::{Shown, Units};

/// Bases shown; the rest is counted.
pub const BASES_SHOWN: usize = 50;

/// A base and what became of it in a run.
#[derive(Debug, Clone)]
pub struct BaseReport {
    /// The base.
    pub base: Base,
    /// Where it lies in the CRS of the layers.
    pub placed: Placed,
    /// Name of the input file.
    pub file: String,
    /// What its backsights add to its azimuths.
    pub orientation: Option<Orientation>,
    /// The operations between datums and of heights that it went by.
    pub datum_steps: Vec<Arc<Operation>>,
    /// The declinations used, by day.
    pub declinations: Vec<(Date, ModelDeclination)>,
    /// The declination that the job fixes, and its standard error, in radians.
    pub fixed_declination: Option<(f64, f64)>,
    /// Shots mapped from it.
    pub shots: u64,
}

/// A line for each base: where it is, how good, and what became of its shots.
pub fn lines(stations: &[BaseReport], units: &Units) -> String {
    let mut text = String::new();
    let width = stations.iter().take(BASES_SHOWN).map(|station| station.base.label.chars().count()).max().unwrap_or(0);
    for station in stations.iter().take(BASES_SHOWN) {
        let base = &station.base;
        let from = match base.from_network {
            true => "by the network".to_owned(),
            false => format!("{}:{}", station.file, base.row.line),
        };
        let flags = if base.flags.is_empty() { String::new() } else { format!("  {FLAG}{}{FLAG:#}", base.flags) };
        // Writing to a String does not fail.
        let _ = writeln!(
            text,
            "base     {:width$}  {}, standard error {}, {from}, {}{flags}",
            base.label,
            degrees(&station.placed),
            units.length().said(base.covariance.ee.sqrt(), 2),
            counted(station.shots, "shot", "shots")
        );
    }
    if stations.len() > BASES_SHOWN {
        let _ = writeln!(
            text,
            "and {} more; the bases layer has them all",
            counted((stations.len() - BASES_SHOWN) as u64, "base", "bases")
        );
    }
    text
}

/// Latitude and longitude with their letters.
fn degrees(placed: &Placed) -> String {
    let (north_or_south, east_or_west) =
        (if placed.lat_deg < 0.0 { 'S' } else { 'N' }, if placed.lon_deg < 0.0 { 'W' } else { 'E' });
    format!("{:.6} {north_or_south} {:.6} {east_or_west}", placed.lat_deg.abs(), placed.lon_deg.abs())
}

/// The blocks of all bases.
pub fn blocks(stations: &[BaseReport], units: &Units) -> String {
    let mut text = String::new();
    for station in stations.iter().take(BASES_SHOWN) {
        // Writing to a String does not fail.
        let _ = block(&mut text, station, units);
    }
    if stations.len() > BASES_SHOWN {
        let rest = counted((stations.len() - BASES_SHOWN) as u64, "base", "bases");
        let _ = writeln!(text, "and {rest} more; the bases layer has them all");
    }
    text
}

fn block(text: &mut String, station: &BaseReport, units: &Units) -> std::fmt::Result {
    let length = units.length();
    let (base, placed) = (&station.base, &station.placed);
    let place = match placed.lat_deg.is_nan() {
        // A local frame has no latitudes.
        true => format!("{:.3} east {:.3} north", placed.x, placed.y),
        false => degrees(placed),
    };
    let (label, sigma) = (visible(&base.label), length.said(base.covariance.ee.sqrt(), 2));
    writeln!(text, "{STRONG}{label}{STRONG:#}  {place}, standard error {sigma} on each axis")?;
    source(text, station, &length)?;
    datum(text, station, &length)?;
    height(text, base, placed, &length)?;
    north(text, station, &units.angle())?;
    writeln!(text, "  shots   {} mapped from it", counted(station.shots, "shot", "shots"))?;
    for flag in base.flags.iter() {
        writeln!(text, "  {FLAG}flag{FLAG:#}    {}: {}", flag.code(), flag.sentence())?;
    }
    Ok(())
}

fn source(text: &mut String, station: &BaseReport, length: &Shown) -> std::fmt::Result {
    let row = &station.base.row;
    if station.base.from_network {
        return writeln!(text, "  from    shots from and to it alone, by the network");
    }
    write!(text, "  from    {}:{}", visible(&station.file), row.line)?;
    if station.base.adjusted {
        write!(text, ", made better by the network")?;
    }
    match &row.occupation {
        None => {
            if let [(from, _)] = row.windows.as_slice() {
                write!(text, ", a point of {}", utc(*from))?;
            }
        }
        Some(made) => {
            write!(text, ", {}", counted(made.epochs, "fix", "fixes"))?;
            if let (Some(first), Some(last)) = (row.windows.first(), row.windows.last()) {
                write!(text, " of {} to {} UTC", utc(first.0), Offset::UTC.to_datetime(last.1).time())?;
            }
            if made.occupations > 1 {
                write!(text, " in {} occupations", made.occupations)?;
            }
            write!(
                text,
                " ({}), {} set aside, spread {}",
                duration_words(made.duration_s),
                made.aside,
                length.said(made.spread_m, 2)
            )?;
        }
    }
    if let Some(kinds) = &row.quality.kinds {
        write!(text, "; {}", visible(kinds))?;
    }
    for (name, worst) in [("HDOP", row.quality.worst_hdop), ("PDOP", row.quality.worst_pdop)] {
        if let Some(worst) = worst {
            write!(text, "; worst {name} {worst:.1}")?;
        }
    }
    writeln!(text)
}

fn datum(text: &mut String, station: &BaseReport, length: &Shown) -> std::fmt::Result {
    let steps: Vec<String> = station
        .datum_steps
        .iter()
        .map(|step| {
            let accuracy = match step.accuracy_m {
                Some(metres) => format!("good to {}", length.with_sign(&length.given(metres))),
                None => "of no published accuracy".to_owned(),
            };
            let null = if step.null_within_accuracy { ", moves nothing" } else { "" };
            let passed = step.passed_over.as_ref().map(|better| format!(", in place of {better}")).unwrap_or_default();
            format!("{} to {} by {}, {accuracy}{null}{passed}", step.from, step.to, step.name)
        })
        .collect();
    if steps.is_empty() { Ok(()) } else { writeln!(text, "  datum   {}", steps.join("; ")) }
}

fn height(text: &mut String, base: &Base, placed: &Placed, length: &Shown) -> std::fmt::Result {
    if base.heights.kind == HeightKind::None {
        return writeln!(text, "  height  none is known: shots are mapped in the plane");
    }
    write!(text, "  height  ")?;
    let kinds = [("above the ellipsoid", placed.ellipsoid_height_m), ("above the geoid", placed.orthometric_height_m)];
    let known: Vec<String> =
        kinds.iter().filter_map(|(name, height)| height.map(|height| format!("{} {name}", length.said(height, 2)))).collect();
    write!(
        text,
        "{}; given as {}, standard error {}",
        known.join(", "),
        base.heights.kind.word(),
        length.said(base.covariance.uu.sqrt(), 2)
    )?;
    if let Some(undulation) = base.heights.undulation {
        let source = match undulation.source {
            UndulationSource::Grid => "the job's grid",
            UndulationSource::Log => "the receiver's own table",
            UndulationSource::Global => "the built-in model",
        };
        let sigma = length.said(undulation.sigma_m.unwrap_or(geoid::SIGMA_M), 2);
        write!(text, "; geoid {} by {source}, standard error {sigma}", length.signed(undulation.metres, 2))?;
    }
    writeln!(text)
}

fn north(text: &mut String, station: &BaseReport, angle: &Shown) -> std::fmt::Result {
    let (unit, shown) = (angle.word(), |rad: f64| angle.value(rad.to_degrees()));
    let mut parts: Vec<String> = station
        .declinations
        .iter()
        .map(|(date, declination)| {
            format!(
                "declination {:+.2} {unit} on {date} (standard error {:.2})",
                shown(declination.declination_rad),
                shown(declination.sigma_rad)
            )
        })
        .collect();
    if parts.len() > 3 {
        let rest = parts.len() - 2;
        parts.truncate(2);
        parts.push(format!("and {rest} days more"));
    }
    if let Some((declination_rad, sigma_rad)) = station.fixed_declination {
        let (declination, sigma) = (shown(declination_rad), shown(sigma_rad));
        parts.push(format!("declination {declination:+.2} {unit} by the job, for magnetic azimuths (standard error {sigma:.2})"));
    }
    if let Some(orientation) = station.orientation {
        let sights = match (station.base.adjusted, orientation.sights) {
            (true, 1) => "sight of the network",
            (true, _) => "sights of the network",
            (false, 1) => "backsight",
            (false, _) => "backsights",
        };
        parts.push(format!(
            "azimuths corrected by {:+.2} {unit} from {} {sights} (standard error {:.2})",
            shown(orientation.correction_rad),
            orientation.sights,
            shown(orientation.sigma_rad)
        ));
    }
    if let Some(grid) = station.base.grid {
        parts.push(format!("convergence {:+.2} {unit}", shown(grid.convergence_rad)));
    }
    if parts.is_empty() { Ok(()) } else { writeln!(text, "  north   {}", parts.join("; ")) }
}

fn utc(instant: Timestamp) -> String {
    let local = Offset::UTC.to_datetime(instant);
    format!("{} {}", local.date(), local.time())
}
