//! The curve of a wire that hangs between two supports, in the vertical plane through them.
//!
//! With x the horizontal distance from support a, L that of support b, h the height of b over a and
//! k = 1/c the curvature at the lowest point:
//!
//! - catenary z = z0 + c (cosh((x − x0)/c) − 1), made to pass through both supports:
//!   z = za + (2/k) sinh(kx/2) sinh(μ − k(L − x)/2), sinh μ = hk / (2 sinh(kL/2)), x0 = L/2 − cμ.
//!   It follows from cosh p − cosh q = 2 sinh((p + q)/2) sinh((p − q)/2), and is smooth through k = 0, the chord.
//! - parabola z = za + hx/L − k x (L − x)/2, of sag kL²/8 (the relation f = wL²/8H, with k = w/H).
//!
//! Source: E. J. Routh, "A Treatise on Analytical Statics", ch. X (from memory); the passing through two points is derived
//! here. Lengths in metres. k below 0 is a curve that bulges upwards, which the caller refuses or warns of.

/// Below this kL/2 the place of the greatest sag is mid-span; the sag itself answers to its square.
const FLAT: f64 = 1e-4;

/// Points at which distances along the curve are first looked at.
const LOOKS: usize = 64;

/// Which curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CurveKind {
    /// Of a wire under its own weight.
    Catenary,
    /// Of a load that is even along the horizontal.
    Parabola,
}

/// A curve through two supports.
#[derive(Debug, Clone, Copy)]
pub struct Curve {
    kind: CurveKind,
    /// Support a: east, north, up.
    a: [f64; 3],
    /// Unit vector from a to b, east and north.
    direction: [f64; 2],
    /// Horizontal distance of the supports in metres.
    pub span_m: f64,
    /// Height of b over a in metres.
    pub rise_m: f64,
    /// Curvature at the lowest point, in 1/m.
    k: f64,
}

/// sinh x / x.
fn sinhc(x: f64) -> f64 {
    if x.abs() < 1e-4 { 1.0 + x * x / 6.0 } else { x.sinh() / x }
}

impl Curve {
    /// The curve through supports a and b whose parabola would have a sag of `parameter_m` at a span of `nominal_span_m`.
    pub fn new(kind: CurveKind, a: [f64; 3], b: [f64; 3], parameter_m: f64, nominal_span_m: f64) -> Curve {
        let (east, north) = (b[0] - a[0], b[1] - a[1]);
        let span_m = east.hypot(north);
        let k = 8.0 * parameter_m / (nominal_span_m * nominal_span_m);
        Curve { kind, a, direction: [east / span_m, north / span_m], span_m, rise_m: b[2] - a[2], k }
    }

    /// kL/2 and μ.
    fn half(&self) -> (f64, f64) {
        let u = 0.5 * self.k * self.span_m;
        (u, (self.rise_m / (self.span_m * sinhc(u))).asinh())
    }

    /// Height in metres at a horizontal distance from support a.
    pub fn up_m(&self, x_m: f64) -> f64 {
        match self.kind {
            CurveKind::Catenary => {
                let (_, mu) = self.half();
                let sinh = (mu - 0.5 * self.k * (self.span_m - x_m)).sinh();
                self.a[2] + x_m * sinhc(0.5 * self.k * x_m) * sinh
            }
            CurveKind::Parabola => self.chord_m(x_m) - 0.5 * self.k * x_m * (self.span_m - x_m),
        }
    }

    /// Whether it bulges downwards.
    pub fn hangs(&self) -> bool {
        self.k > 0.0
    }

    /// Height of the straight line between the supports.
    pub fn chord_m(&self, x_m: f64) -> f64 {
        self.a[2] + self.rise_m * x_m / self.span_m
    }

    /// Greatest vertical distance below the chord: where the curve is parallel to it.
    pub fn sag_m(&self) -> f64 {
        let (u, mu) = self.half();
        let middle = 0.5 * self.span_m;
        let x = match self.kind {
            CurveKind::Catenary if u.abs() > FLAT => middle + ((self.rise_m / self.span_m).asinh() - mu) / self.k,
            _ => middle,
        };
        self.chord_m(x) - self.up_m(x)
    }

    /// Horizontal distance from support a to the lowest point of the curve, which may be outside the span; infinite for a
    /// straight wire. Where the curve bulges upwards it is the highest.
    pub fn lowest_x_m(&self) -> f64 {
        match self.kind {
            CurveKind::Catenary => 0.5 * self.span_m - self.half().1 / self.k,
            CurveKind::Parabola => 0.5 * self.span_m - self.rise_m / (self.span_m * self.k),
        }
    }

    /// East, north, up at a horizontal distance from support a.
    pub fn at(&self, x_m: f64) -> [f64; 3] {
        [self.a[0] + self.direction[0] * x_m, self.a[1] + self.direction[1] * x_m, self.up_m(x_m)]
    }

    /// Where a point is beside the curve: the horizontal distance from support a along the plane, and that from
    /// the plane, positive to the right as seen from a towards b.
    pub fn along_across_m(&self, point: [f64; 3]) -> (f64, f64) {
        let (e, n) = (point[0] - self.a[0], point[1] - self.a[1]);
        let [de, dn] = self.direction;
        (e * de + n * dn, e * dn - n * de)
    }

    /// Straight distance in metres from a point to the nearest point of the curve between its supports.
    pub fn straight_m(&self, point: [f64; 3]) -> f64 {
        let (along, across) = self.along_across_m(point);
        let square = |x: f64| (x - along).powi(2) + (self.up_m(x) - point[2]).powi(2);
        let step = self.span_m / LOOKS as f64;
        let nearest =
            (0..=LOOKS).map(|i| (square(i as f64 * step), i)).fold((f64::INFINITY, 0), |a, b| if b.0 < a.0 { b } else { a }).1;
        // Section by the golden ratio between the neighbours of the nearest look.
        let mut low = nearest.saturating_sub(1) as f64 * step;
        let mut high = (nearest + 1).min(LOOKS) as f64 * step;
        let golden = (5f64.sqrt() - 1.0) / 2.0;
        for _ in 0..60 {
            let (left, right) = (high - golden * (high - low), low + golden * (high - low));
            if square(left) < square(right) { high = right } else { low = left }
        }
        // The ends themselves count: a wire ends at its supports.
        let least = [0.5 * (low + high), 0.0, self.span_m].map(square).into_iter().fold(f64::INFINITY, f64::min);
        least.sqrt().hypot(across)
    }

    /// Greatest vertical distance between two curves in the span, looked at in `LOOKS` places.
    pub fn differs_m(&self, other: &Curve) -> f64 {
        let share = |i: usize| i as f64 / LOOKS as f64;
        (0..=LOOKS).map(|i| (self.up_m(share(i) * self.span_m) - other.up_m(share(i) * other.span_m)).abs()).fold(0.0, f64::max)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::f64::consts::SQRT_2;

    /// The parameter p with k = 1/c at a span of L.
    fn parameter(c: f64, l: f64) -> f64 {
        l * l / (8.0 * c)
    }

    #[test]
    fn level_catenary() {
        // L = 120 m, c = 300 m: sag = c (cosh(L/2c) − 1) = 300 (cosh 0.2 − 1), cosh 0.2 = 1.020 066 755 6: 6.020 026 69 m.
        let curve = Curve::new(CurveKind::Catenary, [5.0, 7.0, 20.0], [125.0, 7.0, 20.0], parameter(300.0, 120.0), 120.0);
        assert!((curve.sag_m() - 6.020_026_69).abs() < 1e-7, "{}", curve.sag_m());
        assert!((curve.lowest_x_m() - 60.0).abs() < 1e-9);
        assert!((curve.up_m(0.0) - 20.0).abs() < 1e-12 && (curve.up_m(120.0) - 20.0).abs() < 1e-12);
    }

    #[test]
    fn parabola_of_weight_and_tension() {
        // w = 8 N/m, H = 9600 N, L = 120 m: sag = w L² / 8 H = 1.5 m, also where b is 10 m higher than a.
        let curve = Curve::new(CurveKind::Parabola, [0.0, 0.0, 0.0], [120.0, 0.0, 10.0], parameter(9600.0 / 8.0, 120.0), 120.0);
        assert!((curve.sag_m() - 1.5).abs() < 1e-12);
        // dz/dx = h/L − k (L − 2x)/2 = 0: x = L/2 − h/(Lk) = 60 − 10 · 1200/120 = −40 m, outside.
        assert!((curve.lowest_x_m() + 40.0).abs() < 1e-9);
    }

    #[test]
    fn right_of_the_plane_is_positive() {
        let curve = Curve::new(CurveKind::Parabola, [0.0; 3], [0.0, 100.0, 0.0], 1.0, 100.0);
        // Towards north, east is right.
        assert_eq!(curve.along_across_m([3.0, 40.0, 9.0]), (40.0, 3.0));
    }

    #[test]
    fn beyond_a_support_the_support_is_nearest() {
        let curve = Curve::new(CurveKind::Catenary, [0.0; 3], [100.0, 0.0, 0.0], 4.0, 100.0);
        // 3 east of b and 4 south of it.
        assert!((curve.straight_m([103.0, -4.0, 0.0]) - 5.0).abs() < 1e-9);
    }

    proptest! {
        /// Against the plain formula z0 + c (cosh((x − x0)/c) − 1) with supports anywhere on it.
        #[test]
        fn any_two_points_of_a_catenary(c in 20.0f64..3000.0, x0 in -1.5f64..2.5, l in 0.02f64..2.0, at in 0.0f64..1.0) {
            let (x0, l) = (x0 * c * 0.5, l * c);
            let z = |x: f64| 3.0 + c * (((x - x0) / c).cosh() - 1.0);
            let curve = Curve::new(CurveKind::Catenary, [0.0, 0.0, z(0.0)], [0.0, l, z(l)], parameter(c, l), l);
            let tolerance = 1e-11 * (c + z(0.0).abs() + z(l).abs());
            prop_assert!((curve.up_m(at * l) - z(at * l)).abs() < tolerance, "{} {}", curve.up_m(at * l), z(at * l));
            prop_assert!((curve.lowest_x_m() - x0).abs() < 1e-9 * (c + x0.abs()) / (l / c), "{}", curve.lowest_x_m());
            // No place of the span is further below the chord.
            let deepest = (0..=2000).map(|i| f64::from(i) * l / 2000.0).map(|x| curve.chord_m(x) - z(x)).fold(0.0, f64::max);
            prop_assert!(curve.sag_m() >= deepest - tolerance && curve.sag_m() < deepest + 1e-5 * l, "{} {deepest}", curve.sag_m());
        }

        /// The nearest distance against a thousand looks.
        #[test]
        fn nearest(e in -20.0f64..120.0, n in -30.0f64..30.0, u in -20.0f64..30.0, sag in 0.5f64..25.0, h in -20.0f64..20.0) {
            let curve = Curve::new(CurveKind::Catenary, [0.0; 3], [100.0, 0.0, h], sag, 100.0);
            let of = |p: [f64; 3]| (p[0] - e).hypot(p[1] - n).hypot(p[2] - u);
            let looked = (0..=20_000).map(|i| of(curve.at(f64::from(i) / 200.0))).fold(f64::INFINITY, f64::min);
            let got = curve.straight_m([e, n, u]);
            prop_assert!(got <= looked + 1e-9 && got > looked - 0.01, "{got} {looked}");
        }
    }

    #[test]
    fn two_curves_of_one_sag_differ_at_the_quarters() {
        // x⁴/24c³ less its share at the ends is greatest at x = L/√8 from mid-span: L⁴ / (1536 c³); next terms are
        // smaller by (L/2c)²/10.
        let (c, l) = (500.0, 100.0);
        let catenary = Curve::new(CurveKind::Catenary, [0.0; 3], [l, 0.0, 0.0], parameter(c, l), l);
        let parabola = Curve::new(CurveKind::Parabola, [0.0; 3], [l, 0.0, 0.0], catenary.sag_m(), l);
        let want = l.powi(4) / (1536.0 * c.powi(3));
        assert!((catenary.differs_m(&parabola) / want - 1.0).abs() < 0.01);
        let quarter = l / 2.0 + l / (2.0 * SQRT_2);
        assert!(((catenary.up_m(quarter) - parabola.up_m(quarter)).abs() / want - 1.0).abs() < 0.01);
    }
}
