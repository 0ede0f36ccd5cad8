//! The program against values from outside: published tables, handbooks, and other libraries as judges.
//!
//! `tests/reference/` has the tables, each value with its source. A test counts the rows it checked,
//! so that none is lost in silence, and states how closely it holds the program to them.

use std::collections::HashMap;
use std::f64::consts::PI;

use standoff::inside::geodesy::crs::{Crs, OperationRules};
use standoff::inside::geodesy::frame::Geodetic;
use standoff::inside::geodesy::geoid::Geoids;
use standoff::inside::geodesy::height_frame::GeoidFrames;
use standoff::inside::records::base_row::{BaseRow, Coordinates, FixQuality, Height};
use standoff::inside::records::ledger::Flags;
use standoff::inside::records::triangle::Triangle;
use standoff::inside::shots::reduce::{Sight, SightSigmas, Vector, reduce};
use standoff::inside::stations::base::{BaseSettings, BaseTable};
use standoff::job::{Bases, Checks};

#[path = "reference_tests/declination.rs"]
mod declination;
#[path = "reference_tests/earth_centred.rs"]
mod earth_centred;
#[path = "reference_tests/epochs.rs"]
mod epochs;
#[path = "reference_tests/errors.rs"]
mod errors;
#[path = "reference_tests/files.rs"]
mod files;
#[path = "reference_tests/handbook.rs"]
mod handbook;
#[path = "reference_tests/level_shots.rs"]
mod level_shots;
#[path = "reference_tests/nmea.rs"]
mod nmea;
#[path = "reference_tests/projections.rs"]
mod projections;

/// A row of a table, by column name.
struct Row(HashMap<String, String>);

impl Row {
    fn text(&self, column: &str) -> &str {
        &self.0[column]
    }

    fn has(&self, column: &str) -> bool {
        !self.text(column).is_empty()
    }

    fn number(&self, column: &str) -> f64 {
        self.text(column).parse().unwrap_or_else(|_| panic!("{column} \"{}\"", self.text(column)))
    }

    /// Half of the last printed digit: what rounding took from the number.
    fn half_digit(&self, column: &str) -> f64 {
        let decimals = self.text(column).split_once('.').map_or(0, |(_, part)| part.len());
        0.5 * 0.1f64.powi(decimals as i32)
    }

    /// The number that follows some words in a text column.
    fn number_after(&self, column: &str, words: &str) -> f64 {
        let (_, rest) = self.text(column).split_once(words).unwrap_or_else(|| panic!("{words}: {}", self.text(column)));
        let number: String = rest.chars().take_while(|c| c.is_ascii_digit() || *c == '.').collect();
        number.parse().unwrap_or_else(|_| panic!("{words}: {}", self.text(column)))
    }
}

/// The rows of a table, which must be `count`.
fn table(name: &str, count: usize) -> Vec<Row> {
    let path = format!("{}/tests/reference/{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let rows: Vec<Row> = csv::Reader::from_path(path).unwrap().deserialize().map(|row| Row(row.unwrap())).collect();
    assert_eq!(rows.len(), count, "rows of {name}");
    assert!(rows.iter().all(|row| row.has("source")), "every value of {name} names its source");
    rows
}

fn geodetic(lat_deg: f64, lon_deg: f64, ellipsoid_height_m: f64) -> Geodetic {
    Geodetic { lat_rad: lat_deg.to_radians(), lon_rad: lon_deg.to_radians(), ellipsoid_height_m }
}

/// An angle in degrees brought into -180 ≤ angle < 180, to compare angles on the circle.
fn around_zero_deg(angle_deg: f64) -> f64 {
    (angle_deg + 180.0).rem_euclid(360.0) - 180.0
}

const NO_SIGMAS: SightSigmas = SightSigmas { azimuth_rad: 0.0, inclination_rad: 0.0, distance_m: 0.0 };

/// A sighting without errors, refraction, instrument or target height.
fn plain_shot(azimuth_deg: f64, triangle: Triangle) -> Vector {
    let sight = Sight {
        true_azimuth_rad: azimuth_deg.to_radians(),
        triangle,
        instrument_height_m: 0.0,
        target_height_m: 0.0,
        refraction: 0.0,
    };
    // No refraction, so that the radius of the earth does not matter.
    reduce(&sight, &NO_SIGMAS, f64::MAX)
}

/// Bases settled as the product does, from latitude, longitude and ellipsoidal height in WGS 84, for layers in `output`.
fn settled_bases(places: &[[f64; 3]], output: &Crs) -> BaseTable {
    let rows = places.iter().enumerate().map(|(i, [lat_deg, lon_deg, h])| BaseRow {
        name: format!("B{i}"),
        name_header: "base".to_owned(),
        file: 0,
        line: i as u64 + 2,
        raw: String::new(),
        coordinates: Coordinates::Geographic { lat_deg: *lat_deg, lon_deg: *lon_deg },
        height: Some(Height::Ellipsoid(*h)),
        crs: None,
        crs_value: None,
        sigma_horizontal_m: None,
        sigma_vertical_m: None,
        instrument_height_m: None,
        when: None,
        windows: Vec::new(),
        separation_m: None,
        coordinate_epoch: None,
        is_known: false,
        quality: FixQuality::default(),
        origins: Vec::new(),
        occupation: None,
        extras: Vec::new(),
        flags: Flags::default(),
    });
    let settings = BaseSettings {
        bases: &toml::from_str::<Bases>("files = []\ncrs = \"EPSG:4979\"").unwrap(),
        checks: &Checks::default(),
        output,
        grid: None,
        rules: OperationRules::default(),
        geoid: &Geoids::new(),
        known: None,
        geoid_frames: &GeoidFrames::default(),
        allow_outside_area: false,
        units: Default::default(),
    };
    let bases = BaseTable::settle(rows.collect(), Vec::new(), &settings).unwrap();
    assert_eq!((bases.bases.len(), bases.held.len()), (places.len(), 0));
    bases
}

/// A small generator with a fixed seed (xorshift64, G. Marsaglia 2003) and normal deviates (Box and Muller 1958).
struct Random(u64);

impl Random {
    /// 0 ≤ value < 1.
    fn unit(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A deviate of mean 0 and standard deviation 1.
    fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.unit()).ln()).sqrt() * (2.0 * PI * self.unit()).cos()
    }
}
