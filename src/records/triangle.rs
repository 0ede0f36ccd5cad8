//! What an instrument measures of the sighting triangle: two of its sides, or a side and the angle.

/// The measured sides and angle of a sighting triangle. Metres and radians.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Triangle {
    /// Slope distance and inclination.
    Slope {
        /// Slope distance.
        slope_m: f64,
        /// Inclination, up positive.
        inclination_rad: f64,
    },
    /// Horizontal distance and inclination.
    Horizontal {
        /// Horizontal distance, held: refraction lowers the rise alone.
        horizontal_m: f64,
        /// Inclination, up positive.
        inclination_rad: f64,
    },
    /// Horizontal and vertical distance.
    HorizontalVertical {
        /// Horizontal distance.
        horizontal_m: f64,
        /// Vertical distance, up positive.
        vertical_m: f64,
    },
    /// Slope and vertical distance.
    SlopeVertical {
        /// Slope distance, longer than the vertical one.
        slope_m: f64,
        /// Vertical distance, up positive.
        vertical_m: f64,
    },
    /// A horizontal distance alone: no height follows.
    Level {
        /// Horizontal distance.
        horizontal_m: f64,
    },
}

impl Triangle {
    /// The distance that was measured: the slope distance where the sides are of it, else the horizontal one.
    pub fn distance_m(&self) -> f64 {
        match *self {
            Triangle::Slope { slope_m, .. } | Triangle::SlopeVertical { slope_m, .. } => slope_m,
            Triangle::Horizontal { horizontal_m, .. }
            | Triangle::HorizontalVertical { horizontal_m, .. }
            | Triangle::Level { horizontal_m } => horizontal_m,
        }
    }

    /// The vertical distance, where one was measured.
    pub fn vertical_m(&self) -> Option<f64> {
        match *self {
            Triangle::HorizontalVertical { vertical_m, .. } | Triangle::SlopeVertical { vertical_m, .. } => Some(vertical_m),
            _ => None,
        }
    }

    /// The distance, as a slope distance or as a horizontal one.
    pub fn slope_or_horizontal_m(&self) -> (Option<f64>, Option<f64>) {
        match self {
            Triangle::Slope { .. } | Triangle::SlopeVertical { .. } => (Some(self.distance_m()), None),
            _ => (None, Some(self.distance_m())),
        }
    }

    /// The inclination that was measured or follows from two sides, up positive; none for a horizontal
    /// distance alone.
    pub fn inclination_rad(&self) -> Option<f64> {
        match *self {
            Triangle::Slope { inclination_rad, .. } | Triangle::Horizontal { inclination_rad, .. } => Some(inclination_rad),
            Triangle::HorizontalVertical { horizontal_m, vertical_m } => Some(vertical_m.atan2(horizontal_m)),
            Triangle::SlopeVertical { slope_m, vertical_m } => Some((vertical_m / slope_m).asin()),
            Triangle::Level { .. } => None,
        }
    }
}
