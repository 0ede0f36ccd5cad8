//! What is measured in metres drawn to the scale of the map, whatever CRS the map has: Web Mercator is stretched by 1 / cos φ, and a map in
//! longitudes and latitudes has degrees for units.

/// A projected CRS in which a metre on the ground is known.
#[derive(Debug, Clone, PartialEq)]
pub struct Ground {
    /// Length of a unit of its coordinates in metres.
    pub metres_a_unit: f64,
    /// Its authority and code, as `EPSG:32630`; none where it has none, and maps are taken to be in it.
    pub authority: Option<String>,
}

impl Ground {
    /// How many units of the map a metre has, as an expression of QGIS that is found once for a map: at its middle, a metre to the north in this
    /// CRS, brought to that of the map. Exact where the map is in this CRS or in another conformal one.
    pub fn map_units_a_metre(&self) -> String {
        let metre = 1.0 / self.metres_a_unit;
        let Some(crs) = &self.authority else { return metre.to_string() };
        let here = format!("transform(@map_extent_center, @map_crs, '{crs}')");
        let north = format!("transform(translate({here}, 0, {metre}), '{crs}', @map_crs)");
        // Without a map, as in a legend, there is no middle.
        format!("coalesce(try(distance(@map_extent_center, {north})), {metre})")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_metre_without_a_code_is_that_of_the_layers() {
        let feet = Ground { metres_a_unit: 0.3048, authority: None };
        let units: f64 = feet.map_units_a_metre().parse().unwrap();
        assert!((units - 3.280_839_895).abs() < 1e-9);
    }

    /// The metre to the north is in units of the CRS, and so is what stands in where there is no map.
    #[test]
    fn a_metre_by_a_code_goes_there_and_back() {
        let feet = Ground { metres_a_unit: 0.5, authority: Some("EPSG:6543".into()) };
        assert_eq!(
            feet.map_units_a_metre(),
            "coalesce(try(distance(@map_extent_center, transform(translate(transform(@map_extent_center, @map_crs, 'EPSG:6543'), \
             0, 2), 'EPSG:6543', @map_crs))), 2)"
        );
    }
}
