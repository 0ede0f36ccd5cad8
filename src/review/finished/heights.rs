//! Heights of two points compared like with like.
//!
//! Ellipsoidal heights are compared with ellipsoidal, orthometric with orthometric; where both points have both, those of the kind that the
//! first point was measured in. The standard error of the other kind has that of the geoid in it, in quadrature.

use crate::stations::base::HeightKind;

/// What is known of a point's height.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct HeightKnown {
    /// Above the ellipsoid, metres.
    pub ellipsoid_m: Option<f64>,
    /// Above the geoid or a vertical datum, metres.
    pub orthometric_m: Option<f64>,
    /// The kind that `sigma_m` is of; none where it is of both.
    pub kind: Option<HeightKind>,
    /// Standard error in metres.
    pub sigma_m: Option<f64>,
    /// Standard error of the geoid in metres, for the other kind.
    pub sigma_geoid_m: Option<f64>,
}

/// Two heights of one kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeightDifference {
    /// Their kind.
    pub kind: HeightKind,
    /// Second minus first, metres.
    pub metres: f64,
    /// Standard error of the first, metres.
    pub sigma_first_m: Option<f64>,
    /// Standard error of the second, metres.
    pub sigma_second_m: Option<f64>,
}

impl HeightKnown {
    /// The height of a kind in metres.
    pub fn of_kind(&self, kind: HeightKind) -> Option<f64> {
        match kind {
            HeightKind::Ellipsoid => self.ellipsoid_m,
            HeightKind::Orthometric => self.orthometric_m,
            HeightKind::None => None,
        }
    }

    /// The standard error of the height of a kind in metres.
    pub fn sigma_of_kind(&self, kind: HeightKind) -> Option<f64> {
        match self.kind {
            Some(own) if own != kind => Some(self.sigma_m?.hypot(self.sigma_geoid_m?)),
            _ => self.sigma_m,
        }
    }

    /// Whether any height is known.
    pub fn has_any(&self) -> bool {
        self.ellipsoid_m.is_some() || self.orthometric_m.is_some()
    }

    /// The height that stands in where a position needs one: ellipsoidal, else orthometric (off by the undulation, 110 m at most, which
    /// changes a horizontal difference by 2 parts in 100,000), else 0.
    pub fn stand_in_m(&self) -> f64 {
        self.ellipsoid_m.or(self.orthometric_m).unwrap_or(0.0)
    }

    /// The difference to a second point's height of the same kind; none where they have no kind in common.
    pub fn to(&self, second: &HeightKnown) -> Option<HeightDifference> {
        let first_choice = self.kind.or(second.kind).unwrap_or(HeightKind::Ellipsoid);
        [first_choice, HeightKind::Ellipsoid, HeightKind::Orthometric].into_iter().find_map(|kind| {
            let metres = second.of_kind(kind)? - self.of_kind(kind)?;
            Some(HeightDifference {
                kind,
                metres,
                sigma_first_m: self.sigma_of_kind(kind),
                sigma_second_m: second.sigma_of_kind(kind),
            })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heights(ellipsoid_m: Option<f64>, orthometric_m: Option<f64>, kind: Option<HeightKind>) -> HeightKnown {
        HeightKnown { ellipsoid_m, orthometric_m, kind, sigma_m: Some(0.3), sigma_geoid_m: Some(0.4) }
    }

    #[test]
    fn like_with_like_and_the_geoid_only_where_it_is_used() {
        let both = heights(Some(100.0), Some(60.0), Some(HeightKind::Orthometric));
        let check = HeightKnown { orthometric_m: Some(59.5), sigma_m: Some(0.1), ..HeightKnown::default() };
        let found = both.to(&check).unwrap();
        assert_eq!((found.kind, found.metres), (HeightKind::Orthometric, -0.5));
        assert_eq!((found.sigma_first_m, found.sigma_second_m), (Some(0.3), Some(0.1)));
        // Only the other kind in common: 0.3 and 0.4 make 0.5.
        let ellipsoidal = HeightKnown { ellipsoid_m: Some(101.0), ..HeightKnown::default() };
        let found = both.to(&ellipsoidal).unwrap();
        assert_eq!((found.kind, found.metres, found.sigma_second_m), (HeightKind::Ellipsoid, 1.0, None));
        assert!((found.sigma_first_m.unwrap() - 0.5).abs() < 1e-12);
    }

    #[test]
    fn nothing_in_common_is_not_compared() {
        let ellipsoidal = heights(Some(1.0), None, Some(HeightKind::Ellipsoid));
        let orthometric = heights(None, Some(1.0), Some(HeightKind::Orthometric));
        assert_eq!(ellipsoidal.to(&orthometric), None);
        assert_eq!(HeightKnown::default().to(&ellipsoidal), None);
        let unknown = HeightKnown { sigma_geoid_m: None, ..heights(Some(1.0), Some(2.0), Some(HeightKind::Ellipsoid)) };
        assert_eq!(unknown.sigma_of_kind(HeightKind::Orthometric), None);
    }
}
