//! The published worked example of a check-point test, through the program.

use std::collections::BTreeMap;

use gdal::DriverManager;
use gdal::spatial_ref::SpatialRef;
use gdal::vector::{Feature, FieldDefn, Geometry, LayerAccess, LayerOptions, OGRFieldType, OGRwkbGeometryType};

use super::*;

/// Half of the printed digit of the residuals, and what the invented projection's scale and convergence take from 0.15 m over its 17 km:
/// (8.5 km / 6370 km)² / 2 is nothing, 0.11° · sin 47° turns by 1.4 mrad.
const PRINTED_M: f64 = 0.0005 + 0.15 * 0.0014;

/// No zone is told with the example: a transverse Mercator of scale 1 through its middle leaves metres on the ground.
const CRS: &str = "+proj=tmerc +lat_0=0 +lon_0=-100 +k=1 +x_0=443900 +y_0=0 +ellps=GRS80 +units=m +type=crs";

#[test]
fn the_worked_example_through_the_program() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/nssda.csv");
    let mut numbers: BTreeMap<(String, String), f64> = BTreeMap::new();
    for row in table(&path) {
        numbers.insert((row["point"].clone(), row["quantity"].clone()), row["value"].parse().unwrap());
    }
    assert_eq!(numbers.len(), 58);
    let folder = tempfile::tempdir().unwrap();
    standoff::inside::geodesy::crs::seclude_gdal();
    let mut dataset =
        DriverManager::get_driver_by_name("GPKG").unwrap().create_vector_only(folder.path().join("layer.gpkg")).unwrap();
    let mut checks = "name,east_m,north_m,orthometric_height_m\n".to_owned();
    {
        let reference = SpatialRef::from_definition(CRS).unwrap();
        let options = LayerOptions { name: "features", srs: Some(&reference), ty: OGRwkbGeometryType::wkbPoint, options: None };
        let layer = dataset.create_layer(options).unwrap();
        FieldDefn::new("feature", OGRFieldType::OFTString).unwrap().add_to_layer(&layer).unwrap();
        FieldDefn::new("orthometric_height_m", OGRFieldType::OFTReal).unwrap().add_to_layer(&layer).unwrap();
        for i in 1..=7 {
            let name = format!("CHK{i}");
            let of = |quantity: &str| numbers[&(name.clone(), quantity.to_owned())];
            let mut feature = Feature::new(layer.defn()).unwrap();
            let mut geometry = Geometry::empty(OGRwkbGeometryType::wkbPoint).unwrap();
            geometry.add_point_2d((of("measured_E"), of("measured_N")));
            feature.set_geometry(geometry).unwrap();
            feature.set_field_string(0, &name).unwrap();
            feature.set_field_double(1, of("measured_H")).unwrap();
            feature.create(&layer).unwrap();
            let [e, n, h] = ["E", "N", "H"].map(|axis| of(&format!("measured_{axis}")) - of(&format!("residual_{axis}")));
            writeln!(checks, "{name},{e:.3},{n:.3},{h:.3}").unwrap();
        }
    }
    dataset.close().unwrap();
    fs::write(folder.path().join("checks.csv"), checks).unwrap();
    let found = found(folder.path(), &[]);
    let want = |quantity: &str| numbers[&(String::new(), quantity.to_owned())];
    for (axis, letter) in [("east", "E"), ("north", "N"), ("up", "H")] {
        for (field, name) in [("mean_m", "mean"), ("rmse_m", "RMSE"), ("standard_deviation_m", "sample_std_dev")] {
            let (got, want) = (number(&found["errors"][axis][field]), want(&format!("{name}_{letter}")));
            assert!((got - want).abs() < PRINTED_M, "{axis} {field}: {got}, {want}");
        }
    }
    for (index, quantity) in [(0, "Accuracy_r_2.4477"), (2, "Accuracy_z_1.9600")] {
        let claim = &found["standards"][index];
        // 2.4477 times what the axes may be off by.
        assert!((number(&claim["value_m"]) - want(quantity)).abs() < 2.4477 * PRINTED_M, "{claim}");
        // Seven check points are no test by the standard.
        assert_eq!(claim["missing"][0], "it asks for at least 20 check points, and 7 were compared");
    }
}
