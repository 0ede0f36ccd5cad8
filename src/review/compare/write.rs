//! The layer of changes as a GeoPackage: a line from A's position to B's for each feature, and a table of the measured values.
//!
//! Written through GDAL beside its place and then put there, so that it appears whole or not at all. The date that GDAL writes is that of
//! SOURCE_DATE_EPOCH, else the latest shot of both mappings, so that the same input gives the same bytes.

use std::path::{Path, PathBuf};

use gdal::config::{clear_thread_local_config_option, set_thread_local_config_option};
use gdal::errors::GdalError;
use gdal::spatial_ref::SpatialRef;
use gdal::vector::{Feature, FieldDefn, Geometry, LayerAccess, LayerOptions, OGRFieldType, OGRwkbGeometryType};
use gdal::{Dataset, DriverManager};
use jiff::Timestamp;
use rusqlite::{Connection, OpenFlags};

use super::values::ValueChange;
use super::{Change, Comparison};
use crate::output::write::number::iso_utc;

/// Name of the layer of lines, and of the file in a folder.
const CHANGES: &str = "changes";
/// Name of the table of measured values.
const VALUES: &str = "value_changes";

/// How a field's value is read off a record.
enum GetOfChange<R> {
    Text(fn(&R) -> Option<&str>),
    Real(fn(&R) -> Option<f64>),
}

type ChangeField<R> = (&'static str, GetOfChange<R>);

fn change_fields() -> Vec<ChangeField<Change>> {
    use GetOfChange::{Real, Text};
    vec![
        ("feature", Text(|change| Some(&change.feature))),
        ("code", Text(|change| change.code.as_deref())),
        ("mark", Text(|change| Some(change.mark))),
        ("east_m", Real(|change| Some(change.east_m))),
        ("north_m", Real(|change| Some(change.north_m))),
        ("horizontal_m", Real(|change| Some(change.horizontal_m))),
        ("azimuth_deg", Real(|change| Some(change.azimuth_deg))),
        ("up_m", Real(|change| change.up_m)),
        ("height_kind", Text(|change| change.height_kind)),
        ("sigma_east_m", Real(|change| change.sigma_east_m)),
        ("sigma_north_m", Real(|change| change.sigma_north_m)),
        ("sigma_up_m", Real(|change| change.sigma_up_m)),
        ("probability_horizontal", Real(|change| change.probability_horizontal)),
        ("corrected_horizontal", Real(|change| change.corrected_horizontal)),
        ("probability_vertical", Real(|change| change.probability_vertical)),
        ("corrected_vertical", Real(|change| change.corrected_vertical)),
    ]
}

fn value_fields() -> Vec<ChangeField<ValueChange>> {
    use GetOfChange::{Real, Text};
    vec![
        ("measure", Text(|value| Some(&value.measure))),
        ("name", Text(|value| Some(&value.name))),
        ("quantity", Text(|value| Some(&value.quantity))),
        ("mark", Text(|value| Some(value.mark))),
        ("a", Real(|value| Some(value.a))),
        ("b", Real(|value| Some(value.b))),
        ("difference", Real(|value| Some(value.difference))),
        ("sigma", Real(|value| value.sigma)),
        ("probability", Real(|value| value.probability)),
        ("corrected", Real(|value| value.corrected)),
    ]
}

/// Why the changes are not written.
#[derive(Debug, thiserror::Error)]
pub enum WriteChangesError {
    /// The file holds something else.
    #[error("{}: holds something else than changes, and is not replaced; name another", .0.display())]
    Strange(PathBuf),
    /// Its folder cannot be made.
    #[error("{}: cannot be made: {source}", folder.display())]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// GDAL cannot write it.
    #[error("{}: cannot be written: {}", path.display(), gist(source))]
    Write {
        /// The file.
        path: PathBuf,
        /// GDAL's reason.
        source: GdalError,
    },
    /// It cannot be put in its place.
    #[error("{}: cannot be put in place: {source}", path.display())]
    Place {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
}

/// Writes the changes to a GeoPackage, or to `changes.gpkg` in a folder. A file that is there is replaced if it is such a one.
///
/// # Errors
/// When it cannot be written, or what is there is something else.
pub fn write(found: &Comparison, out: &Path) -> Result<PathBuf, WriteChangesError> {
    let is_file = out.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("gpkg")) && !out.is_dir();
    let path = if is_file { out.to_owned() } else { out.join(format!("{CHANGES}.gpkg")) };
    if path.exists() && !is_ours(&path) {
        return Err(WriteChangesError::Strange(path));
    }
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    std::fs::create_dir_all(folder).map_err(|source| WriteChangesError::Folder { folder: folder.to_owned(), source })?;
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let beside = folder.join(format!(".{name}.{}.gpkg", std::process::id()));
    // A run that was killed may have left one.
    let _ = std::fs::remove_file(&beside);
    let written = fill(found, &beside).map_err(|source| WriteChangesError::Write { path: path.clone(), source });
    let placed = written
        .and_then(|()| std::fs::rename(&beside, &path).map_err(|source| WriteChangesError::Place { path: path.clone(), source }));
    if placed.is_err() {
        let _ = std::fs::remove_file(&beside);
    }
    placed.map(|()| path)
}

/// Whether a file is a GeoPackage with nothing but our layers.
fn is_ours(path: &Path) -> bool {
    let tables = || -> Result<Vec<String>, rusqlite::Error> {
        let connection = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY)?;
        let mut query = connection.prepare("SELECT table_name FROM gpkg_contents")?;
        query.query_map([], |row| row.get(0))?.collect()
    };
    tables().is_ok_and(|tables| !tables.is_empty() && tables.iter().all(|table| table == CHANGES || table == VALUES))
}

fn gist(error: &GdalError) -> String {
    match error {
        GdalError::CplError { msg, .. } | GdalError::NullPointer { msg, .. } if !msg.is_empty() => msg.clone(),
        other => other.to_string(),
    }
}

fn fill(found: &Comparison, path: &Path) -> Result<(), GdalError> {
    let fixed = std::env::var("SOURCE_DATE_EPOCH").ok().and_then(|text| text.trim().parse().ok());
    let fixed = fixed.and_then(|seconds| Timestamp::from_second(seconds).ok());
    let date = fixed.or(found.latest).unwrap_or(Timestamp::UNIX_EPOCH);
    set_thread_local_config_option("OGR_CURRENT_DATE", &iso_utc(date))?;
    let filled = fill_dated(found, path);
    clear_thread_local_config_option("OGR_CURRENT_DATE")?;
    filled
}

fn fill_dated(found: &Comparison, path: &Path) -> Result<(), GdalError> {
    let mut dataset = DriverManager::get_driver_by_name("GPKG")?.create_vector_only(path)?;
    let reference = SpatialRef::from_wkt(&found.crs_wkt)?;
    let mut transaction = dataset.start_transaction()?;
    add_layer(&mut transaction, CHANGES, Some(&reference), &change_fields(), &found.changes, |change| {
        let mut line = Geometry::empty(OGRwkbGeometryType::wkbLineString)?;
        for [x, y] in change.ends {
            line.add_point_2d((x, y));
        }
        Ok(Some(line))
    })?;
    if !found.values.is_empty() {
        add_layer(&mut transaction, VALUES, None, &value_fields(), &found.values, |_| Ok(None))?;
    }
    transaction.commit()?;
    dataset.close()
}

fn add_layer<R>(
    dataset: &mut Dataset,
    name: &str,
    reference: Option<&SpatialRef>,
    fields: &[ChangeField<R>],
    records: &[R],
    geometry: impl Fn(&R) -> Result<Option<Geometry>, GdalError>,
) -> Result<(), GdalError> {
    let ty = if reference.is_some() { OGRwkbGeometryType::wkbLineString } else { OGRwkbGeometryType::wkbNone };
    let layer = dataset.create_layer(LayerOptions { name, srs: reference, ty, options: None })?;
    for (field, get) in fields {
        let kind = match get {
            GetOfChange::Text(_) => OGRFieldType::OFTString,
            GetOfChange::Real(_) => OGRFieldType::OFTReal,
        };
        FieldDefn::new(field, kind)?.add_to_layer(&layer)?;
    }
    for record in records {
        let mut feature = Feature::new(layer.defn())?;
        if let Some(geometry) = geometry(record)? {
            feature.set_geometry(geometry)?;
        }
        for (index, (_, get)) in fields.iter().enumerate() {
            match get {
                GetOfChange::Text(get) => match get(record) {
                    Some(text) => feature.set_field_string(index, text)?,
                    None => feature.set_field_null(index)?,
                },
                GetOfChange::Real(get) => match get(record) {
                    Some(value) => feature.set_field_double(index, value)?,
                    None => feature.set_field_null(index)?,
                },
            }
        }
        feature.create(&layer)?;
    }
    Ok(())
}
