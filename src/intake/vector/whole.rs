//! Whether a vector file is all there, as far as GDAL would pass over what is not, and how a
//! GeoPackage is opened so that nothing is left beside it.
//!
//! Sources: SQLite's "Database File Format" (bytes 18 and 19: write-ahead log), the Shapefile
//! technical description of 1998 (main file header), the dBASE III table header.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use gdal::Dataset;
use gdal::vector::LayerAccess;
use gdal::vector::sql::Dialect;
use serde::de::IgnoredAny;

use super::FileKind;
use super::error::VectorError;

/// Looks at a file before GDAL does; gives the options to open it with.
///
/// # Errors
/// When something is missing.
pub fn check(path: &Path, kind: FileKind) -> Result<&'static [&'static str], VectorError> {
    match kind {
        FileKind::GeoPackage => geopackage(path),
        FileKind::Shapefile => shapefile(path).map(|()| [].as_slice()),
        FileKind::GeoJson => json(path).map(|()| [].as_slice()),
        FileKind::FlatGeobuf => Ok(&[]),
    }
}

/// The rows of a table of a GeoPackage, counted.
pub fn rows(dataset: &Dataset, layer: &str) -> Option<u64> {
    let query = format!("SELECT COUNT(*) FROM \"{}\"", layer.replace('"', "\"\""));
    let mut result = dataset.execute_sql(query, None, Dialect::DEFAULT).ok()??;
    let count = result.features().next()?.field_as_integer64(0).ok()??;
    u64::try_from(count).ok()
}

/// In write-ahead mode even a reader makes files beside the database, unless it is told that nothing
/// changes; but then it passes over changes that are still in the log.
fn geopackage(path: &Path) -> Result<&'static [&'static str], VectorError> {
    let header = head::<20>(path)?.unwrap_or_default();
    if header[18] != 2 && header[19] != 2 {
        return Ok(&[]);
    }
    let beside = |ending: &str| {
        let mut name = path.as_os_str().to_owned();
        name.push(ending);
        PathBuf::from(name)
    };
    let has_changes = std::fs::metadata(beside("-wal")).is_ok_and(|log| log.len() > 0);
    match (has_changes, beside("-shm").exists()) {
        (false, _) => Ok(&["IMMUTABLE=YES"]),
        // Whoever wrote them has both files open or left both; reading makes no other.
        (true, true) => Ok(&[]),
        (true, false) => {
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            Err(VectorError::ChangesBeside(name))
        }
    }
}

/// Records that lie beyond the end of a file would come as null.
fn shapefile(path: &Path) -> Result<(), VectorError> {
    let [index, table] = ["shx", "dbf"].map(|ending| {
        let sibling = [ending.to_owned(), ending.to_uppercase()].map(|ending| path.with_extension(ending));
        sibling.into_iter().find(|sibling| sibling.is_file()).ok_or_else(|| {
            let name = path.with_extension(ending);
            VectorError::Missing(name.file_name().unwrap_or_default().to_string_lossy().into_owned())
        })
    });
    let (index, table) = (index?, table?);
    for file in [path, index.as_path()] {
        let header = head::<28>(file)?.ok_or_else(|| cut(file))?;
        let words = u32::from_be_bytes([header[24], header[25], header[26], header[27]]);
        if length(file)? < 2 * u64::from(words) {
            return Err(cut(file));
        }
    }
    let header = head::<12>(&table)?.ok_or_else(|| cut(&table))?;
    let records = u32::from_le_bytes([header[4], header[5], header[6], header[7]]);
    let [of_header, of_record] = [[header[8], header[9]], [header[10], header[11]]].map(u16::from_le_bytes).map(u64::from);
    if length(&table)? < of_header + u64::from(records) * of_record {
        return Err(cut(&table));
    }
    Ok(())
}

fn json(path: &Path) -> Result<(), VectorError> {
    let bytes = std::fs::read(path).map_err(VectorError::Unreadable)?;
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes);
    match serde_json::from_slice::<IgnoredAny>(bytes) {
        Ok(_) => Ok(()),
        Err(error) if error.is_eof() => Err(VectorError::JsonCut(error.line())),
        Err(error) => Err(VectorError::Json { line: error.line(), column: error.column() }),
    }
}

/// The first bytes of a file; none where it is shorter.
fn head<const LEN: usize>(path: &Path) -> Result<Option<[u8; LEN]>, VectorError> {
    let mut bytes = Vec::with_capacity(LEN);
    let file = File::open(path).map_err(VectorError::Unreadable)?;
    file.take(LEN as u64).read_to_end(&mut bytes).map_err(VectorError::Unreadable)?;
    Ok(bytes.try_into().ok())
}

fn length(path: &Path) -> Result<u64, VectorError> {
    std::fs::metadata(path).map(|file| file.len()).map_err(VectorError::Unreadable)
}

fn cut(path: &Path) -> VectorError {
    VectorError::Cut(path.file_name().unwrap_or_default().to_string_lossy().into_owned())
}
