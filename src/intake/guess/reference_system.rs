//! Guesses at the CRS of the layers and at that of the bases.

use super::ask::Draft;
use super::sample::Whole;
use super::{GuessedLog, quoted};
use crate::intake::columns::LogKind;
use crate::job::UNDECIDED;
use crate::numeric::signs::Signs;
use crate::units::{Hemispheres, parse_angle_deg};

pub(super) fn head(draft: &mut Draft, logs: &[GuessedLog]) {
    draft.push(format!(
        "# A starter job. Read every line, put the answer in place of each {UNDECIDED}, then: standoff check job.toml"
    ));
    draft.push("");
    draft.push("title = \"\"");
    draft.push("name  = \"job\"                # files are named after it");
    let bases: Vec<&GuessedLog> = logs.iter().filter(|log| log.sample.kind == LogKind::Bases).collect();
    if bases.is_empty() {
        draft.push("# No log of bases was named: what the rows of one stand give together is computed, and nothing has a place.");
        return;
    }
    match centre(&bases) {
        Some((lon, lat)) => {
            let zone = utm_zone(lon, lat);
            let code = if lat < 0.0 { 32700 + zone } else { 32600 + zone };
            let letter = if lat < 0.0 { 'S' } else { 'N' };
            draft.push(format!(
                "crs   = \"EPSG:{code}\"         # CRS of the layers: the UTM zone of the bases ({zone}{letter}, WGS 84); put another that you want"
            ));
        }
        // A layer of points has its CRS in itself, and no line of the job has one that the layers could take.
        None if bases.iter().all(|log| log.sample.whole.is_none()) => {
            draft.push("# The layers are in the CRS of the bases; for another one: crs = \"EPSG:…\"");
        }
        None => {
            draft.push(format!("crs   = {}                 # CRS of the layers, such as \"EPSG:32630\"", quoted(UNDECIDED)));
            draft.ask("In which CRS shall the layers be?", "an EPSG code such as EPSG:32630", &[], false);
        }
    }
}

/// The mean longitude and latitude of all points that are given in degrees. Longitudes are counted from that of the first point, so that the
/// mean of points on both sides of 180° lies among them.
pub(super) fn centre(bases: &[&GuessedLog]) -> Option<(f64, f64)> {
    let mut sums = (0.0, 0.0, 0.0);
    let mut first = None;
    let mut add = |lon: f64, lat: f64| {
        if lat.abs() <= 84.0 && lon.abs() <= 180.0 {
            let beyond = turned_deg(lon - *first.get_or_insert(lon));
            sums = (sums.0 + beyond, sums.1 + lat, sums.2 + 1.0);
        }
    };
    for log in bases {
        log.sample.places.iter().for_each(|(lon, lat)| add(*lon, *lat));
        let (Some(lat), Some(lon)) = (log.column_of("lat_deg"), log.column_of("lon_deg")) else { continue };
        let (of_lat, of_lon) = (log.sample.signs(lat), log.sample.signs(lon));
        let read = |signs: Signs, cell: &str, letters| {
            signs.number(cell).or_else(|| parse_angle_deg(&cell.replace(',', "."), letters).ok())
        };
        for row in &log.sample.rows {
            let lat = read(of_lat, &row[lat], Hemispheres::Latitude);
            let lon = read(of_lon, &row[lon], Hemispheres::Longitude);
            if let (Some(lat), Some(lon)) = (lat, lon) {
                add(lon, lat);
            }
        }
    }
    first.map(|first| (turned_deg(first + sums.0 / sums.2), sums.1 / sums.2))
}

/// An angle in degrees from -180 to 180.
fn turned_deg(angle_deg: f64) -> f64 {
    if angle_deg.abs() <= 180.0 { angle_deg } else { (angle_deg + 180.0).rem_euclid(360.0) - 180.0 }
}

/// The UTM zone of a place, with the exceptions of western Norway and Svalbard (NGA.SIG.0012, section 3).
pub(super) fn utm_zone(lon_deg: f64, lat_deg: f64) -> i32 {
    if (56.0..64.0).contains(&lat_deg) && (3.0..12.0).contains(&lon_deg) {
        return 32;
    }
    if lat_deg >= 72.0 && (0.0..42.0).contains(&lon_deg) {
        return match lon_deg {
            _ if lon_deg < 9.0 => 31,
            _ if lon_deg < 21.0 => 33,
            _ if lon_deg < 33.0 => 35,
            _ => 37,
        };
    }
    ((lon_deg + 180.0) / 6.0).floor().clamp(0.0, 59.0) as i32 + 1
}

pub(super) fn crs_of_bases(draft: &mut Draft, logs: &[&GuessedLog]) {
    if logs.iter().all(|log| log.sample.whole == Some(Whole::Layer)) {
        return;
    }
    let receiver = logs.iter().any(|log| matches!(log.sample.whole, Some(Whole::Gpx(_) | Whole::Kml | Whole::Receiver)));
    let geographic = receiver || logs.iter().any(|log| log.has("lat_deg"));
    let exact = logs.iter().any(|log| log.has("sigma_horizontal"));
    let line = format!("crs = {}                   ", quoted(UNDECIDED));
    if geographic && !exact {
        let why = if receiver {
            "GPX, KML and a receiver's sentences are on WGS 84"
        } else {
            "WGS 84, as phones and handhelds have it; put another datum where the receiver was set to one"
        };
        draft.push(format!("crs = \"EPSG:4979\"              # {why}"));
    } else if geographic {
        draft.push(format!("{line}# datum of the latitudes and longitudes: \"EPSG:4979\" for WGS 84 with ellipsoidal heights"));
        draft.ask(
            "On which datum are the latitudes and longitudes?",
            "the positions are exact, so that the datum counts: EPSG:4979 (WGS 84), EPSG:4937 (ETRS89), EPSG:6319 (NAD83 (2011)), …",
            &[],
            false,
        );
    } else {
        draft.push(format!("{line}# the CRS that the receiver's coordinates are in, such as \"EPSG:32630\""));
        draft.ask(
            "In which CRS are the bases' coordinates?",
            "an EPSG code; crs = \"local\" for coordinates from a zero of your own",
            &[],
            false,
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Zones by NGA.SIG.0012 (2014), section 3: 6 degrees each from 180° W, but for 32V and Svalbard.
    #[test]
    fn utm_zones() {
        for (lon, lat, zone) in [
            (-84.9, 34.3, 16),
            (-53.0, 48.6, 22),
            (8.6, 60.8, 32),
            (5.3, 60.4, 32),
            (2.0, 60.4, 31),
            (15.6, 78.2, 33),
            (180.0, 0.0, 60),
        ] {
            assert_eq!(utm_zone(lon, lat), zone, "{lon} {lat}");
        }
    }
}
