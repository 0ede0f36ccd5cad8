//! Vectors to points: base + vector on the datum, then the CRS of the layers.
//!
//! base geodetic → earth-centred, plus the vector turned by the local frame, → geodetic on the same
//! datum ([`crate::geodesy::frame`]) → geographic on the datum of the layers' CRS → easting, northing and the
//! height of its vertical part ([`crate::geodesy::crs`]). No coordinates are added in the plane. Operations between datums and of
//! heights are chosen for the place of each base, and serve all that is sighted from it.

use std::collections::HashMap;
use std::sync::{Arc, Mutex};

use jiff::civil::Date;

use crate::geodesy::crs::{ByPlace, CoordinateEpoch, Crs, CrsError, CrsKind, OperationRules, Transform};
use crate::geodesy::frame::Geodetic;
use crate::geodesy::geoid::{self, Undulation, UndulationSource};
use crate::geodesy::north::{self, ModelDeclination, NorthError};
use crate::job::{Declination as DeclinationChoice, Geoid, Heights, North};
use crate::shots::reduce::Vector;
use crate::stations::base::{Base, BaseTable};

/// First year of the World Magnetic Model 2025.
const MODEL_2025_YEAR: i16 = 2025;

/// Standard error of a declination that the job gives in degrees, where it gives none: commonly what
/// a model is good for (NOAA's declination calculator says 30 minutes of arc).
pub const ASSUMED_SIGMA_DECLINATION_DEG: f64 = 0.5;

/// A point in the CRS of the layers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Longitude and latitude in degrees on the layers' datum; not a number in a local frame, which has none.
    pub lon_deg: f64,
    /// See `lon_deg`.
    pub lat_deg: f64,
    /// Easting, or longitude in degrees where the CRS is geographic, in its unit.
    pub x: f64,
    /// Northing, or latitude in degrees.
    pub y: f64,
    /// The height that the layers' third coordinate carries, in the unit of the vertical part.
    pub z: Option<f64>,
    /// Height above the ellipsoid of the layers' datum in metres.
    pub ellipsoid_height_m: Option<f64>,
    /// Height above the geoid in metres.
    pub orthometric_height_m: Option<f64>,
    /// Height of the geoid above the ellipsoid of the base's datum in metres.
    pub undulation: Option<Undulation>,
}

impl Placed {
    /// Height of the geoid above the ellipsoid of the layers' datum in metres: what lies between its two heights, and the undulation
    /// itself where one of them is not known.
    pub fn undulation_m(&self) -> Option<f64> {
        let undulation = self.undulation?;
        let both = self.ellipsoid_height_m.zip(self.orthometric_height_m);
        Some(both.map_or(undulation.metres, |(ellipsoid_m, orthometric_m)| ellipsoid_m - orthometric_m))
    }

    /// Whether the CRS of the layers has an image of it.
    pub fn is_there(&self) -> bool {
        let is_finite = self.x.is_finite() && self.y.is_finite() && !self.lon_deg.is_infinite() && !self.lat_deg.is_infinite();
        is_finite && self.z.is_none_or(f64::is_finite)
    }
}

/// What the third coordinate of the layers is.
#[derive(Debug, Clone, PartialEq)]
pub enum ThirdCoordinate {
    /// Metres above the ellipsoid.
    Ellipsoid,
    /// Metres above the geoid, where the job uses no geoid and bases have orthometric heights.
    Orthometric,
    /// The vertical part of the CRS, by PROJ and its grid.
    Vertical {
        /// Name of the vertical CRS.
        name: String,
    },
    /// The vertical part of the CRS, by a geoid of the job in place of PROJ's grid, as the job allows.
    JobGeoid {
        /// Name of the vertical CRS.
        name: String,
        /// Name of the geoid.
        geoid: String,
    },
}

impl ThirdCoordinate {
    /// In words, for summaries and layer descriptions.
    pub fn words(&self) -> String {
        match self {
            ThirdCoordinate::Ellipsoid => "height above the ellipsoid, metres".into(),
            ThirdCoordinate::Orthometric => "height of the kind the bases have, above their vertical datum, metres".into(),
            ThirdCoordinate::Vertical { name } => format!("{name}, by PROJ"),
            ThirdCoordinate::JobGeoid { name, geoid } => format!("{name}, by {geoid} in place of its own grid"),
        }
    }
}

/// From the datums of the bases to the CRS of the layers.
pub struct Locator<'j> {
    /// Whether the layers have no place on the Earth.
    is_local: bool,
    /// Per datum of the bases, the ways to the layers' datum; none where it is the same.
    to_output: Vec<Option<ByPlace>>,
    /// The layers' geographic CRS, where it has not plain degrees from Greenwich.
    odd: Option<Crs>,
    /// From the layers' datum to easting and northing; none for a geographic CRS.
    project: Option<Transform>,
    /// From the layers' datum to all of a CRS with a vertical part.
    vertical: Option<ByPlace>,
    third: ThirdCoordinate,
    /// Units of the vertical part in a metre; negative for depths.
    vertical_units_per_m: f64,
    geoid: &'j geoid::Geoids,
}

impl<'j> Locator<'j> {
    /// Chooses the operations.
    ///
    /// # Errors
    /// By the rules of [`Transform::new`]; a missing vertical grid's message also names the built-in
    /// geoid as a remedy.
    pub fn new(
        table: &BaseTable,
        output: &Crs,
        heights: &Heights,
        rules: OperationRules,
        geoid: &'j geoid::Geoids,
    ) -> Result<Locator<'j>, CrsError> {
        let area = output.area_of_use().map(|area| area.edges_deg);
        let geographic = output.geographic_3d()?;
        let mut to_output = Vec::with_capacity(table.datums.len());
        for (index, datum) in table.datums.iter().enumerate() {
            let ways = match datum.crs.same_as(&geographic) {
                true => None,
                false => Some(ByPlace::new(datum.crs.geographic_3d()?, output.geographic_3d()?, rules, area)),
            };
            if let Some(ways) = &ways {
                choose_for_all(ways, table.bases.iter().filter(|base| base.datum == index))?;
            }
            to_output.push(ways);
        }
        let project = match output.kind() {
            CrsKind::Geographic => None,
            CrsKind::Projected => Some(Transform::new(&geographic, &output.horizontal()?, None, rules)?),
        };
        let (vertical, third, vertical_units_per_m) = match output.vertical() {
            None => {
                let only_orthometric = heights.geoid == Geoid::None
                    && table.bases.iter().any(|base| base.heights.orthometric_m.is_some())
                    && table.bases.iter().all(|base| base.heights.ellipsoid_m.is_none());
                let third = if only_orthometric { ThirdCoordinate::Orthometric } else { ThirdCoordinate::Ellipsoid };
                (None, third, 1.0)
            }
            Some(part) => {
                let units_per_m = if part.down { -1.0 } else { 1.0 } / part.unit_factor;
                let ways = ByPlace::new(output.geographic_3d()?, Crs::new(output.definition())?, OperationRules::default(), None);
                match choose_for_all(&ways, table.bases.iter()) {
                    Ok(()) => (Some(ways), ThirdCoordinate::Vertical { name: part.name.clone() }, 1.0),
                    Err(_) if geoid.grid().is_some() || (heights.allow_global_geoid && heights.geoid == Geoid::Global) => {
                        let used =
                            geoid.name(UndulationSource::Grid).or(geoid.name(UndulationSource::Global)).unwrap_or_default();
                        (None, ThirdCoordinate::JobGeoid { name: part.name.clone(), geoid: used }, units_per_m)
                    }
                    Err(CrsError::MissingGrid { from, to, place, operation, accuracy, grids, want, .. }) => {
                        return Err(CrsError::MissingGrid {
                            from,
                            to,
                            place,
                            operation,
                            accuracy,
                            grids,
                            want,
                            otherwise: ALLOW_GLOBAL.to_owned(),
                        });
                    }
                    Err(CrsError::BallparkOnly { from, to } | CrsError::NoOperation { from, to }) => {
                        return Err(CrsError::NoVertical { from, to, otherwise: ALLOW_GLOBAL });
                    }
                    Err(error) => return Err(error),
                }
            }
        };
        Ok(Locator {
            to_output,
            is_local: output.is_local(),
            odd: (!geographic.is_plain()).then_some(geographic),
            project,
            vertical,
            third,
            vertical_units_per_m,
            geoid,
        })
    }

    /// What the third coordinate of the layers is.
    pub fn third(&self) -> &ThirdCoordinate {
        &self.third
    }

    /// The operation from the datum of a base to that of the layers; none where they are one.
    ///
    /// # Errors
    /// When there is no operation for the place of the base that may be used.
    pub fn datum_operation(&self, base: &Base) -> Result<Option<Arc<Transform>>, CrsError> {
        self.to_output.get(base.datum).and_then(Option::as_ref).map(|ways| at_base(ways, base)).transpose()
    }

    /// The operation of heights for a base, where the CRS of the layers has a vertical part and PROJ a grid for it.
    ///
    /// # Errors
    /// As [`Locator::datum_operation`].
    pub fn vertical_operation(&self, base: &Base) -> Result<Option<Arc<Transform>>, CrsError> {
        self.vertical.as_ref().map(|ways| at_base(ways, base)).transpose()
    }

    /// Places points of one datum. `bases` gives each point's base, for the heights that are known;
    /// a point without `up` has none. A point that cannot be placed has coordinates that are not finite.
    ///
    /// # Errors
    /// When PROJ fails as a whole.
    pub fn place(&self, datum: usize, points: &[(Geodetic, bool, &Base)]) -> Result<Vec<Placed>, CrsError> {
        let mut lonlat: Vec<[f64; 3]> =
            points.iter().map(|(at, _, _)| [at.lon_rad.to_degrees(), at.lat_rad.to_degrees(), at.ellipsoid_height_m]).collect();
        if let Some(ways) = self.to_output.get(datum).and_then(Option::as_ref) {
            apply(ways, &mut lonlat, points)?;
        }
        let mut projected = lonlat.clone();
        if let Some(transform) = &self.project {
            transform.apply(&mut projected)?;
        }
        let mut vertical = Vec::new();
        if let Some(ways) = &self.vertical {
            vertical = lonlat.clone();
            apply(ways, &mut vertical, points)?;
        }
        let mut geoid = self.geoid.reader();
        Ok(points
            .iter()
            .enumerate()
            .map(|(i, (at, has_height, base))| {
                let undulation = match (*has_height, base.heights.undulation) {
                    (true, Some(_)) => geoid.undulation_m(at, base.row.separation_m, &base.geoid_steps),
                    _ => None,
                };
                let known = |height: Option<f64>| height.filter(|_| *has_height);
                let ellipsoid = known(base.heights.ellipsoid_m.map(|_| lonlat[i][2]));
                let orthometric = known(match (base.heights.ellipsoid_m, undulation) {
                    (Some(_), Some(undulation)) => Some(at.ellipsoid_height_m - undulation.metres),
                    (None, _) => base.heights.orthometric_m.map(|_| at.ellipsoid_height_m),
                    (Some(_), None) => None,
                });
                let z = match &self.third {
                    ThirdCoordinate::Ellipsoid => ellipsoid,
                    ThirdCoordinate::Orthometric => orthometric,
                    ThirdCoordinate::Vertical { .. } => ellipsoid.map(|_| vertical[i][2]),
                    ThirdCoordinate::JobGeoid { .. } => orthometric.map(|height| height * self.vertical_units_per_m),
                };
                let (lon_deg, lat_deg) = match &self.odd {
                    _ if self.is_local => (f64::NAN, f64::NAN),
                    None => (lonlat[i][0], lonlat[i][1]),
                    Some(odd) => odd.greenwich_degrees(lonlat[i][0], lonlat[i][1]),
                };
                Placed {
                    lon_deg,
                    lat_deg,
                    x: projected[i][0],
                    y: projected[i][1],
                    z,
                    ellipsoid_height_m: ellipsoid,
                    orthometric_height_m: orthometric,
                    undulation,
                }
            })
            .collect())
    }
}

const ALLOW_GLOBAL: &str = "Or write allow_global_geoid = true under [heights] in the job to use the \
    built-in global geoid in its place, good to about a metre, or name a CRS without a vertical part: \
    ellipsoidal and orthometric heights are written as attributes all the same.";

/// The operation for the place of a base.
fn at_base(ways: &ByPlace, base: &Base) -> Result<Arc<Transform>, CrsError> {
    let (lon_deg, lat_deg) = (base.at.lon_rad.to_degrees(), base.at.lat_rad.to_degrees());
    ways.at(lon_deg, lat_deg, [lon_deg, lat_deg, base.at.ellipsoid_height_m]).map_err(|error| error.at_base(&base.label))
}

/// Chooses the operation for each base.
///
/// # Errors
/// When one has none that may be used; and when no base lies where PROJ knows one, since then the place is what is wrong.
fn choose_for_all<'b>(ways: &ByPlace, bases: impl Iterator<Item = &'b Base>) -> Result<(), CrsError> {
    let (mut is_any_there, mut lost) = (false, None);
    for base in bases {
        at_base(ways, base)?;
        match ways.has_way(base.at.lon_rad.to_degrees(), base.at.lat_rad.to_degrees()) {
            true => is_any_there = true,
            false => lost = lost.or(Some(base)),
        }
    }
    match lost {
        Some(_) if !is_any_there && !ways.allows_ballpark() => Err(ways.lost()),
        _ => Ok(()),
    }
}

/// Applies the operations of the points' bases, by the epochs of these where they move with time.
fn apply(ways: &ByPlace, lonlat: &mut [[f64; 3]], points: &[(Geodetic, bool, &Base)]) -> Result<(), CrsError> {
    let mut rest = lonlat;
    for run in points.chunk_by(|(_, _, one), (_, _, other)| std::ptr::eq(*one, *other)) {
        let (own, others) = rest.split_at_mut(run.len());
        rest = others;
        let Some((_, _, base)) = run.first() else { continue };
        let transform = at_base(ways, base)?;
        match base.epoch {
            Some(year) if transform.needs_epoch() => transform.apply_at(own, CoordinateEpoch::All(year))?,
            _ => transform.apply(own)?,
        }
    }
    Ok(())
}

/// The end point of a vector from a base, on the base's datum; the flag tells whether its height counts.
pub fn end_point(base: &Base, table: &BaseTable, vector: &Vector) -> (Geodetic, bool) {
    let ellipsoid = table.datums[base.datum].crs.ellipsoid();
    let end = base.frame.to_earth_centred([vector.east_m, vector.north_m, vector.up_m.unwrap_or(0.0)]);
    (
        Geodetic::from_earth_centred(end, ellipsoid),
        vector.up_m.is_some() && base.heights.kind != crate::stations::base::HeightKind::None,
    )
}

/// Declinations by base and date, each computed once.
pub struct Declinations {
    choice: DeclinationChoice,
    sigma_fixed_rad: f64,
    /// Added to the model's value, and the standard error that stands in place of the model's.
    local: (f64, Option<f64>),
    known: Mutex<HashMap<(usize, Date), Result<ModelDeclination, NorthError>>>,
}

impl Declinations {
    /// As the job's `[north]` table says.
    pub fn new(north: &North) -> Declinations {
        Declinations {
            choice: north.declination,
            sigma_fixed_rad: north.sigma_declination_deg.unwrap_or(ASSUMED_SIGMA_DECLINATION_DEG).to_radians(),
            local: (north.local_correction_deg.to_radians(), north.sigma_local_correction_deg.map(f64::to_radians)),
            known: Mutex::new(HashMap::new()),
        }
    }

    /// Which error a declination has in common with others: that of the job's own value, or of the model of a date for bases near each other.
    pub fn entry(&self, base: &Base, date: Option<Date>) -> u32 {
        match (self.choice, date) {
            (DeclinationChoice::Model, Some(date)) => 1 + 2 * base.neighbours + u32::from(date.year() >= MODEL_2025_YEAR),
            _ => 0,
        }
    }

    /// What the error of an entry is of, in words: of one value of a job, or of one model with one correction.
    pub fn name(&self, entry: u32) -> String {
        match self.choice {
            DeclinationChoice::Degrees(degrees) => format!("declination {degrees}° given by the job"),
            DeclinationChoice::Model => {
                let model = if entry.is_multiple_of(2) { "from 2025" } else { "before 2025" };
                format!("declination of the model {model}, with {}° added", self.local.0.to_degrees())
            }
        }
    }

    /// The declination of a base at a date.
    ///
    /// # Errors
    /// As [`north::declination`].
    pub fn resolve(&self, index: usize, base: &Base, date: Option<Date>) -> Result<Option<ModelDeclination>, NorthError> {
        match (self.choice, date) {
            (DeclinationChoice::Degrees(degrees), _) => Ok(Some(ModelDeclination {
                declination_rad: degrees.to_radians(),
                sigma_rad: self.sigma_fixed_rad,
                horizontal_field_nt: f64::NAN,
                zone: None,
            })),
            (DeclinationChoice::Model, None) => Ok(None),
            (DeclinationChoice::Model, Some(date)) => {
                let mut known = self.known.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
                let value = known.entry((index, date)).or_insert_with(|| {
                    north::declination(&base.at, date).map(|model| ModelDeclination {
                        declination_rad: model.declination_rad + self.local.0,
                        sigma_rad: self.local.1.unwrap_or(model.sigma_rad),
                        ..model
                    })
                });
                value.clone().map(Some)
            }
        }
    }

    /// The declination that the job fixes, and its standard error, in radians; none for the model's.
    pub fn fixed(&self) -> Option<(f64, f64)> {
        match self.choice {
            DeclinationChoice::Degrees(degrees) => Some((degrees.to_radians(), self.sigma_fixed_rad)),
            DeclinationChoice::Model => None,
        }
    }

    /// The declinations that were asked for so far, by base, in order of days.
    pub fn by_base(&self) -> HashMap<usize, Vec<(Date, ModelDeclination)>> {
        let known = self.known.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
        let mut found: HashMap<usize, Vec<(Date, ModelDeclination)>> = HashMap::new();
        for ((base, date), value) in known.iter() {
            if let Ok(declination) = value {
                found.entry(*base).or_default().push((*date, *declination));
            }
        }
        found.values_mut().for_each(|days| days.sort_by_key(|(date, _)| *date));
        found
    }

    /// The names of the models used so far.
    pub fn models(&self) -> Vec<&'static str> {
        let known = self.known.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
        let mut names: Vec<&str> =
            known.iter().filter(|(_, value)| value.is_ok()).map(|((_, date), _)| north::model_name(*date)).collect();
        names.sort_unstable();
        names.dedup();
        names
    }
}
