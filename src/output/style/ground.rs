//! What is measured in metres drawn to the scale of the map, whatever CRS the map has: as a shape on the ground, which the program brings to the map.

/// A projected CRS in which a metre on the ground is known.
#[derive(Debug, Clone, PartialEq)]
pub struct Ground {
    /// Length of a unit of its coordinates in metres.
    pub metres_a_unit: f64,
    /// Its authority and code, as `EPSG:32630`; none where it has none, and layers are taken to be in it.
    pub authority: Option<String>,
}

/// A step to the north that a direction is taken by, in degrees: a metre, which neither curves nor is lost in the digits.
const NORTHWARDS_DEG: f64 = 1e-5;

impl Ground {
    /// An ellipse about a point as an expression of QGIS, in the CRS of the point's layer: from its semi-axes in metres and the azimuth of the
    /// major one in degrees from true north, which are expressions too.
    pub fn ellipse(&self, [major, minor, azimuth]: [&str; 3]) -> String {
        let units = 1.0 / self.metres_a_unit;
        let axes = format!("({major}) * {units}, ({minor}) * {units}");
        let Some(crs) = &self.authority else { return format!("make_ellipse($geometry, {axes}, {azimuth})") };
        let here = format!("transform($geometry, @own, '{crs}')");
        let north =
            format!("transform(translate(transform($geometry, @own, 'EPSG:4326'), 0, {NORTHWARDS_DEG}), 'EPSG:4326', '{crs}')");
        // The direction of true north in the grid; on a pole there is none.
        let turned = format!("({azimuth}) + coalesce(try(degrees(azimuth({here}, {north}))), 0)");
        let shape = format!("transform(make_ellipse({here}, {axes}, {turned}), '{crs}', @own)");
        // A layer whose CRS is told in words alone, as beside delimited text, is in this one.
        format!("with_variable('own', coalesce(nullif(@layer_crs, ''), '{crs}'), {shape})")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_ellipse_without_a_code_is_in_units_of_the_layers() {
        let feet = Ground { metres_a_unit: 0.5, authority: None };
        assert_eq!(feet.ellipse(["\"a\"", "\"b\"", "\"c\""]), "make_ellipse($geometry, (\"a\") * 2, (\"b\") * 2, \"c\")");
    }

    /// It is made on the ground, is turned by the direction of true north there, and comes back to the layer.
    #[test]
    fn an_ellipse_by_a_code_goes_there_and_back() {
        let feet = Ground { metres_a_unit: 0.5, authority: Some("EPSG:6543".into()) };
        assert_eq!(
            feet.ellipse(["a * 0.3", "b", "c"]),
            "with_variable('own', coalesce(nullif(@layer_crs, ''), 'EPSG:6543'), transform(make_ellipse(transform($geometry, @own, \
             'EPSG:6543'), (a * 0.3) * 2, (b) * 2, (c) + coalesce(try(degrees(azimuth(transform($geometry, @own, 'EPSG:6543'), \
             transform(translate(transform($geometry, @own, 'EPSG:4326'), 0, 0.00001), 'EPSG:4326', 'EPSG:6543')))), 0)), 'EPSG:6543', @own))"
        );
    }
}
