//! PROJ as the judge of the product's own look-up in geoid grids: both read the same file.

use super::raw::ProjObject;
use crate::geodesy::geoid::GeoidGrid;
use crate::geodesy::geoid::tests::Made;

#[test]
fn geoid_grids_agree_with_projs_grid_shift() {
    /// Both interpolate bilinearly between 4-byte numbers.
    const AGREEMENT_M: f64 = 1e-4;
    let folder = tempfile::tempdir().unwrap();
    let mut checked = 0;
    for (south, west) in [(44.0, 6.0), (-19.0, 178.5), (-1.0, 359.0), (63.0, -151.0)] {
        let made = Made { south, west, row_step: 0.25, column_step: 0.5, rows: 9, columns: 7 };
        // Rough, so that neighbours cannot be taken for one another.
        let bytes = made.gtx(|row, column| 50.0 * (row as f64 * 1.7 + 2.0).sin() * (column as f64 * 2.3 + 1.0).cos());
        let path = folder.path().join(format!("{south}_{west}.gtx"));
        std::fs::write(&path, bytes).unwrap();
        let grid = GeoidGrid::open(&path, None).unwrap();
        let mut judge = ProjObject::new(&format!("+proj=vgridshift +grids={} +multiplier=1", path.display())).unwrap();
        for up in 0..40 {
            for right in 0..60 {
                let (lat_deg, lon_deg) = (south + 0.01 + 0.0493 * f64::from(up), west + 0.01 + 0.0497 * f64::from(right));
                let lon_deg = (lon_deg + 180.0).rem_euclid(360.0) - 180.0;
                let mut point = [[lon_deg.to_radians(), lat_deg.to_radians(), 0.0]];
                judge.transform(&mut point, &[]);
                let got = grid.undulation_m(lat_deg, lon_deg).unwrap();
                assert!((got - point[0][2]).abs() < AGREEMENT_M, "{lat_deg} {lon_deg}: {got}, PROJ {}", point[0][2]);
                checked += 1;
            }
        }
    }
    assert_eq!(checked, 4 * 40 * 60);
}
