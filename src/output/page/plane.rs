//! The plane that maps are drawn on: the layers' own CRS, moved to a round origin nearby and in metres.
//!
//! Degrees of a geographic CRS become metres on a sphere by the latitude of the middle (plate carrée), which is a drawing
//! and no projection: nothing is measured on it.

/// Metres in a degree of a meridian on a sphere of the earth's mean radius.
const DEGREE_M: f64 = 111_195.0;
/// Metres that the smallest map shows.
const LEAST_SIDE_M: f64 = 8.0;

/// From the CRS of the layers to the plane and back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MapPlane {
    /// What is taken off, in the unit of the CRS.
    pub origin: [f64; 2],
    /// Metres in the unit along each axis.
    pub unit_m: [f64; 2],
    /// Whether the CRS has degrees.
    pub degrees: bool,
    /// West, south, east, north of what is drawn, in metres on the plane, with some room around.
    pub bounds: [f64; 4],
}

impl MapPlane {
    /// The plane of a map of these bounds.
    pub fn new(bounds: Option<[f64; 4]>, projected: bool, unit_m: f64) -> MapPlane {
        let [west, south, east, north] = bounds.unwrap_or([0.0; 4]);
        let middle = [(west + east) / 2.0, (south + north) / 2.0];
        let (origin, unit_m) = match projected {
            true => (middle.map(|value| (value / 100.0).round() * 100.0), [unit_m; 2]),
            false => {
                let origin = middle.map(|value| (value * 1000.0).round() / 1000.0);
                (origin, [DEGREE_M * middle[1].to_radians().cos().max(0.01), DEGREE_M])
            }
        };
        let mut plane = MapPlane { origin, unit_m, degrees: !projected, bounds: [0.0; 4] };
        let ([w, s], [e, n]) = (plane.at([west, south]), plane.at([east, north]));
        let room = 0.06 * (e - w).max(n - s).max(LEAST_SIDE_M);
        let wide = |least: f64, most: f64| {
            let (middle, half) = ((least + most) / 2.0, ((most - least) / 2.0 + room).max(LEAST_SIDE_M / 2.0));
            [middle - half, middle + half]
        };
        let ([w, e], [s, n]) = (wide(w, e), wide(s, n));
        plane.bounds = [w, s, e, n];
        plane
    }

    /// A place on the plane, metres east and north of its origin.
    pub fn at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [(x - self.origin[0]) * self.unit_m[0], (y - self.origin[1]) * self.unit_m[1]]
    }

    /// A place of the plane in the CRS of the layers.
    pub fn back(&self, [e, n]: [f64; 2]) -> [f64; 2] {
        [e / self.unit_m[0] + self.origin[0], n / self.unit_m[1] + self.origin[1]]
    }

    /// Width and height in metres.
    pub fn size_m(&self) -> [f64; 2] {
        [self.bounds[2] - self.bounds[0], self.bounds[3] - self.bounds[1]]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back() {
        let plane = MapPlane::new(Some([512_300.0, 6_400_100.0, 512_500.0, 6_400_700.0]), true, 1.0);
        assert_eq!(plane.at([512_500.0, 6_400_100.0]), [100.0, -300.0]);
        assert_eq!(plane.back(plane.at([512_345.5, 6_400_111.25])), [512_345.5, 6_400_111.25]);
        let [width, height] = plane.size_m();
        assert!(width > 200.0 && height > 600.0 && height < 700.0);
        // US survey feet become metres.
        let feet = MapPlane::new(Some([0.0, 0.0, 1000.0, 1000.0]), true, 1200.0 / 3937.0);
        assert!((feet.at([500.0 + 3937.0, 500.0])[0] - 1200.0).abs() < 1e-9);
        // A degree of longitude at 60 degrees of latitude is half of one of latitude.
        let degrees = MapPlane::new(Some([10.0, 60.0, 10.0, 60.0]), false, 1.0);
        assert!((degrees.unit_m[0] / degrees.unit_m[1] - 0.5).abs() < 1e-9);
    }
}
