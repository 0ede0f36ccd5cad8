//! What every log of a kind must have, and the sentences that say what is missing and how to name it.

use super::LogLayout;
use super::error::{Alike, LayoutError, NoZone};
use crate::intake::cell::WhenError;
use crate::intake::columns::{LogKind, Quantity};

impl LogLayout {
    /// What every log of the kind must have.
    pub(super) fn require(&self) -> Result<(), LayoutError> {
        match self.kind {
            LogKind::Shots => self.require_of_shots(),
            LogKind::Occupations => self.require_of_occupations(),
            LogKind::Bases => self.require_of_bases(),
        }
    }

    fn has(&self, quantity: Quantity) -> bool {
        self.claim_of(quantity).is_some()
    }

    fn require_of_shots(&self) -> Result<(), LayoutError> {
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
            let header = claim.map(|claim| claim.header.clone()).unwrap_or_default();
            return Err(LayoutError::NorthNotNamed { header, table: self.kind.table() });
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
            return Err(LayoutError::TwoInclinations);
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

    fn require_of_occupations(&self) -> Result<(), LayoutError> {
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

    fn require_of_bases(&self) -> Result<(), LayoutError> {
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
            return Err(LayoutError::ShareNotNamed { header: claim.header.clone(), table: self.kind.table() });
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
            return Err(LayoutError::TwoHeights);
        }
        let bare =
            self.extras.iter().find(|(_, header)| is_like(header, &["height", "elevation", "elev", "altitude", "alt", "z", "h"]));
        if let (Some((_, header)), false) = (bare, has(EllipsoidHeight) || has(OrthometricHeight)) {
            return Err(LayoutError::HeightNotNamed(header.clone()));
        }
        Ok(())
    }

    /// Names the columns that look like what is missing.
    fn missing(&self, what: &'static str, words: &[&str], remedy: &'static str) -> LayoutError {
        let alike = self.extras.iter().map(|(_, header)| header).filter(|header| is_like(header, words));
        let alike: Vec<String> = alike.cloned().collect();
        let alike = if alike.is_empty() { Alike::NoneOf(self.headers.clone()) } else { Alike::Some(alike) };
        LayoutError::Missing { what, alike, remedy, table: self.kind.table() }
    }

    /// A time without a zone in the first row that has a time.
    pub(super) fn lacking_zone(&self, text: &str) -> Option<NoZone> {
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
        Some(NoZone { header: claim.header.clone(), time, table: self.kind.table() })
    }
}

/// Whether a header contains one of some words as a word of its own.
fn is_like(header: &str, words: &[&str]) -> bool {
    header.to_lowercase().split(|c: char| !c.is_alphanumeric()).any(|part| words.contains(&part))
}
