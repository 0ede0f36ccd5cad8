//! Positions as they are recorded: the CRS that they are in, where that is on earth, and the way to the datum on which bases are
//! computed. The operation between datums is chosen for the place of each base.

use std::sync::Arc;

use super::base::{BaseSettings, Datum};
use crate::geodesy::crs::{AreaOfUse, ByPlace, CoordinateEpoch, Crs, CrsError, CrsKind, Transform};
use crate::geodesy::height_frame::{HeightFrame, is_geocentric};
use crate::numeric::words::of_all;
use crate::records::base_row::{BaseRow, Coordinates};
use crate::records::ledger::{Fault, Reason};

/// How far in kilometres from the area that its CRS is meant for a base may lie. Neighbouring zones overlap by less; local
/// coordinates that pass for those of a UTM zone lie 165 km from it or more.
const FAR_KM: f64 = 100.0;
/// Kilometres to a degree of latitude: 6371 km · π/180.
const KM_PER_DEGREE: f64 = 111.2;
/// Eastings and northings below this, in metres, are those of a local grid: national ones keep away from zero.
const LOCAL_M: f64 = 100_000.0;

/// A CRS that positions are recorded in, and the way to the datum they are computed on.
pub(super) struct RecordedCrs {
    pub crs: Crs,
    /// The geographic CRS of its own datum.
    pub own: Crs,
    /// From the recorded eastings and northings to it.
    to_own: Option<Transform>,
    /// From there to the datum; none where it is the own one.
    to_datum: Option<ByPlace>,
    /// Index of the datum.
    pub datum: usize,
    /// Whether heights above its own ellipsoid go along on the way to the datum.
    pub takes_height: bool,
    /// Whether its own datum lies about the earth's centre.
    pub is_geocentric: bool,
    /// Whether its own datum is that of the layers.
    pub is_layers_datum: bool,
    /// The frame of heights on its own datum.
    own_frame: Option<Arc<HeightFrame>>,
}

/// Where a recorded position lies.
pub(super) struct RecordedPlace {
    /// Longitude and latitude from Greenwich in degrees on its own datum.
    pub own_deg: [f64; 2],
    /// Coordinates on its own datum, in the units of that.
    point: [f64; 3],
}

/// A position on the datum that bases are computed on.
pub(super) struct OnDatum {
    pub lon_deg: f64,
    pub lat_deg: f64,
    /// Height above the ellipsoid in metres, where it went along.
    pub height_m: f64,
    /// The operation between datums.
    pub step: Option<Arc<Transform>>,
}

impl RecordedCrs {
    /// Opens the CRS that a definition names. `datums` grows where its datum is new.
    pub fn open(definition: &str, datums: &mut Vec<Datum>, settings: &BaseSettings) -> Result<RecordedCrs, CrsError> {
        let crs = Crs::new(definition)?;
        // The vertical part of a compound CRS is told by the height column instead.
        let horizontal = crs.horizontal()?;
        let own = crs.geographic()?;
        // A local frame is computed where it is: nothing ties it to the earth.
        let geocentric = is_geocentric(&own) || crs.is_local();
        let datum_crs = if geocentric { own.geographic_3d()? } else { Crs::new("EPSG:4979")? };
        let datum = match datums.iter().position(|datum| datum.crs.same_as(&datum_crs)) {
            Some(datum) => datum,
            None => {
                datums.push(Datum { frame: Arc::new(HeightFrame::from_crs(&datum_crs)?), crs: datum_crs });
                datums.len() - 1
            }
        };
        let to_own = match crs.kind() {
            CrsKind::Geographic => None,
            CrsKind::Projected => Some(Transform::new(&horizontal, &own, None, settings.rules)?),
        };
        let to_datum = match geocentric {
            true => None,
            false => {
                let area = crs.area_of_use().map(|area| area.edges_deg);
                Some(ByPlace::new(crs.geographic()?, Crs::new("EPSG:4979")?, settings.rules, area))
            }
        };
        Ok(RecordedCrs {
            takes_height: horizontal.has_ellipsoid_height(),
            own_frame: if geocentric { None } else { Some(Arc::new(HeightFrame::from_crs(&own)?)) },
            is_geocentric: geocentric,
            is_layers_datum: own.geographic_3d()?.same_as(&settings.output.geographic_3d()?),
            crs,
            own,
            to_own,
            to_datum,
            datum,
        })
    }

    /// Coordinates as they are recorded, in the units of the CRS.
    ///
    /// # Errors
    /// When they are not of the kind that the CRS has.
    pub fn coordinates(&self, row: &BaseRow) -> Result<[f64; 2], CrsError> {
        match (row.coordinates, self.crs.kind()) {
            (Coordinates::Geographic { lat_deg, lon_deg }, CrsKind::Geographic) => Ok([lon_deg, lat_deg]),
            (Coordinates::Projected { east_m, north_m }, CrsKind::Projected) => {
                Ok([east_m / self.crs.unit_factor(), north_m / self.crs.unit_factor()])
            }
            (coordinates, kind) => {
                let (purpose, remedy) = match coordinates {
                    Coordinates::Geographic { .. } => ("latitudes and longitudes", "name a geographic one such as EPSG:4979"),
                    Coordinates::Projected { .. } => ("eastings and northings", "name the projected one they are in"),
                };
                let kind = if kind == CrsKind::Projected { "projected" } else { "geographic" };
                Err(CrsError::Unsuitable { name: self.crs.label(), purpose, kind, remedy })
            }
        }
    }

    /// Where coordinates lie on the own datum.
    ///
    /// # Errors
    /// Outside: when PROJ fails as a whole. Inside: when the CRS cannot express them.
    pub fn locate(&self, [x, y]: [f64; 2], height_m: f64) -> Result<Result<RecordedPlace, Fault>, CrsError> {
        let mut point = [[x, y, height_m]];
        if let Some(to_own) = &self.to_own {
            to_own.apply(&mut point)?;
        }
        let (lon_deg, lat_deg) = self.own.greenwich_degrees(point[0][0], point[0][1]);
        if !lon_deg.is_finite() || !lat_deg.is_finite() || lat_deg.abs() > 90.0 {
            return Ok(Err(self.inexpressible([x, y])));
        }
        Ok(Ok(RecordedPlace { own_deg: [lon_deg, lat_deg], point: point[0] }))
    }

    /// The position on the datum, by the operation for its place.
    ///
    /// # Errors
    /// Outside: when there is no operation that may be used. Inside: when the operation cannot express the position.
    pub fn onto_datum(&self, located: &RecordedPlace, epoch: Option<f64>) -> Result<Result<OnDatum, Fault>, CrsError> {
        let [lon_deg, lat_deg] = located.own_deg;
        let Some(to_datum) = &self.to_datum else {
            return Ok(Ok(OnDatum { lon_deg, lat_deg, height_m: located.point[2], step: None }));
        };
        let transform = to_datum.at(lon_deg, lat_deg, located.point)?;
        let mut point = [located.point];
        match epoch {
            Some(year) if transform.needs_epoch() => transform.apply_at(&mut point, CoordinateEpoch::All(year))?,
            _ => transform.apply(&mut point)?,
        }
        let [lon_deg, lat_deg, height_m] = point[0];
        if point[0].iter().any(|coordinate| !coordinate.is_finite()) || lat_deg.abs() > 90.0 {
            return Ok(Err(self.inexpressible(located.own_deg)));
        }
        Ok(Ok(OnDatum { lon_deg, lat_deg, height_m, step: Some(transform) }))
    }

    /// How far the own ellipsoid lies above that of WGS 84 at a place, in metres, for a datum that is not about the earth's centre.
    pub fn own_frame(&self) -> Option<&Arc<HeightFrame>> {
        self.own_frame.as_ref()
    }

    fn inexpressible(&self, [x, y]: [f64; 2]) -> Fault {
        let value = format!("{} {}", as_written(x), as_written(y));
        let say = format!("the position {value} lies outside what {} can express", self.crs.label());
        Fault::new(Reason::PositionRange, "", &value, say)
    }

    /// Kilometres from the area that the CRS is meant for, where those are too many to be a position in it.
    pub fn far_km(&self, located: &RecordedPlace) -> Option<f64> {
        let [lon_deg, lat_deg] = located.own_deg;
        let km = outside_km(self.crs.area_of_use()?, lon_deg, lat_deg);
        (km > FAR_KM).then_some(km)
    }

    /// What may be wrong with coordinates that lie far outside.
    pub fn why_far(&self, [x, y]: [f64; 2], located: &RecordedPlace) -> String {
        let Some(area) = self.crs.area_of_use() else { return String::new() };
        if let CrsKind::Geographic = self.crs.kind() {
            let [lon_deg, lat_deg] = located.own_deg;
            return match () {
                () if area.contains(lat_deg, lon_deg) => "with latitude and longitude swapped it would lie inside".into(),
                () if area.contains(-lon_deg, lat_deg) || area.contains(lon_deg, -lat_deg) => {
                    "with the other sign it would lie inside".into()
                }
                () => "look at latitude and longitude, and at the CRS".into(),
            };
        }
        let swapped = self.locate([y, x], 0.0).ok().and_then(Result::ok);
        if swapped.is_some_and(|swapped| area.contains(swapped.own_deg[0], swapped.own_deg[1])) {
            return "with easting and northing swapped it would lie inside".into();
        }
        let unit_m = self.crs.unit_factor();
        if (x * unit_m).abs() < LOCAL_M && (y * unit_m).abs() < LOCAL_M {
            return "such small numbers look like local coordinates of a site, which have no place on earth by themselves: give \
                    the bases in the CRS that they were tied to"
                .into();
        }
        "the positions may be in another zone, or another CRS".into()
    }
}

/// Kilometres from a position to an area, 0 inside: to the nearest place of its edges, on a sphere.
fn outside_km(area: &AreaOfUse, lon_deg: f64, lat_deg: f64) -> f64 {
    if area.contains(lon_deg, lat_deg) {
        return 0.0;
    }
    let [west, south, east, north] = area.edges_deg;
    let apart = |one: f64, other: f64| ((one - other + 180.0).rem_euclid(360.0) - 180.0).abs();
    let in_longitude = area.contains(lon_deg, south);
    let east_deg = if in_longitude { 0.0 } else { apart(lon_deg, west).min(apart(lon_deg, east)) };
    // On the parallel that is nearest the pole degrees of longitude are shortest.
    let nearest_lat = lat_deg.clamp(south, north);
    let shortening = nearest_lat.to_radians().cos().min(lat_deg.to_radians().cos());
    (east_deg * shortening).hypot(lat_deg - nearest_lat) * KM_PER_DEGREE
}

/// The name of an area without its list of countries.
fn shortened(name: &str) -> String {
    const LONGEST: usize = 100;
    let head = name.split([':', ';']).next().and_then(|head| head.split(". ").next()).unwrap_or_default();
    let head = head.strip_suffix('.').unwrap_or(head);
    if head.chars().count() <= LONGEST { head.to_owned() } else { head.chars().take(LONGEST).collect::<String>() + "…" }
}

/// A coordinate without what a change of units or the sum of degrees, minutes and seconds leaves behind the ninth decimal.
fn as_written(coordinate: f64) -> f64 {
    let rounded = (coordinate * 1e9).round() / 1e9;
    if rounded.is_finite() { rounded } else { coordinate }
}

/// Bases that lie far outside the area that their CRS is meant for: how many, and the first in words.
#[derive(Default)]
pub(super) struct FarBases {
    count: usize,
    first: Option<CrsError>,
}

impl FarBases {
    /// Takes one up.
    pub fn take(
        &mut self,
        label: &str,
        row: &BaseRow,
        source: &RecordedCrs,
        recorded: [f64; 2],
        (located, far): (&RecordedPlace, String),
    ) {
        self.count += 1;
        if self.first.is_some() {
            return;
        }
        let [lon_deg, lat_deg] = located.own_deg;
        self.first = Some(CrsError::FarOutside {
            crs: source.crs.label(),
            area: source.crs.area_of_use().map(|area| shortened(&area.name)).unwrap_or_default(),
            bases: String::new(),
            first: format!(
                "{label} (line {}: {} {}), would lie at latitude {lat_deg:.3}, longitude {lon_deg:.3}, {far} outside: {}",
                row.line,
                as_written(recorded[0]),
                as_written(recorded[1]),
                source.why_far(recorded, located)
            ),
        });
    }

    /// The error that they are.
    pub fn error(self, of: usize) -> Option<CrsError> {
        match self.first? {
            CrsError::FarOutside { crs, area, first, .. } => {
                let bases = of_all(self.count as u64, of as u64, ["base", "bases"], ["lies", "lie"]);
                Some(CrsError::FarOutside { crs, area, bases, first })
            }
            other => Some(other),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sphere of 6371 km: one degree is 111.195 km.
    #[test]
    fn distances_from_an_area() {
        let area = |edges_deg| AreaOfUse { edges_deg, name: String::new() };
        let zone = area([-6.0, 0.0, 0.0, 84.0]);
        assert_eq!(outside_km(&zone, -3.0, 50.0), 0.0);
        assert!((outside_km(&zone, 1.0, 0.0) - 111.2).abs() < 0.1);
        assert!((outside_km(&zone, -8.0, 60.0) - 111.2).abs() < 0.1);
        assert!((outside_km(&zone, -3.0, -2.0) - 222.4).abs() < 0.1);
        // An area across 180°, from both sides, and a position beyond it.
        let across = area([177.0, -50.0, -176.0, -30.0]);
        assert_eq!(outside_km(&across, 179.0, -40.0), 0.0);
        assert_eq!(outside_km(&across, -179.0, -40.0), 0.0);
        let (east, west) = (outside_km(&across, -175.0, -40.0), outside_km(&across, 176.0, -40.0));
        assert!((east - 111.2 * 40f64.to_radians().cos()).abs() < 0.1 && (east - west).abs() < 0.1, "{east} {west}");
    }
}
