//! Safe handles on PROJ's objects: the only `unsafe` of the program.
//!
//! A PROJ context must not be used by two threads at once, and an object uses the context it was
//! made with. So every [`ProjObject`] here owns a context of its own, can be sent to another thread
//! (nothing else points into it), and cannot be shared between threads (it is not `Sync`).

mod at_the_end;

use std::collections::BTreeMap;
use std::ffi::{CStr, CString, c_char, c_int};
use std::marker::PhantomData;
use std::path::Path;
use std::ptr::{self, NonNull};
use std::sync::Mutex;

use proj_sys as sys;

use super::grid_files;
pub use at_the_end::at_the_end;

/// A PROJ object together with its context.
pub struct ProjObject {
    pj: NonNull<sys::PJ>,
    context: NonNull<sys::PJ_CONTEXT>,
    /// Not `Sync`: PROJ writes to an object while it reads it.
    not_sync: PhantomData<std::cell::Cell<()>>,
}

// SAFETY: the context is made for this object alone and moves with it; PROJ keeps no thread-local
// state for either.
unsafe impl Send for ProjObject {}

impl Drop for ProjObject {
    fn drop(&mut self) {
        // SAFETY: both were made by PROJ, are owned here, and are freed once, object first.
        unsafe {
            sys::proj_destroy(self.pj.as_ptr());
            sys::proj_context_destroy(self.context.as_ptr());
        }
    }
}

/// An axis of a coordinate system.
pub struct CrsAxis {
    /// PROJ's name, such as `Northing` or `Geodetic latitude`.
    pub name: String,
    /// Size of the unit in metres or radians.
    pub unit_factor: f64,
    /// PROJ's name of the unit.
    pub unit_name: String,
    /// Direction, such as `east` or `up`.
    pub direction: String,
}

/// A grid file that an operation uses.
pub struct Grid {
    /// File name.
    pub name: String,
    /// Whether PROJ can open it, and it is in a format that PROJ reads here.
    pub available: bool,
}

/// How grid availability bears on the choice of operations.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Grids {
    /// As if every grid were installed.
    Ignored,
    /// Only operations whose grids are installed.
    Installed,
}

const DYNAMIC_FRAME: sys::PJ_TYPE = sys::PJ_TYPE_PJ_TYPE_DYNAMIC_GEODETIC_REFERENCE_FRAME;

/// PROJ's own name for the database that is linked into it.
const DATABASE_INSIDE: &CStr = c"__embedded_proj_db__";

fn new_context() -> Option<NonNull<sys::PJ_CONTEXT>> {
    // SAFETY: no arguments; the result is checked. Logging is off: errors are asked for instead.
    unsafe {
        let context = NonNull::new(sys::proj_context_create())?;
        sys::proj_log_level(context.as_ptr(), sys::PJ_LOG_LEVEL_PJ_LOG_NONE);
        sys::proj_context_set_file_finder(context.as_ptr(), Some(find_file), ptr::null_mut());
        // No grid is fetched over a network, whatever the environment or a proj.ini says, and no cache of such grids is made in
        // the home of the person who runs the program.
        sys::proj_context_set_enable_network(context.as_ptr(), 0);
        sys::proj_grid_cache_set_enable(context.as_ptr(), 0);
        // Without this a `proj.db` in the working folder would still be opened before the one inside.
        sys::proj_context_set_database_path(context.as_ptr(), DATABASE_INSIDE.as_ptr(), ptr::null(), ptr::null());
        Some(context)
    }
}

/// Keeps GDAL's own use of PROJ from the folders that PROJ was built with, and from the network.
pub fn seclude_gdal() {
    // A folder that does not exist: GDAL copies the list, which a null pointer ends.
    let folders = [c"/dev/null/inside-the-program".as_ptr(), ptr::null()];
    // SAFETY: the list and its texts outlive the call.
    unsafe {
        gdal_sys::OSRSetPROJSearchPaths(folders.as_ptr());
        gdal_sys::OSRSetPROJEnableNetwork(0);
    }
}

/// A path that cannot be opened: with none, PROJ would go on looking elsewhere.
const NOWHERE: &CStr = c"/dev/null/inside-the-program";

/// Finds a file for PROJ: grid files in the folders of `PROJ_DATA` (or `PROJ_LIB`), those in GeoTIFF as
/// copies that it can read; never a database or settings, so that those inside the program are used
/// whatever else is installed.
///
/// # Safety
/// `name` is null or a C string. What is returned lives as long as the program.
unsafe extern "C" fn find_file(_: *mut sys::PJ_CONTEXT, name: *const c_char, _: *mut std::ffi::c_void) -> *const c_char {
    static FOUND: Mutex<BTreeMap<String, Option<CString>>> = Mutex::new(BTreeMap::new());
    let name = text(name);
    if name == "proj.db" || name == "proj.ini" {
        return NOWHERE.as_ptr();
    }
    let mut found = FOUND.lock().unwrap_or_else(|poisoned| poisoned.into_inner());
    // An entry is never changed or removed, so that its text stays where it is.
    let path = found.entry(name.clone()).or_insert_with(|| {
        let path = grid_files::find(&name)?;
        CString::new(path.to_str()?).ok()
    });
    match path {
        Some(path) => path.as_ptr(),
        // PROJ tries the grid's older name next, of a file in another format.
        None if grid_files::is_named_tiff(Path::new(&name)) => NOWHERE.as_ptr(),
        None => ptr::null(),
    }
}

/// A copy of a C string that PROJ owns; empty for null.
fn text(pointer: *const c_char) -> String {
    if pointer.is_null() {
        return String::new();
    }
    // SAFETY: PROJ's strings end with NUL and live until the next call with their object; it is
    // copied at once.
    unsafe { CStr::from_ptr(pointer) }.to_string_lossy().into_owned()
}

impl ProjObject {
    /// The object that `definition` names.
    pub fn new(definition: &str) -> Option<ProjObject> {
        let definition = CString::new(definition).ok()?;
        ProjObject::with_context(|context| unsafe { sys::proj_create(context, definition.as_ptr()) })
    }

    /// Makes an object in a context of its own. `make` gets a live context.
    fn with_context(make: impl FnOnce(*mut sys::PJ_CONTEXT) -> *mut sys::PJ) -> Option<ProjObject> {
        let context = new_context()?;
        match NonNull::new(make(context.as_ptr())) {
            Some(pj) => Some(ProjObject { pj, context, not_sync: PhantomData }),
            None => {
                // SAFETY: the context is ours, and nothing was made in it.
                unsafe { sys::proj_context_destroy(context.as_ptr()) };
                None
            }
        }
    }

    /// Moves an object that was made in another context into one of its own.
    fn adopt(other: *mut sys::PJ) -> Option<ProjObject> {
        let other = NonNull::new(other)?;
        // SAFETY: `other` is live until destroyed below; proj_clone copies it into the new context.
        let copy = ProjObject::with_context(|context| unsafe { sys::proj_clone(context, other.as_ptr()) });
        unsafe { sys::proj_destroy(other.as_ptr()) };
        copy
    }

    /// A copy with a context of its own, for another thread.
    pub fn copy(&self) -> Option<ProjObject> {
        // SAFETY: `self.pj` is live; proj_clone reads it and writes into the new context.
        ProjObject::with_context(|context| unsafe { sys::proj_clone(context, self.pj.as_ptr()) })
    }

    /// PROJ's type number.
    pub fn kind(&self) -> sys::PJ_TYPE {
        // SAFETY: live object.
        unsafe { sys::proj_get_type(self.pj.as_ptr()) }
    }

    /// Whether it is a CRS.
    pub fn is_crs(&self) -> bool {
        // SAFETY: live object.
        unsafe { sys::proj_is_crs(self.pj.as_ptr()) != 0 }
    }

    /// Name.
    pub fn name(&self) -> String {
        // SAFETY: live object; the string is copied.
        text(unsafe { sys::proj_get_name(self.pj.as_ptr()) })
    }

    /// Authority and code.
    pub fn id(&self) -> Option<(String, String)> {
        // SAFETY: live object; index 0 is valid or gives null.
        let (authority, code) =
            unsafe { (sys::proj_get_id_auth_name(self.pj.as_ptr(), 0), sys::proj_get_id_code(self.pj.as_ptr(), 0)) };
        (!authority.is_null() && !code.is_null()).then(|| (text(authority), text(code)))
    }

    /// Well-known text of the given PROJ kind, on one line.
    pub fn wkt(&self, kind: sys::PJ_WKT_TYPE) -> Option<String> {
        let option = c"MULTILINE=NO";
        let options = [option.as_ptr(), ptr::null()];
        // SAFETY: live object and context; the options end with null.
        let wkt = unsafe { sys::proj_as_wkt(self.context.as_ptr(), self.pj.as_ptr(), kind, options.as_ptr()) };
        (!wkt.is_null()).then(|| text(wkt))
    }

    /// West, south, east, north in degrees, and the name of the area of use.
    pub fn area_of_use(&self) -> Option<([f64; 4], String)> {
        let mut edges = [0.0; 4];
        let mut name = ptr::null();
        let [west, south, east, north] = &mut edges;
        // SAFETY: live object and context; out pointers are to live variables.
        let ok =
            unsafe { sys::proj_get_area_of_use(self.context.as_ptr(), self.pj.as_ptr(), west, south, east, north, &mut name) };
        // PROJ gives -1000 where an edge is unknown.
        (ok != 0 && edges.iter().all(|edge| *edge > -1000.0)).then(|| (edges, text(name)))
    }

    /// Part `index` of a compound CRS.
    pub fn part(&self, index: c_int) -> Option<ProjObject> {
        // SAFETY: live object and context; null comes back where there is none.
        ProjObject::adopt(unsafe { sys::proj_crs_get_sub_crs(self.context.as_ptr(), self.pj.as_ptr(), index) })
    }

    /// The geodetic CRS under a projected, compound or bound one.
    pub fn geodetic(&self) -> Option<ProjObject> {
        // SAFETY: live object and context.
        ProjObject::adopt(unsafe { sys::proj_crs_get_geodetic_crs(self.context.as_ptr(), self.pj.as_ptr()) })
    }

    /// The same CRS with an ellipsoidal height.
    pub fn with_height(&self) -> Option<ProjObject> {
        // SAFETY: live object and context; a null name keeps the name.
        ProjObject::adopt(unsafe { sys::proj_crs_promote_to_3D(self.context.as_ptr(), ptr::null(), self.pj.as_ptr()) })
    }

    /// Semi-major axis in metres and inverse flattening (0 for a sphere).
    pub fn ellipsoid(&self) -> Option<(f64, f64)> {
        let (mut major, mut minor, mut computed, mut inverse) = (0.0, 0.0, 0, 0.0);
        // SAFETY: live objects; the ellipsoid is freed; out pointers are to live variables.
        let ok = unsafe {
            let ellipsoid = NonNull::new(sys::proj_get_ellipsoid(self.context.as_ptr(), self.pj.as_ptr()))?;
            let ok = sys::proj_ellipsoid_get_parameters(
                self.context.as_ptr(),
                ellipsoid.as_ptr(),
                &mut major,
                &mut minor,
                &mut computed,
                &mut inverse,
            );
            sys::proj_destroy(ellipsoid.as_ptr());
            ok
        };
        (ok != 0).then_some((major, inverse))
    }

    /// Longitude of the prime meridian from Greenwich in radians, east positive.
    pub fn prime_meridian_rad(&self) -> Option<f64> {
        let (mut longitude, mut unit_factor) = (0.0, 0.0);
        // SAFETY: live objects; the meridian is freed; out pointers are to live variables or null.
        let ok = unsafe {
            let meridian = NonNull::new(sys::proj_get_prime_meridian(self.context.as_ptr(), self.pj.as_ptr()))?;
            let ok = sys::proj_prime_meridian_get_parameters(
                self.context.as_ptr(),
                meridian.as_ptr(),
                &mut longitude,
                &mut unit_factor,
                ptr::null_mut(),
            );
            sys::proj_destroy(meridian.as_ptr());
            ok
        };
        (ok != 0).then_some(longitude * unit_factor)
    }

    /// The axes of the coordinate system, in the authority's order.
    pub fn axes(&self) -> Vec<CrsAxis> {
        let mut axes = Vec::new();
        // SAFETY: live objects; the coordinate system is freed; strings are copied before that.
        unsafe {
            let Some(system) = NonNull::new(sys::proj_crs_get_coordinate_system(self.context.as_ptr(), self.pj.as_ptr())) else {
                return axes;
            };
            for index in 0..sys::proj_cs_get_axis_count(self.context.as_ptr(), system.as_ptr()) {
                let (mut name, mut direction, mut factor, mut unit) = (ptr::null(), ptr::null(), 0.0, ptr::null());
                let ok = sys::proj_cs_get_axis_info(
                    self.context.as_ptr(),
                    system.as_ptr(),
                    index,
                    &mut name,
                    ptr::null_mut(),
                    &mut direction,
                    &mut factor,
                    &mut unit,
                    ptr::null_mut(),
                    ptr::null_mut(),
                );
                if ok != 0 {
                    axes.push(CrsAxis {
                        name: text(name),
                        unit_factor: factor,
                        unit_name: text(unit),
                        direction: text(direction),
                    });
                }
            }
            sys::proj_destroy(system.as_ptr());
        }
        axes
    }

    /// Whether two CRSs are the same but for the order of geographic axes.
    pub fn equivalent(&self, other: &ProjObject) -> bool {
        let criterion = sys::PJ_COMPARISON_CRITERION_PJ_COMP_EQUIVALENT_EXCEPT_AXIS_ORDER_GEOGCRS;
        // SAFETY: live objects and context.
        unsafe { sys::proj_is_equivalent_to_with_ctx(self.context.as_ptr(), self.pj.as_ptr(), other.pj.as_ptr(), criterion) != 0 }
    }

    /// Operations from this CRS to another, best first, for an area (west, south, east, north).
    pub fn operations_to(&self, target: &ProjObject, area: Option<[f64; 4]>, grids: Grids, ballpark: bool) -> Vec<ProjObject> {
        let context = self.context.as_ptr();
        let mut found = Vec::new();
        // SAFETY: live objects; the factory context and the list are freed; list items are copied
        // into contexts of their own by `adopt`.
        unsafe {
            let Some(choice) = NonNull::new(sys::proj_create_operation_factory_context(context, ptr::null())) else {
                return found;
            };
            let choice = choice.as_ptr();
            sys::proj_operation_factory_context_set_grid_availability_use(
                context,
                choice,
                match grids {
                    Grids::Ignored => sys::PROJ_GRID_AVAILABILITY_USE_PROJ_GRID_AVAILABILITY_IGNORED,
                    Grids::Installed => sys::PROJ_GRID_AVAILABILITY_USE_PROJ_GRID_AVAILABILITY_DISCARD_OPERATION_IF_MISSING_GRID,
                },
            );
            sys::proj_operation_factory_context_set_allow_ballpark_transformations(context, choice, ballpark.into());
            sys::proj_operation_factory_context_set_spatial_criterion(
                context,
                choice,
                sys::PROJ_SPATIAL_CRITERION_PROJ_SPATIAL_CRITERION_PARTIAL_INTERSECTION,
            );
            if let Some([west, south, east, north]) = area {
                sys::proj_operation_factory_context_set_area_of_interest(context, choice, west, south, east, north);
            }
            let list = sys::proj_create_operations(context, self.pj.as_ptr(), target.pj.as_ptr(), choice);
            if !list.is_null() {
                for index in 0..sys::proj_list_get_count(list) {
                    found.extend(ProjObject::adopt(sys::proj_list_get(context, list, index)));
                }
                sys::proj_list_destroy(list);
            }
            sys::proj_operation_factory_context_destroy(choice);
        }
        found
    }

    /// This operation with x, y and longitude, latitude order at both ends.
    pub fn in_map_order(&self) -> Option<ProjObject> {
        // SAFETY: live object and context.
        ProjObject::adopt(unsafe { sys::proj_normalize_for_visualization(self.context.as_ptr(), self.pj.as_ptr()) })
    }

    /// Accuracy of an operation in metres, where known.
    pub fn accuracy_m(&self) -> Option<f64> {
        // SAFETY: live object and context; negative means unknown.
        let accuracy = unsafe { sys::proj_coordoperation_get_accuracy(self.context.as_ptr(), self.pj.as_ptr()) };
        (accuracy >= 0.0).then_some(accuracy)
    }

    /// Whether an operation has a null ("ballpark") step.
    pub fn is_ballpark(&self) -> bool {
        // SAFETY: live object and context.
        unsafe { sys::proj_coordoperation_has_ballpark_transformation(self.context.as_ptr(), self.pj.as_ptr()) != 0 }
    }

    /// Whether an operation needs the date of the coordinates: some step of it moves with time. PROJ
    /// says so since 9.5, also for concatenated and inverted operations. Ask before
    /// [`ProjObject::in_map_order`].
    pub fn needs_time(&self) -> bool {
        // SAFETY: live object and context.
        unsafe { sys::proj_coordoperation_requires_per_coordinate_input_time(self.context.as_ptr(), self.pj.as_ptr()) != 0 }
    }

    /// Whether the datum of a single CRS is a dynamic reference frame. An ensemble is taken as one datum.
    pub fn has_dynamic_datum(&self) -> bool {
        // SAFETY: live object and context; the datum is freed; PROJ allows null to be destroyed.
        unsafe {
            let datum = sys::proj_crs_get_datum_forced(self.context.as_ptr(), self.pj.as_ptr());
            let is_dynamic = !datum.is_null() && sys::proj_get_type(datum) == DYNAMIC_FRAME;
            sys::proj_destroy(datum);
            is_dynamic
        }
    }

    /// The grid files that an operation uses.
    pub fn grids(&self) -> Vec<Grid> {
        // SAFETY: live object and context; out pointers are to live variables or null where PROJ
        // allows it; the string is copied.
        unsafe {
            let (context, pj) = (self.context.as_ptr(), self.pj.as_ptr());
            (0..sys::proj_coordoperation_get_grid_used_count(context, pj))
                .filter_map(|index| {
                    let (mut name, mut path, mut available) = (ptr::null(), ptr::null(), 0);
                    let ok = sys::proj_coordoperation_get_grid_used(
                        context,
                        pj,
                        index,
                        &mut name,
                        &mut path,
                        ptr::null_mut(),
                        ptr::null_mut(),
                        ptr::null_mut(),
                        ptr::null_mut(),
                        &mut available,
                    );
                    // PROJ takes a file for available that it can open but not read.
                    (ok != 0).then(|| Grid {
                        name: text(name),
                        available: available != 0 && !grid_files::is_tiff(Path::new(&text(path))),
                    })
                })
                .collect()
        }
    }

    /// Transforms points in place; those that cannot be come back as infinities. `years` are the
    /// dates of the points in decimal years: none, one for all, or one for each. The caller sees to
    /// it that the numbers are equal: points beyond the last date are left as they are.
    pub fn transform(&mut self, points: &mut [[f64; 3]], years: &[f64]) {
        // PROJ takes the shorter of two arrays longer than one.
        let count = if years.len() > 1 { points.len().min(years.len()) } else { points.len() };
        let Some(first) = points.first_mut() else { return };
        let [x, y, z] = first.each_mut().map(|c| c as *mut f64);
        // PROJ writes the dates back.
        let mut years = years.to_vec();
        let (time, times) = if years.is_empty() { (ptr::null_mut(), 0) } else { (years.as_mut_ptr(), years.len().min(count)) };
        let stride = size_of::<[f64; 3]>();
        // SAFETY: the three pointers walk `count` elements with the stride of one point, inside
        // `points`, which is borrowed mutably for the call; the fourth is null, or walks the `times`
        // elements of `years`, which outlives the call.
        unsafe {
            sys::proj_errno_reset(self.pj.as_ptr());
            sys::proj_trans_generic(
                self.pj.as_ptr(),
                sys::PJ_DIRECTION_PJ_FWD,
                x,
                stride,
                count,
                y,
                stride,
                count,
                z,
                stride,
                count,
                time,
                size_of::<f64>(),
                times,
            );
        }
    }

    /// Meridian convergence in radians (true minus grid azimuth) and scale along the meridian of a
    /// projected CRS, at a longitude and latitude in radians.
    pub fn factors(&mut self, lon_rad: f64, lat_rad: f64) -> Option<(f64, f64)> {
        // SAFETY: live object; the coordinate is passed by value.
        let factors = unsafe {
            sys::proj_errno_reset(self.pj.as_ptr());
            let at = sys::PJ_COORD { v: [lon_rad, lat_rad, 0.0, 0.0] };
            let factors = sys::proj_factors(self.pj.as_ptr(), at);
            if sys::proj_errno(self.pj.as_ptr()) != 0 {
                return None;
            }
            factors
        };
        (factors.meridional_scale.is_finite() && factors.meridional_scale > 0.0)
            .then_some((factors.meridian_convergence, factors.meridional_scale))
    }
}

/// PROJ's version.
pub fn version() -> String {
    // SAFETY: no arguments; the string is static.
    text(unsafe { sys::proj_info().version })
}
