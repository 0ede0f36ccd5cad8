//! The worked example of a check-point test in `tests/reference/nssda.csv`, against the figures that it prints and those that were
//! computed from it with another library.

use std::collections::BTreeMap;

use super::moments::ErrorMoments;
use super::nssda;

/// Half of the last printed digit of the standard deviations, in metres.
const PRINTED_M: f64 = 0.0005;
/// Half of the last digit of the computed values, in metres.
const COMPUTED_M: f64 = 0.5e-9;
/// Rows of the file that are read here; fewer would mean that the file was cut.
const ROWS: usize = 58;

type FigureTable = BTreeMap<(String, String), f64>;

/// The table by point and quantity, and its number of rows.
fn published_values() -> (FigureTable, usize) {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/nssda.csv");
    let mut rows = 0;
    let mut table = FigureTable::new();
    for row in csv::Reader::from_path(path).unwrap().records() {
        let row = row.unwrap();
        rows += 1;
        table.insert((row[1].to_owned(), row[2].to_owned()), row[3].parse().unwrap());
    }
    (table, rows)
}

#[test]
fn the_worked_example_of_2014() {
    let (table, rows) = published_values();
    assert_eq!(rows, ROWS);
    let residual = |point: usize, axis: &str| table[&(format!("CHK{point}"), format!("residual_{axis}"))];
    let horizontal: Vec<[f64; 2]> = (1..=7).map(|point| [residual(point, "E"), residual(point, "N")]).collect();
    let up: Vec<f64> = (1..=7).map(|point| residual(point, "H")).collect();
    let errors = ErrorMoments::from_errors(&horizontal, &up).unwrap();
    let want = |quantity: &str| table[&(String::new(), quantity.to_owned())];
    let mut compared = 0;
    for (axis, moments) in [("E", errors.east), ("N", errors.north), ("H", errors.up.unwrap())] {
        for (got, name, within) in [
            (moments.standard_deviation_m.unwrap(), "sample_std_dev", PRINTED_M),
            (moments.mean_m, "mean", COMPUTED_M),
            (moments.rmse_m, "RMSE", COMPUTED_M),
        ] {
            let want = want(&format!("{name}_{axis}"));
            assert!((got - want).abs() <= within, "{name}_{axis}: {got}, {want}");
            compared += 1;
        }
    }
    let horizontal = nssda::horizontal(errors.east.rmse_m, errors.north.rmse_m);
    assert_eq!(horizontal.form, nssda::Form::NearlyEqualAxes);
    for (got, name) in [
        (errors.radial.rmse_m, "RMSE_r"),
        (horizontal.accuracy95_m, "Accuracy_r_2.4477"),
        (nssda::vertical95_m(errors.up.unwrap().rmse_m), "Accuracy_z_1.9600"),
    ] {
        assert!((got - want(name)).abs() <= COMPUTED_M, "{name}: {got}, {}", want(name));
        compared += 1;
    }
    // The note of the row gives the ratio.
    assert!((horizontal.axes_ratio - 0.8906).abs() < 0.5e-4);
    // Equal axes of the same radial error.
    let axis = errors.radial.rmse_m / 2f64.sqrt();
    assert!((nssda::horizontal(axis, axis).accuracy95_m - want("Accuracy_r_1.7308")).abs() <= COMPUTED_M);
    assert_eq!(compared, 12);
}
