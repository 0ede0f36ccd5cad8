//! What a data set says of itself, wherever a format has a place for it: title, datum, kind of height, how sure it is, and how it
//! came about. Sentences here, documents by published standards beside it.
//!
//! | file | subject |
//! | --- | --- |
//! | `sure` | the sentence on accuracy, from the records of a layer as they leave |
//! | `iso` | ISO 19115:2003 as XML by ISO/TS 19139:2007, for the GeoPackage |
//! | `csdgm` | the Content Standard for Digital Geospatial Metadata (FGDC-STD-001-1998), for the Shapefile |
//! | `package` | Data Package (Frictionless Data, version 1), for the folder of delimited text |
//!
//! Nothing is told here that the summary does not tell: it is made from the account as it leaves.

pub mod csdgm;
pub mod iso;
pub mod package;
mod sure;

use jiff::Timestamp;

use crate::intake::log::InputFile;
use crate::numeric::words::{counted, grouped};
use crate::output::columns::{Batch, Column, Layer};
use crate::output::contract::{Account, Setup};
use crate::output::report::summary::CAUTION;
pub use sure::{HowSure, Sure};

/// What is known before the first record.
#[derive(Debug, Clone, Default)]
pub struct Subject {
    /// Name of the job.
    pub name: String,
    /// Its title, else its name.
    pub title: String,
    /// Its authority and code.
    pub id: Option<(String, String)>,
}

impl Subject {
    /// Of a run.
    pub fn from_setup(setup: &Setup) -> Subject {
        Subject {
            name: setup.job.name.clone(),
            title: setup.job.title.clone().unwrap_or_else(|| setup.job.name.clone()),
            id: setup.crs.id().map(|(authority, code)| (authority.to_owned(), code.to_owned())),
        }
    }
}

/// Westernmost and easternmost longitudes, least and greatest latitudes of the points, as far as their fields tell them.
#[derive(Debug, Clone, Default)]
pub struct Whereabouts {
    /// Least longitude and latitude, greatest longitude and latitude.
    bounds_deg: Option<[f64; 4]>,
    /// Least and greatest longitude counted from 0 to 360 degrees.
    eastward_deg: Option<[f64; 2]>,
}

impl Whereabouts {
    /// Looks at records of a layer.
    pub fn see(&mut self, layer: &Layer, batch: &Batch) {
        let reals = |name: &str| {
            let at = layer.fields.iter().position(|field| field.name == name)?;
            if let Column::Real(values) = &batch.columns[at] { Some(values) } else { None }
        };
        let (Some(lats), Some(lons)) = (reals("lat_deg"), reals("lon_deg")) else { return };
        for (lat, lon) in lats.iter().zip(lons).filter(|(lat, lon)| lat.is_finite() && lon.is_finite()) {
            self.take(*lat, *lon);
        }
    }

    fn take(&mut self, lat: f64, lon: f64) {
        let [west, south, east, north] = self.bounds_deg.get_or_insert([lon, lat, lon, lat]);
        (*west, *south) = (west.min(lon), south.min(lat));
        (*east, *north) = (east.max(lon), north.max(lat));
        let turned = lon.rem_euclid(360.0);
        let [least, greatest] = self.eastward_deg.get_or_insert([turned, turned]);
        (*least, *greatest) = (least.min(turned), greatest.max(turned));
    }

    /// Westernmost longitude, least latitude, easternmost longitude, greatest latitude in degrees; none where no field tells them. Points on
    /// both sides of the 180th meridian have a western bound that is greater than the eastern one.
    pub fn bounds_deg(&self) -> Option<[f64; 4]> {
        let ([west, south, east, north], [least, greatest]) = self.bounds_deg.zip(self.eastward_deg)?;
        let is_across = greatest - least < east - west;
        let signed = |turned: f64| if turned > 180.0 { turned - 360.0 } else { turned };
        Some(if is_across { [signed(least), south, signed(greatest), north] } else { [west, south, east, north] })
    }
}

/// What is known when the last record is written.
pub struct Metadata<'m> {
    /// What it is of.
    pub subject: &'m Subject,
    /// What became of the rows, as the output tells it.
    pub account: &'m Account,
    /// The latest time in the data.
    pub dated: Timestamp,
    /// How sure each layer is, in the order of the layers.
    pub sure: &'m [HowSure],
    /// How sure the points of all layers are.
    pub all_sure: HowSure,
    /// Westernmost longitude, least latitude, easternmost longitude, greatest latitude in degrees; none where they are not told.
    pub bounds_deg: Option<[f64; 4]>,
}

impl Metadata<'_> {
    /// The day of the data.
    pub fn day(&self) -> String {
        jiff::tz::Offset::UTC.to_datetime(self.dated).date().to_string()
    }

    /// What a layer says of itself: what it holds, on which datum, with which heights, how sure, and from what.
    pub fn of_layer(&self, index: usize, layer: &Layer) -> String {
        let mut text = format!("{}. {}", layer.title, layer.description);
        if layer.geometry != crate::job::catalogue::GeometryKind::None {
            text += &format!(" {}", self.reference());
        }
        if let Some(sentence) = self.sure[index].sentence() {
            text += &format!(" {sentence}");
        }
        format!("{text} {}", self.lineage())
    }

    /// On which datum, with which heights.
    pub fn reference(&self) -> String {
        format!("Coordinates: {}. Heights: {}.", self.account.crs, self.account.third)
    }

    /// What it is, in a paragraph.
    pub fn summary(&self) -> String {
        let (shots, bases) = (&self.account.shots, self.account.bases_used + self.account.bases_placed);
        format!(
            "Features measured from {} with a laser rangefinder: {} of {} mapped, {} held with a reason. {} {CAUTION}",
            counted(bases, "GNSS base", "GNSS bases"),
            grouped(shots.mapped),
            counted(shots.read, "shot", "shots"),
            grouped(shots.held_total()),
            self.reference()
        )
    }

    /// How it came about, in a sentence.
    pub fn lineage(&self) -> String {
        let logs = |is_bases: bool| self.account.files.iter().filter(|file| file.is_bases == is_bases).count();
        let many = |count: usize, of: &str| format!("{} of {of}", counted(count as u64, "log", "logs"));
        format!(
            "Computed by standoff {} from {} and {}.",
            env!("CARGO_PKG_VERSION"),
            many(logs(true), "bases"),
            many(logs(false), "shots")
        )
    }

    /// The input files.
    pub fn inputs(&self) -> &[InputFile] {
        &self.account.files
    }

    /// How it came about, step by step.
    pub fn steps(&self) -> Vec<String> {
        let account = self.account;
        let mut steps = Vec::new();
        for file in &account.files {
            steps.push(format!(
                "Read {} ({} of {}): {}, {} held with a reason each.",
                file.name,
                if file.is_bases { "bases" } else { "shots" },
                file.kind,
                counted(file.counts.read, "row", "rows"),
                grouped(file.counts.held_total())
            ));
        }
        for used in &account.operations {
            let operation = &used.operation;
            let accuracy = match operation.accuracy_m {
                Some(0.0) => "exact".to_owned(),
                Some(metres) => format!("published accuracy {metres} m"),
                None => "no published accuracy".to_owned(),
            };
            steps.push(format!("Transformed from {} to {}: {} ({accuracy}).", operation.from, operation.to, operation.name));
        }
        for geoid in &account.geoids {
            steps.push(format!("Joined the kinds of height by the geoid {} (standard error {} m).", geoid.name, geoid.sigma_m));
        }
        if !account.magnetic_models.is_empty() {
            let models = account.magnetic_models.join(", ");
            steps.push(format!("Turned magnetic azimuths into true ones by {models}, each for the place and date of its shot."));
        }
        steps.push(
            "Reduced each shot to a vector with its covariance, carried it from its base in earth-centred coordinates and projected it; \
             shots of one feature were tested against each other and averaged."
                .to_owned(),
        );
        if account.network.is_some() {
            steps.push("Adjusted shots that check each other by least squares, with tests for blunders.".to_owned());
        }
        steps.extend(account.notes.iter().cloned());
        steps
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bounds of points by their longitudes, on the equator.
    fn bounds(lons: &[f64]) -> Option<[f64; 4]> {
        let mut whereabouts = Whereabouts::default();
        lons.iter().for_each(|lon| whereabouts.take(0.0, *lon));
        whereabouts.bounds_deg()
    }

    /// RFC 7946, 5.2: a box across the 180th meridian has a western longitude that is greater than the eastern one.
    #[test]
    fn bounds_across_the_180th_meridian_begin_in_the_east() {
        assert_eq!(bounds(&[179.5, -179.75, 179.9]), Some([179.5, 0.0, -179.75, 0.0]));
        assert_eq!(bounds(&[-0.5, 0.25]), Some([-0.5, 0.0, 0.25, 0.0]));
        assert_eq!(bounds(&[10.0, 12.0]), Some([10.0, 0.0, 12.0, 0.0]));
        assert_eq!(bounds(&[-80.0, -79.0]), Some([-80.0, 0.0, -79.0, 0.0]));
        assert_eq!(bounds(&[]), None);
    }
}
