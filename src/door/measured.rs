//! What several shots give together: heights, widths, missing lines, faces, spans, piles, profiles. Each constructor gives the rows their
//! roles and hands them to the composed measurement of [`crate::measure`], where formulas and sources stand.

use super::shot::{Shot, ShotError, Stand};
use crate::geodesy::frame::Geodetic;
use crate::geodesy::register::{Estimate, Origin};
use crate::measure::{self, Composed, Group, MeasureSettings, Refusal};
use crate::units::Units;

/// Shots that give no measurement.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum MeasureError {
    /// One of them makes no sense.
    #[error("shot {}: {source}", number + 1)]
    Shot {
        /// Which of them, by its place in the order of the arguments, from 0.
        number: usize,
        /// What is wrong.
        source: ShotError,
    },
    /// Together they give none: one is missing a reading, or they contradict each other.
    #[error(transparent)]
    Refused(#[from] Refusal),
}

/// What a measurement found: values with their standard errors, points, and what must be read with them.
#[derive(Debug, Clone)]
pub struct Measured {
    composed: Composed,
    ellipsoid: crate::geodesy::frame::Ellipsoid,
}

impl Measured {
    /// A value by its name, which ends with its unit as in the layer `values` (`height_m`, `lean_deg`), with its standard error in that unit.
    pub fn value(&self, name: &str) -> Option<Estimate> {
        self.composed.values.iter().find(|value| value.name == name).map(|value| value.estimate)
    }

    /// All values, in the order of the layer.
    pub fn values(&self) -> impl Iterator<Item = (&'static str, Estimate)> {
        self.composed.values.iter().map(|value| (value.name, value.estimate))
    }

    /// Values of its pieces, each with what it is of: distances of shots from a wire or a face.
    pub fn details(&self) -> impl Iterator<Item = (&str, &'static str, Estimate)> {
        let details = self.composed.details.iter();
        details.flat_map(|detail| detail.values.iter().map(|value| (detail.target.as_str(), value.name, value.estimate)))
    }

    /// Points that it gives, each with what it is: `foot`, `top`, `centre`, `lowest`.
    pub fn points(&self) -> impl Iterator<Item = (&'static str, Geodetic)> {
        self.composed.parts.iter().map(|point| (point.role, Geodetic::from_earth_centred(point.at, &self.ellipsoid)))
    }

    /// Which of the ways it was computed by, and what was assumed.
    pub fn method(&self) -> &str {
        &self.composed.method
    }

    /// What must be read with the values, in sentences.
    pub fn warnings(&self) -> &[String] {
        &self.composed.warnings
    }
}

/// A shot with its stand and its role.
type RoledShot<'s> = (&'s Stand, &'s Shot, &'s str);

fn measured(kind: &str, rows: &[RoledShot]) -> Result<Measured, MeasureError> {
    let mut stands: Vec<&Stand> = Vec::new();
    let mut sightings = Vec::with_capacity(rows.len());
    for (number, (stand, shot, role)) in rows.iter().enumerate() {
        let base = stands.iter().position(|known| std::ptr::eq(*known, *stand)).unwrap_or_else(|| {
            stands.push(stand);
            stands.len() - 1
        });
        sightings.push(shot.with_role(stand, base, role, number).map_err(|source| MeasureError::Shot { number, source })?);
    }
    let bases: Vec<Origin> = stands.iter().enumerate().map(|(number, stand)| stand.origin(number)).collect();
    let group =
        Group { measure: kind.to_owned(), name: "the shots".to_owned(), sightings, bases: &bases, units: Units::default() };
    let composed = measure::compose(&group, &MeasureSettings::default())?;
    Ok(Measured { composed, ellipsoid: bases.first().map_or(crate::geodesy::frame::Ellipsoid::WGS84, |base| base.ellipsoid) })
}

/// Gives all shots of a slice one role.
fn with_role<'s>(shots: &[(&'s Stand, &'s Shot)], role: &'s str) -> Vec<RoledShot<'s>> {
    shots.iter().map(|(stand, shot)| (*stand, *shot, role)).collect()
}

macro_rules! measurement {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone)]
        pub struct $name {
            measured: Measured,
        }

        impl std::ops::Deref for $name {
            type Target = Measured;

            fn deref(&self) -> &Measured {
                &self.measured
            }
        }
    };
}

measurement! {
    /// The height of a tree, a mast or a wall. Values: `height_m`, and from two full shots `length_m`, `lean_deg`, `lean_azimuth_deg`,
    /// `horizontal_offset_m`.
    Height
}

impl Height {
    /// By the inclinations to foot and top: H = HD (tan I_top − tan I_foot) with one horizontal distance, the top taken as plumb over the
    /// foot (trigonometric levelling, e.g. C. D. Ghilani, "Elementary Surveying", ch. 4); where both have distances of their own, the sines of
    /// both. `distance` is a shot whose distance stands for both ends, to the stem at eye level for instance.
    ///
    /// ```
    /// use standoff::{Covariance, Distance, Geodetic, Height, Shot, Stand};
    ///
    /// let at = Geodetic { lat_rad: 47f64.to_radians(), lon_rad: 11f64.to_radians(), ellipsoid_height_m: 600.0 };
    /// let stand = Stand::new(at, Covariance::from_sigmas(0.02, 0.03));
    /// let angle = |degrees: f64| Shot::inclined(degrees.to_radians()).without_refraction();
    /// let distance = Shot::unread().with_distance(Distance::Horizontal(50.0)).without_refraction();
    /// let height = Height::from_angles(&stand, &angle(-2.0), &angle(30.0), Some(&distance))?;
    /// // 50 m · (tan 30° + tan 2°)
    /// assert!((height.height_m().value - 30.6136).abs() < 5e-5);
    /// assert!(height.height_m().sigma > 0.0);
    /// # Ok::<(), standoff::MeasureError>(())
    /// ```
    ///
    /// # Errors
    /// When a shot lacks its inclination, no distance is there, or the two ends stand in different directions.
    pub fn from_angles(stand: &Stand, foot: &Shot, top: &Shot, distance: Option<&Shot>) -> Result<Height, MeasureError> {
        let mut rows = vec![(stand, foot, "foot"), (stand, top, "top")];
        rows.extend(distance.map(|shot| (stand, shot, "distance")));
        Ok(Height { measured: measured("height", &rows)? })
    }

    /// The height in metres, with its standard error.
    pub fn height_m(&self) -> Estimate {
        self.value("height_m").unwrap_or(UNKNOWN)
    }
}

/// A value that a measurement always has; the names stand in its file.
const UNKNOWN: Estimate = Estimate { value: f64::NAN, sigma: f64::NAN };

/// What the distance of a width was measured to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Touch {
    /// The near face of a round object.
    NearFace,
    /// The middle of a round object.
    Centre,
    /// The middle of a flat object that stands square to the sight.
    Plane,
}

measurement! {
    /// The width of what is sighted along both of its edges. Values: `width_m`, `angle_deg`, `distance_m`.
    Width
}

impl Width {
    /// By the azimuths along both edges and a distance: 2 r with r = d s/(1 − s) to the near face and r = d s to the centre of a round object,
    /// s = sin(θ/2), or 2 d tan(θ/2) of a flat one, θ the angle between the edges (plane geometry).
    ///
    /// ```
    /// use standoff::{Covariance, Distance, Geodetic, Shot, Stand, Touch, Width};
    ///
    /// let at = Geodetic { lat_rad: 47f64.to_radians(), lon_rad: 11f64.to_radians(), ellipsoid_height_m: 600.0 };
    /// let stand = Stand::new(at, Covariance::from_sigmas(0.02, 0.03));
    /// let (left, right) = (Shot::bearing(1.00), Shot::bearing(1.10));
    /// let middle = Shot::bearing(1.05).with_distance(Distance::Horizontal(20.0));
    /// let width = Width::from_edges(&stand, &left, &right, (Touch::Centre, &middle))?;
    /// // 2 · 20 m · sin 0.05
    /// assert!((width.width_m().value - 1.99917).abs() < 5e-6);
    /// # Ok::<(), standoff::MeasureError>(())
    /// ```
    ///
    /// # Errors
    /// When an edge has no azimuth, the distance is missing, or both edges lie in one direction.
    pub fn from_edges(stand: &Stand, left: &Shot, right: &Shot, distance: (Touch, &Shot)) -> Result<Width, MeasureError> {
        let role = match distance.0 {
            Touch::NearFace => "near_face",
            Touch::Centre => "centre",
            Touch::Plane => "plane",
        };
        let rows = [(stand, left, "left"), (stand, right, "right"), (stand, distance.1, role)];
        Ok(Width { measured: measured("width", &rows)? })
    }

    /// The width in metres, with its standard error.
    pub fn width_m(&self) -> Estimate {
        self.value("width_m").unwrap_or(UNKNOWN)
    }
}

measurement! {
    /// The line between two points that nobody walks between. Values: `slope_distance_m`, `horizontal_distance_m`, `vertical_distance_m`,
    /// `azimuth_deg`, `grade_pct`, `inclination_deg`.
    MissingLine
}

impl MissingLine {
    /// From one sighted point to the other, in the horizon of the first: the polar sighting turned round (C. D. Ghilani, "Elementary
    /// Surveying", ch. 8 and 15). What shots of one stand share cancels.
    ///
    /// ```
    /// use standoff::{Covariance, Geodetic, MissingLine, Shot, Stand};
    ///
    /// let at = Geodetic { lat_rad: 47f64.to_radians(), lon_rad: 11f64.to_radians(), ellipsoid_height_m: 600.0 };
    /// let stand = Stand::new(at, Covariance::from_sigmas(0.02, 0.03));
    /// let shot = |azimuth: f64, metres| Shot::full(azimuth.to_radians(), 0.0, metres).without_refraction();
    /// // 30 m north and 40 m east of one stand lie 50 m apart.
    /// let line = MissingLine::between((&stand, &shot(0.0, 30.0)), (&stand, &shot(90.0, 40.0)))?;
    /// assert!((line.slope_distance_m().value - 50.0).abs() < 1e-9);
    /// # Ok::<(), standoff::MeasureError>(())
    /// ```
    ///
    /// # Errors
    /// When one of the shots is not whole.
    pub fn between(from: (&Stand, &Shot), to: (&Stand, &Shot)) -> Result<MissingLine, MeasureError> {
        Ok(MissingLine { measured: measured("missing_line", &[(from.0, from.1, "from"), (to.0, to.1, "to")])? })
    }

    /// The slope distance in metres, with its standard error.
    pub fn slope_distance_m(&self) -> Estimate {
        self.value("slope_distance_m").unwrap_or(UNKNOWN)
    }
}

measurement! {
    /// Strike and dip of a face. Values: `dip_deg`, `strike_deg`, `dip_direction_deg`, and of more than three shots `rms_m`.
    Face
}

impl Face {
    /// The plane through three or more shots, fitted by weighted total least squares.
    ///
    /// ```
    /// use standoff::{Covariance, Face, Geodetic, Shot, Stand};
    ///
    /// let at = Geodetic { lat_rad: 47f64.to_radians(), lon_rad: 11f64.to_radians(), ellipsoid_height_m: 600.0 };
    /// let stand = Stand::new(at, Covariance::from_sigmas(0.02, 0.03));
    /// let to = |e: f64, n: f64, u: f64| Shot::full(e.atan2(n), u.atan2(e.hypot(n)), e.hypot(n).hypot(u)).without_refraction();
    /// // u = n − 20: it dips to the south by 45°.
    /// let shots = [to(-10.0, 20.0, 0.0), to(10.0, 20.0, 0.0), to(0.0, 30.0, 10.0)];
    /// let face = Face::through(&shots.each_ref().map(|shot| (&stand, shot)))?;
    /// assert!((face.dip_deg().value - 45.0).abs() < 1e-3);
    /// # Ok::<(), standoff::MeasureError>(())
    /// ```
    ///
    /// # Errors
    /// With fewer than three full shots, or shots in one line.
    pub fn through(shots: &[(&Stand, &Shot)]) -> Result<Face, MeasureError> {
        Ok(Face { measured: measured("plane", &with_role(shots, "face"))? })
    }

    /// The dip in degrees, with its standard error.
    pub fn dip_deg(&self) -> Estimate {
        self.value("dip_deg").unwrap_or(UNKNOWN)
    }
}

measurement! {
    /// Where a sight without a distance meets a face. Values: `distance_m`, `incidence_deg`; the spot is its point.
    FaceSight
}

impl FaceSight {
    /// The spot where `sight` meets the plane of `face`: upright through two full shots, fitted to three or more.
    ///
    /// ```
    /// use standoff::{Covariance, FaceSight, Geodetic, Shot, Stand};
    ///
    /// let at = Geodetic { lat_rad: 47f64.to_radians(), lon_rad: 11f64.to_radians(), ellipsoid_height_m: 600.0 };
    /// let stand = Stand::new(at, Covariance::from_sigmas(0.02, 0.03));
    /// let to = |e: f64, n: f64, u: f64| Shot::full(e.atan2(n), u.atan2(e.hypot(n)), e.hypot(n).hypot(u)).without_refraction();
    /// // An upright wall 20 m to the north, met at 30° up: 20 m / cos 30°.
    /// let wall = [to(-10.0, 20.0, 0.0), to(10.0, 20.0, 0.0)];
    /// let sight = Shot::direction(0.0, 30f64.to_radians()).without_refraction();
    /// let met = FaceSight::meet((&stand, &sight), &wall.each_ref().map(|shot| (&stand, shot)))?;
    /// assert!((met.distance_m().value - 23.094).abs() < 1e-3);
    /// # Ok::<(), standoff::MeasureError>(())
    /// ```
    ///
    /// # Errors
    /// When the sight grazes the face, points away from it, or a shot of the face is not whole.
    pub fn meet(sight: (&Stand, &Shot), face: &[(&Stand, &Shot)]) -> Result<FaceSight, MeasureError> {
        let roles: Vec<String> = (1..=face.len()).map(|number| format!("plane_{number}")).collect();
        let mut rows: Vec<RoledShot> = vec![(sight.0, sight.1, "sight")];
        rows.extend(face.iter().zip(&roles).map(|((stand, shot), role)| (*stand, *shot, role.as_str())));
        Ok(FaceSight { measured: measured("plane_sight", &rows)? })
    }

    /// The distance along the sight in metres, with its standard error.
    pub fn distance_m(&self) -> Estimate {
        self.value("distance_m").unwrap_or(UNKNOWN)
    }
}

measurement! {
    /// A wire or cable between two supports. Values: `span_m`, `sag_m`, `lowest_height_difference_m`, `wire_rms_m`, and of what lies under it the
    /// least distances; [`Measured::details`] has that of each. Heat, load or ice can lower a wire: nothing here finds that it is clear of anything.
    Span
}

impl Span {
    /// By shots of both points of attachment, of the wire between them, and of what stands under or beside it.
    ///
    /// ```
    /// use standoff::{Covariance, Geodetic, Shot, Span, Stand};
    ///
    /// let at = Geodetic { lat_rad: 47f64.to_radians(), lon_rad: 11f64.to_radians(), ellipsoid_height_m: 600.0 };
    /// let stand = Stand::new(at, Covariance::from_sigmas(0.02, 0.03));
    /// let to = |e: f64, n: f64, u: f64| Shot::full(e.atan2(n), u.atan2(e.hypot(n)), e.hypot(n).hypot(u)).without_refraction();
    /// let (a, b) = (to(-50.0, 60.0, 12.0), to(50.0, 60.0, 12.0));
    /// // Its middle hangs 2 m below the chord.
    /// let (wire, roof) = (to(0.0, 60.0, 10.0), to(0.0, 60.0, 4.0));
    /// let span = Span::of_wire((&stand, &a), (&stand, &b), &[(&stand, &wire)], &[(&stand, &roof)])?;
    /// assert!((span.sag_m().value - 2.0).abs() < 0.01);
    /// assert!(span.details().any(|(_, name, distance)| name == "vertical_distance_m" && (distance.value - 6.0).abs() < 0.01));
    /// # Ok::<(), standoff::MeasureError>(())
    /// ```
    ///
    /// # Errors
    /// When a shot is not whole, none is of the wire, or the supports stand over each other.
    pub fn of_wire(
        support_a: (&Stand, &Shot),
        support_b: (&Stand, &Shot),
        wire: &[(&Stand, &Shot)],
        objects: &[(&Stand, &Shot)],
    ) -> Result<Span, MeasureError> {
        let mut rows: Vec<RoledShot> = vec![(support_a.0, support_a.1, "support_a"), (support_b.0, support_b.1, "support_b")];
        rows.extend(with_role(wire, "wire"));
        rows.extend(with_role(objects, "object"));
        Ok(Span { measured: measured("span", &rows)? })
    }

    /// The greatest distance of the wire below its chord in metres, with its standard error.
    pub fn sag_m(&self) -> Estimate {
        self.value("sag_m").unwrap_or(UNKNOWN)
    }
}

measurement! {
    /// A heap over its toe or a pit under its rim. Values: `volume_m3`, `plan_area_m2`, `surface_area_m2`, `height_m` or `depth_m`. What no shot
    /// sees is in no standard error.
    Pile
}

impl Pile {
    /// A heap: shots round its toe, in order, and shots of its surface.
    ///
    /// ```
    /// use standoff::{Covariance, Geodetic, Pile, Shot, Stand};
    ///
    /// let at = Geodetic { lat_rad: 47f64.to_radians(), lon_rad: 11f64.to_radians(), ellipsoid_height_m: 600.0 };
    /// let stand = Stand::new(at, Covariance::from_sigmas(0.02, 0.03));
    /// let to = |e: f64, n: f64, u: f64| {
    ///     Shot::full(e.atan2(n), u.atan2(e.hypot(n)), e.hypot(n).hypot(u)).with_sigmas(1e-4, 1e-4, 0.01).without_refraction()
    /// };
    /// let toe = [to(-5.0, 20.0, 0.0), to(5.0, 20.0, 0.0), to(5.0, 30.0, 0.0), to(-5.0, 30.0, 0.0)];
    /// let top = to(0.0, 25.0, 3.0);
    /// let pile = Pile::over_toe(&toe.each_ref().map(|shot| (&stand, shot)), &[(&stand, &top)])?;
    /// // A pyramid: 10 m · 10 m · 3 m / 3.
    /// assert!((pile.volume_m3().value - 100.0).abs() < 0.01);
    /// # Ok::<(), standoff::MeasureError>(())
    /// ```
    ///
    /// # Errors
    /// When a shot is not whole, the ring is none or crosses itself, or no shot lies inside it.
    pub fn over_toe(toe: &[(&Stand, &Shot)], surface: &[(&Stand, &Shot)]) -> Result<Pile, MeasureError> {
        Ok(Pile { measured: measured("volume", &[with_role(toe, "toe"), with_role(surface, "face")].concat())? })
    }

    /// A pit: shots round its rim, in order, and shots of its floor and sides.
    ///
    /// # Errors
    /// As [`Pile::over_toe`].
    pub fn under_rim(rim: &[(&Stand, &Shot)], floor: &[(&Stand, &Shot)]) -> Result<Pile, MeasureError> {
        Ok(Pile { measured: measured("volume", &[with_role(rim, "rim"), with_role(floor, "floor")].concat())? })
    }

    /// The volume in cubic metres, with its standard error.
    pub fn volume_m3(&self) -> Estimate {
        self.value("volume_m3").unwrap_or(UNKNOWN)
    }
}

measurement! {
    /// Shots along a line. Value: `length_m`; [`Profile::chainages`] has each shot.
    Profile
}

impl Profile {
    /// Along the line from `start` to `end`, with shots beside it.
    ///
    /// ```
    /// use standoff::{Covariance, Geodetic, Profile, Shot, Stand};
    ///
    /// let at = Geodetic { lat_rad: 47f64.to_radians(), lon_rad: 11f64.to_radians(), ellipsoid_height_m: 600.0 };
    /// let stand = Stand::new(at, Covariance::from_sigmas(0.02, 0.03));
    /// let to = |e: f64, n: f64| Shot::full(e.atan2(n), 0.0, e.hypot(n)).without_refraction();
    /// let (start, end, beside) = (to(0.0, 10.0), to(0.0, 110.0), to(5.0, 40.0));
    /// let profile = Profile::along((&stand, &start), (&stand, &end), &[(&stand, &beside)])?;
    /// // 30 m along the line, 5 m to the right of it.
    /// assert!(profile.chainages().any(|(chainage, offset)| (chainage.value - 30.0).abs() < 1e-3 && (offset.value - 5.0).abs() < 1e-3));
    /// # Ok::<(), standoff::MeasureError>(())
    /// ```
    ///
    /// # Errors
    /// When a shot is not whole, or the line is shorter than 10 cm.
    pub fn along(start: (&Stand, &Shot), end: (&Stand, &Shot), points: &[(&Stand, &Shot)]) -> Result<Profile, MeasureError> {
        let mut rows: Vec<RoledShot> = vec![(start.0, start.1, "start"), (end.0, end.1, "end")];
        rows.extend(with_role(points, "point"));
        Ok(Profile { measured: measured("profile", &rows)? })
    }

    /// Chainage and offset (right of the line positive) of each shot in metres, in the order of chainage, the line's ends among them.
    pub fn chainages(&self) -> impl Iterator<Item = (Estimate, Estimate)> {
        self.measured.composed.stations.iter().map(|station| (station.chainage_m, station.offset_m))
    }
}
