//! What every log of a kind must have, and the sentences that say what is missing and how to name it.

use super::LogLayout;
use crate::intake::cell::WhenError;
use crate::intake::columns::{LogKind, Quantity};

impl LogLayout {
    /// What every log of the kind must have.
    pub(super) fn require(&self) -> Result<(), String> {
        match self.kind {
            LogKind::Shots => self.require_of_shots(),
            LogKind::Occupations => self.require_of_occupations(),
            LogKind::Bases => self.require_of_bases(),
        }
    }

    fn has(&self, quantity: Quantity) -> bool {
        self.claim_of(quantity).is_some()
    }

    fn require_of_shots(&self) -> Result<(), String> {
        use Quantity::*;
        let has = |quantity| self.has(quantity);
        if !has(Base) && !has(Time) {
            return Err(self.missing(
                "no base is named, and there is no time to tell it",
                &["base", "station", "stn", "setup"],
                "base = \"…\"",
            ));
        }
        if has(Azimuth) != has(AzimuthNorth) {
            let claim = [Azimuth, AzimuthNorth].into_iter().find_map(|quantity| self.claims.get(quantity));
            return Err(format!(
                "\"{}\" is an azimuth whose north is not named; claim it as magnetic_azimuth_deg, true_azimuth_deg or \
                 grid_azimuth_deg (or _gon, _mil) under [{}.columns], or claim the column that says magnetic, true or grid in \
                 each row as azimuth_north",
                claim.map_or("", |claim| &claim.header),
                self.kind.table()
            ));
        }
        // Heights by angles need no azimuth.
        if !has(Measure) && ![MagneticAzimuth, TrueAzimuth, GridAzimuth, Azimuth].into_iter().any(has) {
            return Err(self.missing(
                "no column is claimed as an azimuth with its north and unit named",
                &["azimuth", "azi", "az", "bearing", "brg"],
                "magnetic_azimuth_deg, true_azimuth_deg or grid_azimuth_deg (or _gon, _mil) = \"…\"",
            ));
        }
        if ![SlopeDistance, HorizontalDistance].into_iter().any(has) {
            return Err(self.missing(
                "no column is claimed as a distance with its kind and unit named",
                &["distance", "dist", "sd", "hd", "range", "slope", "horizontal"],
                "slope_distance_m or horizontal_distance_m (or _ft, _usft, _yd) = \"…\"",
            ));
        }
        if has(Inclination) && has(Zenith) {
            return Err("both an inclination and a zenith angle are claimed; keep one".into());
        }
        if !has(Inclination) && !has(Zenith) && !has(VerticalDistance) && !has(HorizontalDistance) {
            return Err(self.missing(
                "a slope distance needs an inclination with its unit named",
                &["inclination", "inc", "tilt", "slope", "zenith", "vertical"],
                "inclination_deg, inclination_pct, zenith_deg or vertical_distance_m = \"…\"",
            ));
        }
        Ok(())
    }

    fn require_of_occupations(&self) -> Result<(), String> {
        use Quantity::*;
        let has = |quantity| self.has(quantity);
        if ![Base, Start, End].into_iter().all(has) {
            return Err(self.missing(
                "an occupation has a base, a start and an end",
                &["base", "point", "start", "begin", "from", "end", "stop", "to"],
                "base, start and end = \"…\"",
            ));
        }
        Ok(())
    }

    fn require_of_bases(&self) -> Result<(), String> {
        use Quantity::*;
        let has = |quantity| self.has(quantity);
        if !has(Base) && !has(Time) {
            return Err(self.missing(
                "no base is named, and there is no time to tell it",
                &["base", "point", "station", "name", "id"],
                "base = \"…\"",
            ));
        }
        if let (Some(claim), None) = (self.claim_of(Radius), self.sigma_of_radius) {
            return Err(format!(
                "\"{}\" is the radius of an accuracy, and which share of positions lies within it is not said; write radius_share = 0.68 \
                 (most phones), 0.95, 0.5 (circular error probable), 0.632 (drms) or 0.982 (2drms) under [{}]",
                claim.header,
                self.kind.table()
            ));
        }
        let geographic = has(Latitude) && has(Longitude);
        let projected = has(East) && has(North);
        if geographic == projected {
            let problem = if geographic {
                "both latitude, longitude and easting, northing are claimed; leave one pair out"
            } else {
                "no position is claimed"
            };
            return Err(self.missing(
                problem,
                &["lat", "lon", "latitude", "longitude", "easting", "northing", "x", "y", "east", "north"],
                "lat_deg and lon_deg, or east_m and north_m (or _ft, _usft) = \"…\"",
            ));
        }
        if has(EllipsoidHeight) && has(OrthometricHeight) {
            return Err("both an ellipsoidal and an orthometric height are claimed; keep the one that was measured".into());
        }
        let bare =
            self.extras.iter().find(|(_, header)| is_like(header, &["height", "elevation", "elev", "altitude", "alt", "z", "h"]));
        if let (Some((_, header)), false) = (bare, has(EllipsoidHeight) || has(OrthometricHeight)) {
            return Err(format!(
                "\"{header}\" looks like a height, but its kind is not named; write ellipsoid_height_m or \
                 orthometric_height_m (or _ft, _usft) = \"{header}\" under [bases.columns]"
            ));
        }
        Ok(())
    }

    /// A message that names the column that looks like what is missing.
    fn missing(&self, problem: &str, words: &[&str], remedy: &str) -> String {
        let table = self.kind.table();
        let alike: Vec<String> =
            self.extras.iter().filter(|(_, header)| is_like(header, words)).map(|(_, header)| format!("\"{header}\"")).collect();
        let seen = if alike.is_empty() {
            format!("the file has: {}", self.headers.join(", "))
        } else {
            format!("it may be {}", alike.join(" or "))
        };
        format!("{problem} ({seen}); write {remedy} under [{table}.columns]")
    }

    /// A time without a zone in the first row that has a time, and what to write.
    pub(super) fn lacking_zone(&self, text: &str) -> Option<String> {
        let claim = self.claims.get(Quantity::Time)?;
        if self.format.time_zone.is_some() || self.format.gps.is_some() {
            return None;
        }
        let lacks_zone = self.first_rows(text).find_map(|rows| {
            let row = rows.rows().first().copied()?;
            let time = self.text(Quantity::Time, &rows, &row)?.to_owned();
            let read = self.when(self.text(Quantity::Date, &rows, &row), Some(&time));
            match read {
                Err(WhenError::NoZone) => Some(Some(time)),
                // What cannot be read does not tell.
                Err(_) => None,
                Ok(_) => Some(None),
            }
        });
        let time = lacks_zone??;
        let table = self.kind.table();
        Some(format!(
            "\"{}\" has times without a zone, such as \"{time}\"; write time_zone = \"Europe/Oslo\" (or \"UTC\", \
             \"+02:00\": the clock the log was kept by) under [{table}]",
            claim.header
        ))
    }
}

/// Whether a header contains one of some words as a word of its own.
fn is_like(header: &str, words: &[&str]) -> bool {
    header.to_lowercase().split(|c: char| !c.is_alphanumeric()).any(|part| words.contains(&part))
}
