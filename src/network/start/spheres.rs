//! Where slope distances meet in space: a start for a station high over or far under those it was measured from, where
//! slopes taken as level would miss each other.
//!
//! Three spheres about P1, P2, P3 with radii r1, r2, r3. With the axis x from P1 to P2 (d apart), y in the plane of the
//! three and z across it, P3 at (i, j): x = (r1² − r2² + d²) / 2d, y = (r1² − r3² + i² + j²) / 2j − x·i/j and
//! z = ±√(r1² − x² − y²): subtract the equations of the spheres from each other (trilateration, any text on positioning).
//! The two places mirror each other in the plane of the three; all the other readings choose. Accuracy: enough for a
//! starting value only.

/// Sine of the angle at P1 below which three centres are in one line: 3°.
const FLAT: f64 = 0.052;

/// Share of the radius by which a sphere may miss the plane of the centres and still touch it.
const TOUCH: f64 = 0.1;

/// A slope distance: the station is on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Sphere {
    /// Instrument less target height above the ground point of the neighbour, east, north, up.
    pub centre: [f64; 3],
    pub radius_m: f64,
}

impl Sphere {
    /// How far a place is off it, in metres.
    pub fn miss_m(&self, place: [f64; 3]) -> f64 {
        (length(less(place, self.centre)) - self.radius_m).abs()
    }
}

/// The two places where three spheres meet, one where they touch; none where the centres are in one line or the spheres
/// are apart.
pub(crate) fn meet(a: &Sphere, b: &Sphere, c: &Sphere) -> Vec<[f64; 3]> {
    let (to_b, to_c) = (less(b.centre, a.centre), less(c.centre, a.centre));
    let d = length(to_b);
    if d == 0.0 || length(to_c) == 0.0 {
        return Vec::new();
    }
    let x_axis = to_b.map(|k| k / d);
    let i = dot(x_axis, to_c);
    let across: [f64; 3] = std::array::from_fn(|k| to_c[k] - i * x_axis[k]);
    let j = length(across);
    if j < FLAT * length(to_c) {
        return Vec::new();
    }
    let y_axis = across.map(|k| k / j);
    let z_axis = [
        x_axis[1] * y_axis[2] - x_axis[2] * y_axis[1],
        x_axis[2] * y_axis[0] - x_axis[0] * y_axis[2],
        x_axis[0] * y_axis[1] - x_axis[1] * y_axis[0],
    ];
    let (ra, rb, rc) = (a.radius_m.powi(2), b.radius_m.powi(2), c.radius_m.powi(2));
    let x = (ra - rb + d * d) / (2.0 * d);
    let y = (ra - rc + i * i + j * j) / (2.0 * j) - x * i / j;
    let square = ra - x * x - y * y;
    if square < -(TOUCH * a.radius_m).powi(2) {
        return Vec::new();
    }
    let z = square.max(0.0).sqrt();
    let place = |z: f64| std::array::from_fn(|k| a.centre[k] + x * x_axis[k] + y * y_axis[k] + z * z_axis[k]);
    if z == 0.0 { vec![place(0.0)] } else { vec![place(z), place(-z)] }
}

fn less(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|k| a[k] - b[k])
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(super) fn length(a: [f64; 3]) -> f64 {
    dot(a, a).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_place_is_one_of_the_two(place in [-300.0f64..300.0, -300.0f64..300.0, -200.0f64..200.0], up in -20.0f64..20.0) {
            let centres = [[0.0, 0.0, 0.0], [180.0, 30.0, up], [60.0, 160.0, -up]];
            let sphere = |centre: [f64; 3]| Sphere { centre, radius_m: length(less(place, centre)) };
            let [a, b, c] = centres.map(sphere);
            let found = meet(&a, &b, &c);
            let nearest = found.iter().map(|p| length(less(*p, place))).fold(f64::MAX, f64::min);
            // In the plane of the centres half of the digits are lost: √(1e-16 · 400²).
            prop_assert!(nearest < 1e-4, "{found:?} {place:?}");
            for p in &found {
                prop_assert!([a, b, c].iter().all(|s| s.miss_m(*p) < 1e-4));
            }
        }
    }

    /// Spheres that miss their plane by a tenth of the radius are bridged, centres seen 3° apart are not in one line.
    #[test]
    fn limits_of_a_place_in_space() {
        let at = |e: f64, n: f64, radius_m: f64| Sphere { centre: [e, n, 0.0], radius_m };
        // About three corners of a square of 100 m: r² − 5000 against −(r / 10)².
        let corners = |r: f64| meet(&at(0.0, 0.0, r), &at(100.0, 0.0, r), &at(0.0, 100.0, r));
        let limit = (5000f64 / 1.01).sqrt();
        assert!(corners(0.9999 * limit).is_empty() && corners(72.0).len() == 2);
        let bridged = corners(1.0001 * limit);
        assert!(bridged.len() == 1 && length(less(bridged[0], [50.0, 50.0, 0.0])) < 1e-9, "{bridged:?}");
        let place = [30.0, 40.0, 20.0];
        let through = |centre: [f64; 3]| Sphere { centre, radius_m: length(less(place, centre)) };
        let seen = |sine: f64| {
            let third = through([80.0 * (1.0 - sine * sine).sqrt(), 80.0 * sine, 0.0]);
            meet(&through([0.0; 3]), &through([100.0, 0.0, 0.0]), &third)
        };
        assert!(seen(0.0515).is_empty() && seen(-0.0515).is_empty());
        assert!(seen(0.0525).iter().any(|found| length(less(*found, place)) < 1e-6));
        // Two centres in one place.
        let (one, other) = (through([0.0; 3]), through([0.0, 90.0, 5.0]));
        assert!(meet(&one, &one, &other).is_empty() && meet(&one, &other, &one).is_empty());
        assert!(
            (at(3.0, 4.0, 2.0).miss_m([0.0; 3]) - 3.0).abs() < 1e-12 && (at(3.0, 4.0, 9.0).miss_m([0.0; 3]) - 4.0).abs() < 1e-12
        );
    }

    #[test]
    fn no_place_by_centres_in_one_line_or_apart() {
        let at = |e: f64, n: f64, radius_m: f64| Sphere { centre: [e, n, 0.0], radius_m };
        assert!(meet(&at(0.0, 0.0, 50.0), &at(40.0, 0.0, 50.0), &at(90.0, 0.1, 70.0)).is_empty());
        assert!(meet(&at(0.0, 0.0, 10.0), &at(100.0, 0.0, 10.0), &at(0.0, 100.0, 10.0)).is_empty());
        // Three spheres about (0, 0), (60, 0), (0, 80) through (0, 0, 0) + (30, 40, 0): the middle of a 3-4-5 triangle.
        let touching = meet(&at(0.0, 0.0, 50.0), &at(60.0, 0.0, 50.0), &at(0.0, 80.0, 50.0));
        assert!(touching.len() == 1 && length(less(touching[0], [30.0, 40.0, 0.0])) < 1e-9, "{touching:?}");
    }
}
