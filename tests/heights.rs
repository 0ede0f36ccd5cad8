//! Heights, run through the program: which geoid goes before which, what a receiver took off, CRSs of
//! the layers with a vertical part and its units, and the height of the instrument. All places and
//! values are invented.

use crate::common;
use crate::support;

mod frames;
mod geoids;
mod instrument;
mod page;
mod vertical;

use std::collections::BTreeMap;

use common::{Field, HEAD};

/// Metres are written to four decimals.
pub const WRITTEN_M: f64 = 0.000_06;

/// A line of the job's last table, `[heights]`, or of tables behind it.
pub fn heights(mut field: Field, lines: &str) -> Field {
    field.job += &format!("{lines}\n");
    field
}

/// A field with a base log of its own and a level shot of 100 m eastwards from each base.
pub fn field(bases: &str, names: &[&str]) -> Field {
    let shots: String = names.iter().map(|name| format!("{name},1,2026-05-04T08:00:01Z,90,0,100,x\n")).collect();
    let field = Field::new(HEAD.to_owned() + &shots);
    field.write("bases.csv", bases);
    field
}

/// A number of a record; null is NaN.
pub fn number(record: &BTreeMap<String, String>, field: &str) -> f64 {
    if record[field].is_empty() { f64::NAN } else { record[field].parse().unwrap() }
}

/// Asserts that a number is what it should be as far as it is written.
#[track_caller]
pub fn assert_written(got: f64, want: f64) {
    assert!((got - want).abs() < WRITTEN_M, "{got}, not {want}");
}

/// A GTX file by its published layout: south, west, steps, rows, columns, then 4-byte numbers by rows
/// from the south, everything big-endian.
pub fn gtx([south, west]: [f64; 2], step: f64, rows: i32, columns: i32, value: impl Fn(f64, f64) -> f64) -> Vec<u8> {
    let mut bytes: Vec<u8> = [south, west, step, step].into_iter().flat_map(f64::to_be_bytes).collect();
    bytes.extend([rows, columns].into_iter().flat_map(i32::to_be_bytes));
    for row in 0..rows {
        for column in 0..columns {
            let metres = value(south + f64::from(row) * step, west + f64::from(column) * step);
            bytes.extend((metres as f32).to_be_bytes());
        }
    }
    bytes
}
