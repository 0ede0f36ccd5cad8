//! A coordinate reference system: what it is, its parts, units, ellipsoid and grid factors.

use std::sync::{Mutex, MutexGuard};

use proj_sys as sys;

use super::error::CrsError;
use super::raw::{Grids, ProjObject};
use crate::geodesy::LOCAL;
use crate::geodesy::frame::Ellipsoid;

/// What a local frame is computed in: the plane that touches a sphere of the Earth's mean radius, at a point where meridians do
/// not converge. Its scale is 1 within 1e-8 up to 900 m from the zero (1 + x²/2R²).
const LOCAL_PLANE: &str = "+proj=tmerc +lat_0=0 +lon_0=0 +k=1 +x_0=0 +y_0=0 +R=6371000 +units=m +no_defs +type=crs";

/// What kind of horizontal part a CRS has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CrsKind {
    /// Longitude and latitude.
    Geographic,
    /// Easting and northing of a map projection.
    Projected,
}

/// Where a CRS is meant to be used.
#[derive(Debug, Clone, PartialEq)]
pub struct AreaOfUse {
    /// West, south, east and north edge in degrees; west is greater than east across ±180°.
    pub edges_deg: [f64; 4],
    /// The authority's name of the area.
    pub name: String,
}

impl AreaOfUse {
    /// Whether a position lies inside.
    pub fn contains(&self, lon_deg: f64, lat_deg: f64) -> bool {
        let [west, south, east, north] = self.edges_deg;
        let in_longitude = if west <= east { (west..=east).contains(&lon_deg) } else { lon_deg >= west || lon_deg <= east };
        in_longitude && (south..=north).contains(&lat_deg)
    }
}

/// How a projected CRS's grid lies at a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GridFactors {
    /// Convergence: true azimuth minus grid azimuth, in radians, east positive.
    pub convergence_rad: f64,
    /// Point scale factor along the meridian: grid length over ellipsoidal length.
    pub scale: f64,
}

/// A coordinate reference system.
pub struct Crs {
    definition: String,
    name: String,
    id: Option<(String, String)>,
    kind: CrsKind,
    /// The horizontal part, without a vertical one.
    horizontal: Mutex<ProjObject>,
    /// All of it, as named.
    whole: Mutex<ProjObject>,
    vertical: Option<Vertical>,
    /// Whether the CRS itself has an ellipsoidal height as third axis.
    has_ellipsoid_height: bool,
    ellipsoid: Ellipsoid,
    /// Metres (projected) or radians (geographic) in one unit of the horizontal axes.
    unit_factor: f64,
    unit_name: String,
    is_northing_first: bool,
    meridian_rad: f64,
    area: Option<AreaOfUse>,
    /// A copy for `proj_factors`, which writes to its object.
    factors: Mutex<ProjObject>,
}

/// The vertical part of a compound CRS.
#[derive(Debug, Clone, PartialEq)]
pub struct Vertical {
    /// Name.
    pub name: String,
    /// Metres in one unit.
    pub unit_factor: f64,
    /// Name of the unit.
    pub unit_name: String,
    /// Whether heights count downwards (depths).
    pub down: bool,
}

impl Crs {
    /// The CRS that a text names: an authority code, a compound of two, WKT, a PROJ string.
    ///
    /// # Errors
    /// When PROJ does not know it, or it is neither geographic nor projected.
    pub fn new(definition: &str) -> Result<Crs, CrsError> {
        let definition = definition.trim();
        let unknown = || CrsError::Unknown { definition: definition.to_owned() };
        if let Some(instead) = instead_of_init(definition) {
            return Err(CrsError::OldForm { definition: definition.to_owned(), instead });
        }
        let text = if definition == LOCAL {
            LOCAL_PLANE.to_owned()
        } else if definition.starts_with('+') && !definition.contains("+type=crs") {
            format!("{definition} +type=crs")
        } else {
            definition.to_owned()
        };
        let whole = ProjObject::new(&text).filter(ProjObject::is_crs).ok_or_else(unknown)?;
        Crs::from_object(whole, definition.to_owned())
    }

    fn from_object(whole: ProjObject, definition: String) -> Result<Crs, CrsError> {
        let inside = |what: &str| CrsError::Inside { what: what.to_owned(), gist: whole.name() };
        let unsuitable = |kind| CrsError::Unsuitable {
            name: whole.name(),
            purpose: "positions",
            kind,
            remedy: "name a geographic or projected one, alone or with a vertical one as in EPSG:32630+5773",
        };
        let compound = whole.kind() == sys::PJ_TYPE_PJ_TYPE_COMPOUND_CRS;
        let horizontal =
            if compound { whole.part(0) } else { whole.copy() }.ok_or_else(|| inside("reading the horizontal part"))?;
        let kind = match horizontal.kind() {
            sys::PJ_TYPE_PJ_TYPE_GEOGRAPHIC_2D_CRS | sys::PJ_TYPE_PJ_TYPE_GEOGRAPHIC_3D_CRS => CrsKind::Geographic,
            sys::PJ_TYPE_PJ_TYPE_PROJECTED_CRS | sys::PJ_TYPE_PJ_TYPE_DERIVED_PROJECTED_CRS => CrsKind::Projected,
            sys::PJ_TYPE_PJ_TYPE_GEOCENTRIC_CRS => return Err(unsuitable("earth-centred")),
            sys::PJ_TYPE_PJ_TYPE_VERTICAL_CRS => return Err(unsuitable("a vertical one alone")),
            sys::PJ_TYPE_PJ_TYPE_BOUND_CRS => {
                return Err(unsuitable("bound to another by parameters of its own"));
            }
            _ => return Err(unsuitable("neither geographic nor projected")),
        };
        let (semi_major_m, inverse) = horizontal.ellipsoid().ok_or_else(|| inside("reading the ellipsoid"))?;
        let axes = horizontal.axes();
        let first = axes.first().ok_or_else(|| inside("reading the axes"))?;
        let vertical = if compound {
            let part = whole.part(1).ok_or_else(|| inside("reading the vertical part"))?;
            let axis = part.axes().into_iter().next().ok_or_else(|| inside("reading the vertical axis"))?;
            Some(Vertical {
                name: part.name(),
                unit_factor: axis.unit_factor,
                unit_name: axis.unit_name,
                down: axis.direction == "down",
            })
        } else {
            None
        };
        Ok(Crs {
            name: whole.name(),
            id: whole.id(),
            kind,
            vertical,
            has_ellipsoid_height: axes.len() == 3,
            ellipsoid: Ellipsoid { semi_major_m, flattening: if inverse == 0.0 { 0.0 } else { 1.0 / inverse } },
            unit_factor: first.unit_factor,
            unit_name: first.unit_name.clone(),
            is_northing_first: is_northing_first(&axes),
            meridian_rad: horizontal.prime_meridian_rad().unwrap_or(0.0),
            area: whole.area_of_use().or_else(|| horizontal.area_of_use()).map(|(edges_deg, name)| AreaOfUse { edges_deg, name }),
            factors: Mutex::new(horizontal.copy().ok_or_else(|| inside("copying"))?),
            horizontal: Mutex::new(horizontal),
            whole: Mutex::new(whole),
            definition,
        })
    }

    /// Whether it is a local frame, which has no place on the Earth.
    pub fn is_local(&self) -> bool {
        self.definition == LOCAL
    }

    /// The text that named it.
    pub fn definition(&self) -> &str {
        &self.definition
    }

    /// PROJ's name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Name and code for people: `WGS 84 / UTM zone 30N (EPSG:32630)`.
    pub fn label(&self) -> String {
        match &self.id {
            _ if self.is_local() => "a local frame, metres east and north of its zero".to_owned(),
            Some((authority, code)) => format!("{} ({authority}:{code})", self.name),
            None => self.name.clone(),
        }
    }

    /// Whether its authority counts the northing or latitude first, unlike the layers, which have eastings and longitudes first.
    pub fn is_northing_first(&self) -> bool {
        self.is_northing_first
    }

    /// Authority and code, where it has them.
    pub fn id(&self) -> Option<(&str, &str)> {
        self.id.as_ref().map(|(authority, code)| (authority.as_str(), code.as_str()))
    }

    /// Geographic or projected.
    pub fn kind(&self) -> CrsKind {
        self.kind
    }

    /// The vertical part of a compound CRS.
    pub fn vertical(&self) -> Option<&Vertical> {
        self.vertical.as_ref()
    }

    /// Whether the third axis is the height above the ellipsoid.
    pub fn has_ellipsoid_height(&self) -> bool {
        self.has_ellipsoid_height
    }

    /// The ellipsoid.
    pub fn ellipsoid(&self) -> &Ellipsoid {
        &self.ellipsoid
    }

    /// Metres (projected) or radians (geographic) in one unit of the horizontal axes.
    pub fn unit_factor(&self) -> f64 {
        self.unit_factor
    }

    /// Name of the unit of the horizontal axes.
    pub fn unit_name(&self) -> &str {
        &self.unit_name
    }

    /// Longitude of its meridian from Greenwich in radians, east positive: 0 but for a few old systems.
    pub fn meridian_rad(&self) -> f64 {
        self.meridian_rad
    }

    /// Longitude from Greenwich and latitude in degrees, of a geographic CRS's own coordinates in its
    /// own unit.
    pub fn greenwich_degrees(&self, lon: f64, lat: f64) -> (f64, f64) {
        let lon_deg = (lon * self.unit_factor + self.meridian_rad).to_degrees();
        let wrapped = if lon_deg.abs() > 180.0 { (lon_deg + 180.0).rem_euclid(360.0) - 180.0 } else { lon_deg };
        (wrapped, (lat * self.unit_factor).to_degrees())
    }

    /// Whether a geographic CRS has degrees counted from Greenwich.
    pub fn is_plain(&self) -> bool {
        self.meridian_rad == 0.0 && (self.unit_factor - 1f64.to_radians()).abs() < 1e-12
    }

    /// The same grid of the United States on NAD83(2011), the datum of receivers and networks there since 2011, for a grid on an older
    /// realisation: in the EPSG registry the two have one name but for the datum in it.
    pub fn on_nad83_2011(&self) -> Option<Crs> {
        let (datum, grid) = self.name().split_once(" / ")?;
        if !datum.starts_with("NAD83") || datum == "NAD83(2011)" {
            return None;
        }
        Crs::new(&format!("NAD83(2011) / {grid}")).ok().filter(|twin| twin.id().is_some())
    }

    /// Where it is meant to be used.
    pub fn area_of_use(&self) -> Option<&AreaOfUse> {
        self.area.as_ref()
    }

    /// The geographic CRS of its datum with an ellipsoidal height: where positions are computed.
    ///
    /// # Errors
    /// When PROJ cannot make it.
    pub fn geographic_3d(&self) -> Result<Crs, CrsError> {
        let inside = || CrsError::Inside { what: "finding the datum".into(), gist: self.name.clone() };
        let geodetic = held(&self.horizontal).geodetic().ok_or_else(inside)?;
        let whole = geodetic.with_height().ok_or_else(inside)?;
        let definition = whole.name();
        Crs::from_object(whole, definition)
    }

    /// The geographic CRS on whose ellipsoid the undulations of the geoid model stand that PROJ's database ties the vertical part to,
    /// by the best operation of the CRS's area, installed or not: NAD83(2011) for NAVD88 height. None where it ties none.
    ///
    /// The database names such an operation after its ends, "NAD83(2011) to NAVD88 height (3)", and PROJ keeps the name where it
    /// joins it with others.
    ///
    /// # Errors
    /// When PROJ cannot make the geographic CRS of the layers' datum.
    pub fn frame_of_vertical(&self) -> Result<Option<Crs>, CrsError> {
        let Some(vertical) = &self.vertical else { return Ok(None) };
        // Heights in feet are converted from those in metres.
        let name = vertical.name.trim_end_matches(" (ftUS)").trim_end_matches(" (ft)");
        let area = self.area.as_ref().map(|area| area.edges_deg);
        let geographic = self.geographic_3d()?;
        let Some((source, target)) = geographic.object().zip(self.object()) else { return Ok(None) };
        let ranked = source.operations_to(&target, area, Grids::Ignored, false);
        let frame = ranked.iter().find_map(|operation| {
            let named = operation.name();
            let (before, _) = named.split_once(&format!(" to {name} ("))?;
            let frame = before.rsplit(" + ").next()?;
            Crs::new(frame).ok()
        });
        Ok(frame)
    }

    /// The geographic CRS of its datum, with a height where it has one itself.
    ///
    /// # Errors
    /// When PROJ cannot find it.
    pub fn geographic(&self) -> Result<Crs, CrsError> {
        let inside = || CrsError::Inside { what: "finding the datum".into(), gist: self.name.clone() };
        let whole = held(&self.horizontal).geodetic().ok_or_else(inside)?;
        let definition = whole.name();
        Crs::from_object(whole, definition)
    }

    /// The horizontal part alone.
    ///
    /// # Errors
    /// When PROJ cannot copy it.
    pub fn horizontal(&self) -> Result<Crs, CrsError> {
        let inside = || CrsError::Inside { what: "copying".into(), gist: self.name.clone() };
        let whole = held(&self.horizontal).copy().ok_or_else(inside)?;
        let definition = whole.name();
        Crs::from_object(whole, definition)
    }

    /// The horizontal part with an ellipsoidal height.
    ///
    /// # Errors
    /// When PROJ cannot make it.
    pub fn horizontal_3d(&self) -> Result<Crs, CrsError> {
        let inside = || CrsError::Inside { what: "adding a height".into(), gist: self.name.clone() };
        let whole = held(&self.horizontal).with_height().ok_or_else(inside)?;
        let definition = whole.name();
        Crs::from_object(whole, definition)
    }

    /// Whether its positions mean something only together with a date: its datum is a dynamic reference
    /// frame by EPSG's register (ITRF2014, WGS 84 (G2139), and the ETRF realisations). A plate-fixed datum
    /// (GDA2020, NAD83(2011)) is not; nor is an ensemble (WGS 84, ETRS89), whose members differ by more
    /// than a date tells.
    pub fn is_dynamic(&self) -> bool {
        let geodetic = held(&self.horizontal).geodetic();
        geodetic.is_some_and(|geodetic| geodetic.has_dynamic_datum())
    }

    /// Whether both are the same but for the order of geographic axes.
    pub fn same_as(&self, other: &Crs) -> bool {
        // A copy, so that no two locks are ever held at once.
        let other = held(&other.whole).copy();
        other.is_some_and(|other| held(&self.whole).equivalent(&other))
    }

    /// WKT 2:2019.
    pub fn wkt2(&self) -> Option<String> {
        held(&self.whole).wkt(sys::PJ_WKT_TYPE_PJ_WKT2_2019)
    }

    /// WKT 1 as GDAL writes it; none for what WKT 1 cannot say.
    pub fn wkt1(&self) -> Option<String> {
        held(&self.whole).wkt(sys::PJ_WKT_TYPE_PJ_WKT1_GDAL)
    }

    /// WKT 1 in the dialect of `.prj` files, of the horizontal part.
    pub fn prj_text(&self) -> Option<String> {
        held(&self.horizontal).wkt(sys::PJ_WKT_TYPE_PJ_WKT1_ESRI)
    }

    /// Convergence and scale of a projected CRS at a position on its datum, the longitude counted from
    /// the CRS's own meridian ([`Crs::meridian_rad`]); none where the
    /// projection has no such point, and for geographic systems.
    pub fn grid_factors(&self, lon_rad: f64, lat_rad: f64) -> Option<GridFactors> {
        if self.kind != CrsKind::Projected {
            return None;
        }
        held(&self.factors).factors(lon_rad, lat_rad).map(|(convergence_rad, scale)| GridFactors { convergence_rad, scale })
    }

    /// A copy of PROJ's object.
    pub(super) fn object(&self) -> Option<ProjObject> {
        held(&self.whole).copy()
    }
}

/// What to write in place of `+init=epsg:32630`, an old form that PROJ reads by rules of its own and with a line of its own on
/// standard error; none for any other form.
fn instead_of_init(definition: &str) -> Option<String> {
    let (_, named) = definition.split_once("init=").filter(|(before, _)| matches!(before.trim(), "" | "+"))?;
    let code = named.split_whitespace().next().unwrap_or_default();
    Some(match code.split_once(':') {
        Some((authority, code)) if !code.is_empty() => format!("{}:{code}", authority.to_uppercase()),
        _ => "an authority code such as EPSG:32630".to_owned(),
    })
}

/// PROJ writes to its objects while it reads them; each is used by one thread at a time.
fn held(object: &Mutex<ProjObject>) -> MutexGuard<'_, ProjObject> {
    object.lock().unwrap_or_else(|poisoned| poisoned.into_inner())
}

impl std::fmt::Debug for Crs {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        write!(f, "Crs({})", self.label())
    }
}

/// By the first axis' direction; where both point the same way, as about a pole, by its name.
fn is_northing_first(axes: &[super::raw::CrsAxis]) -> bool {
    let [first, second, ..] = axes else { return false };
    match (first.direction.as_str(), second.direction.as_str()) {
        ("north" | "south", "east" | "west") => true,
        ("north" | "south", "north" | "south") => first.name.to_lowercase().starts_with("northing"),
        _ => false,
    }
}
