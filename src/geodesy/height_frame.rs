//! Frames of heights: how far the ellipsoid of one datum lies above or below that of another at a place.
//!
//! A geoid's undulations are counted from the ellipsoid of one frame, and an ellipsoidal height stands on that of its own.
//! NAD83 is by design some two metres off the earth's centre, so that its heights differ from those of WGS 84 by 0.3 to 1.7 m; an
//! older datum's by tens of metres. H = h − N holds within one frame alone.
//!
//! All frames are compared with one: WGS 84 as it has been realised since 1994, which is the International Terrestrial Reference
//! Frame within some centimetres (NGA.STND.0036, "World Geodetic System 1984", section 2; from memory). EGM96 belongs to
//! it. PROJ's transformation between WGS 84 and NAD83 is a null one, since both are known to metres only where their realisations go
//! unnamed; for heights that is not good enough, and NAD83 is compared by its realisation of the region in place of it: the
//! realisations of NAD83 agree in height within some centimetres (NOAA Technical Report NOS NGS 62, section 4; from memory).
//! Frames that PROJ knows to differ from WGS 84 by nothing are taken to agree with it: they are realisations of the ITRF fixed at
//! some epoch to a plate, which agree in height within about a decimetre.

use std::sync::Arc;

use super::crs::{ByPlace, CoordinateEpoch, Crs, CrsError, OperationRules, Transform};
use super::frame::{Ellipsoid, Geodetic};

/// The frame that all are compared with.
const COMMON: &str = "EPSG:7912";
/// WGS 84 as it is commonly named: an ensemble of its realisations.
const WGS84: &str = "EPSG:4979";
/// Realisations of NAD83 by region: NAD83(2011), NAD83(CSRS)v7, NAD83(PA11), NAD83(MA11).
const NAD83: [&str; 4] = ["EPSG:6319", "EPSG:8254", "EPSG:6321", "EPSG:6324"];
/// Decimal year at which frames that drift apart are compared where a position has no epoch: their heights drift by a millimetre a
/// year.
const COMMON_EPOCH: f64 = 2010.0;
/// A difference of heights in metres that counts as none.
const NOTHING_M: f64 = 0.001;

/// The frame of ellipsoidal heights on one datum.
pub struct HeightFrame {
    crs: Crs,
    /// Ways to the common frame, in the order in which they are tried; none for a frame that agrees with it.
    ways: Vec<ByPlace>,
    /// The way that tells frames of the ITRF apart by centimetres. Its search takes long.
    fine: Option<ByPlace>,
    /// Whether its ellipsoid lies about the earth's centre.
    is_geocentric: bool,
}

/// Whether a geographic CRS has the ellipsoid of WGS 84 or of GRS 1980, which differ by 0.1 mm, and degrees from Greenwich: then its
/// datum lies about the earth's centre.
pub fn is_geocentric(crs: &Crs) -> bool {
    let wgs84 = Ellipsoid::WGS84;
    (crs.ellipsoid().semi_major_m - wgs84.semi_major_m).abs() < 1.0
        && (crs.ellipsoid().flattening - wgs84.flattening).abs() < 1e-7
        && crs.is_plain()
}

impl HeightFrame {
    /// The frame of heights on the datum of a CRS.
    ///
    /// # Errors
    /// When PROJ cannot make the geographic CRS of the datum.
    pub fn from_crs(crs: &Crs) -> Result<HeightFrame, CrsError> {
        let own = || crs.geographic_3d();
        let crs = own()?;
        let wgs84 = Crs::new(WGS84)?;
        // A sphere is a figure to compute on, such as that of a local frame, and no datum: nothing lies between.
        let is_sphere = crs.ellipsoid().flattening == 0.0;
        let is_common = is_sphere || crs.same_as(&wgs84) || ["WGS 84", "ITRF"].iter().any(|name| crs.name().starts_with(name));
        // A way that loses accuracy for want of a grid still tells heights: grids of shifts leave them alone.
        let rules = OperationRules { missing_grids: true, ..OperationRules::default() };
        let (mut ways, mut fine) = (Vec::new(), None);
        if !is_common {
            ways.push(ByPlace::new(own()?, wgs84, rules, None));
            if crs.name().starts_with("NAD83") {
                for realisation in NAD83 {
                    ways.push(ByPlace::new(Crs::new(realisation)?, Crs::new(COMMON)?, rules, None));
                }
            }
            fine = Some(ByPlace::new(own()?, Crs::new(COMMON)?, rules, None));
        }
        Ok(HeightFrame { is_geocentric: is_geocentric(&crs), crs, ways, fine })
    }

    /// The geographic CRS of its datum with heights.
    pub fn crs(&self) -> &Crs {
        &self.crs
    }

    /// Height in this frame minus height in the common one, in metres, of a position in this frame. `is_fine` asks for
    /// centimetres. None where no way is known and the ellipsoid does not lie about the earth's centre.
    ///
    /// # Errors
    /// When PROJ fails as a whole.
    pub fn over_common_m(&self, at: &Geodetic, epoch: Option<f64>, is_fine: bool) -> Result<Option<f64>, CrsError> {
        for way in self.ways.iter().chain(self.fine.as_ref().filter(|_| is_fine)) {
            let (lon_deg, lat_deg) = (at.lon_rad.to_degrees(), at.lat_rad.to_degrees());
            // A place for which there is no way this way has one by another.
            let Ok(ranked) = way.ranked(lon_deg, lat_deg) else { continue };
            for transform in ranked.iter() {
                let Some(height_m) = height_by(transform, &self.crs, at, epoch)? else { continue };
                if (at.ellipsoid_height_m - height_m).abs() > NOTHING_M {
                    return Ok(Some(at.ellipsoid_height_m - height_m));
                }
            }
        }
        Ok(self.is_geocentric.then_some(0.0))
    }
}

/// The height of a position after an operation from a geographic CRS.
fn height_by(transform: &Arc<Transform>, crs: &Crs, at: &Geodetic, epoch: Option<f64>) -> Result<Option<f64>, CrsError> {
    let own = |angle_rad: f64| angle_rad / crs.unit_factor();
    let mut points = [[own(at.lon_rad - crs.meridian_rad()), own(at.lat_rad), at.ellipsoid_height_m]];
    if transform.needs_epoch() {
        transform.apply_at(&mut points, CoordinateEpoch::All(epoch.unwrap_or(COMMON_EPOCH)))?;
    } else {
        transform.apply(&mut points)?;
    }
    Ok(points[0].iter().all(|coordinate| coordinate.is_finite()).then_some(points[0][2]))
}

/// The frames that geoids belong to; none where it is the one of the positions themselves.
#[derive(Default)]
pub struct GeoidFrames {
    /// Of the grid file.
    pub grid: Option<Arc<HeightFrame>>,
    /// Of separations in the log of points.
    pub separations: Option<Arc<HeightFrame>>,
}
