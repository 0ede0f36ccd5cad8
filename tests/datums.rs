//! Datums, run through the program: positions that move with time, datums that are taken as one and what
//! that costs, and positions where the CRS of the layers is not meant for.

use crate::common;

mod accuracy;
mod area;
mod epochs;
mod places;

use std::collections::BTreeMap;

use common::{Field, HEAD};

/// A field in other CRSs with a level shot of 100 m eastwards from each base; `bases` are its rows.
pub fn field(bases_crs: &str, crs: &str, bases: &[(&str, f64, f64, f64)]) -> Field {
    let mut log = "base,lat_deg,lon_deg,ellipsoid_height_m\n".to_owned();
    let mut shots = HEAD.to_owned();
    for (name, lat_deg, lon_deg, height_m) in bases {
        log += &format!("{name},{lat_deg},{lon_deg},{height_m}\n");
        shots += &format!("{name},{name}1,2026-05-04T08:00:01Z,90,0,100,x\n");
    }
    let mut field = Field::new(shots);
    field.write("bases.csv", log);
    field.job = field.job.replace("EPSG:32632", crs).replace("EPSG:4979", bases_crs);
    field
}

/// A number of a record.
pub fn number(record: &BTreeMap<String, String>, field: &str) -> f64 {
    record[field].parse().unwrap_or_else(|_| panic!("{field} is \"{}\"", record[field]))
}
