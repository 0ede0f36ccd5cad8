//! Writing layers: one file per format, and the folder that appears whole or not at all.
//!
//! A `FormatWriter` takes the layers' batches in order. [`Output`] hands each batch to every format
//! of the job, writes the styles, the held rows and the summary, and puts the finished folder in place.

mod antimeridian;
mod csv;
mod dated;
mod dxf;
mod fgb;
mod folder;
mod geojson;
pub mod gpkg;
mod held;
pub(crate) mod number;
mod ogr;
mod shp;
mod styles;

use std::path::{Path, PathBuf};

use crate::geodesy::crs::{CrsError, Kind};
use crate::job::Format;
use crate::output::columns::{Batch, Layer, LayerKey};
use crate::output::contract::{Account, Setup, Sink};
use crate::records::ledger::Entry;
use dated::Latest;
use folder::Folder;

/// The output cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The file system says no.
    #[error("{}: {doing}: {source}", path.display())]
    File {
        /// The file or folder.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
        /// The system's reason.
        source: std::io::Error,
    },
    /// The output folder holds something that is not ours.
    #[error(
        "{} holds {stranger}, which this program did not write; the output folder is replaced as a whole, \
         so name another with --out, or empty it", path.display()
    )]
    Strange {
        /// The folder.
        path: PathBuf,
        /// A file in it.
        stranger: String,
    },
    /// Another run writes to the same place.
    #[error("another run is writing to {}; wait for it, or name another folder with --out", path.display())]
    Busy {
        /// The folder.
        path: PathBuf,
    },
    /// A format's library failed.
    #[error("{}: {doing}: {gist}", path.display())]
    Format {
        /// The file.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
        /// The library's reason.
        gist: String,
    },
    /// A format wants coordinates in a system that cannot be reached.
    #[error("the {format} layers want WGS 84: {source}; or leave the format out")]
    Wgs84 {
        /// The format.
        format: &'static str,
        /// Why.
        source: CrsError,
    },
}

impl WriteError {
    fn file(path: &Path, doing: &'static str) -> impl FnOnce(std::io::Error) -> WriteError + use<> {
        let path = path.to_owned();
        move |source| WriteError::File { path, doing, source }
    }

    fn format<E: std::fmt::Display>(path: &Path, doing: &'static str) -> impl FnOnce(E) -> WriteError + use<E> {
        let path = path.to_owned();
        move |error| WriteError::Format { path, doing, gist: error.to_string() }
    }
}

/// Writes all layers of a run in one format.
trait FormatWriter: Send {
    /// Takes records of layer `index`, in order.
    fn write(&mut self, index: usize, layer: &Layer, batch: &Batch) -> Result<(), WriteError>;

    /// What the format could not take, in sentences.
    fn losses(&self, _layers: &[Layer]) -> Vec<String> {
        Vec::new()
    }

    /// Ends the files. `latest` is the latest time in the data, for formats that must name one.
    fn finish(self: Box<Self>, layers: &[Layer], latest: &Latest) -> Result<(), WriteError>;
}

/// Length of a unit of the layers' CRS in metres, where it is projected: by it a style draws what is measured in metres.
fn metres_a_unit(setup: &Setup) -> Option<f64> {
    (setup.crs.kind() == Kind::Projected).then(|| setup.crs.unit_factor())
}

/// The output of a run: a folder beside its final place until [`Output::commit`].
pub struct Output {
    folder: Folder,
    layers: Vec<Layer>,
    writers: Vec<Box<dyn FormatWriter>>,
    held: held::HeldRows,
    latest: Latest,
    extents: Vec<Extent>,
}

/// What a layer came to hold.
#[derive(Debug, Clone, PartialEq)]
pub struct Extent {
    /// The layer's name in files.
    pub layer: String,
    /// Records.
    pub records: u64,
    /// Least x, least y, greatest x, greatest y in the CRS of the layers; none without geometry.
    pub bounds: Option<[f64; 4]>,
}

impl Output {
    /// Begins the output of a job in a folder beside `out`.
    ///
    /// # Errors
    /// When `out` is not ours to replace or cannot be written beside.
    pub fn new(out: &Path) -> Result<Output, WriteError> {
        let folder = Folder::beside(out)?;
        let held = held::HeldRows::create(folder.path())?;
        Ok(Output { folder, layers: Vec::new(), writers: Vec::new(), held, latest: Latest::default(), extents: Vec::new() })
    }

    /// Ends the files, writes `summary.json`, and puts the folder in place of the former one.
    ///
    /// # Errors
    /// When something cannot be written; the former folder then stays as it was.
    pub fn commit(
        self,
        account: &mut Account,
        summary: impl FnOnce(&Account, &[Extent], Vec<String>) -> String,
    ) -> Result<PathBuf, WriteError> {
        let Output { folder, layers, writers, held, latest, extents } = self;
        held.finish()?;
        account.notes.extend(writers.iter().flat_map(|writer| writer.losses(&layers)));
        for writer in writers {
            writer.finish(&layers, &latest)?;
        }
        let path = folder.path().join(folder::SUMMARY);
        let text = summary(account, &extents, folder.files()?);
        std::fs::write(&path, text).map_err(WriteError::file(&path, "writing"))?;
        folder.commit()
    }
}

impl Sink for Output {
    fn begin(&mut self, setup: &Setup) -> Result<(), WriteError> {
        self.layers = setup.layers.clone();
        self.extents = self.layers.iter().map(|layer| Extent { layer: layer.id.clone(), records: 0, bounds: None }).collect();
        let mut formats = setup.job.formats.clone();
        formats.sort_unstable();
        formats.dedup();
        styles::write_beside(self.folder.path(), setup, &self.layers, &formats)?;
        for format in formats {
            let (folder, layers) = (self.folder.path(), self.layers.as_slice());
            self.writers.push(match format {
                Format::Gpkg => Box::new(gpkg::GeoPackage::create(folder, layers, setup)?),
                Format::Geojson => Box::new(geojson::GeoJson::create(folder, layers, setup)?),
                Format::Shp => Box::new(shp::Shapefiles::create(folder, layers, setup)?),
                Format::Fgb => Box::new(fgb::FlatGeobuf::create(folder, layers, setup)?),
                Format::Csv => Box::new(csv::CsvFiles::create(folder, layers, setup)?),
                Format::Dxf => Box::new(dxf::Drawing::create(folder, layers, setup)?),
            });
        }
        Ok(())
    }

    fn write(&mut self, key: LayerKey, batch: &Batch) -> Result<(), WriteError> {
        let Some(index) = self.layers.iter().position(|layer| layer.key == key) else { return Ok(()) };
        let layer = &self.layers[index];
        self.latest.see(layer, batch);
        self.extents[index].see(batch);
        for writer in &mut self.writers {
            writer.write(index, layer, batch)?;
        }
        Ok(())
    }

    fn held(&mut self, file: &str, entry: &Entry) -> Result<(), WriteError> {
        self.held.write(file, entry)
    }
}

impl Extent {
    fn see(&mut self, batch: &Batch) {
        self.records += batch.len as u64;
        for position in (0..batch.len).flat_map(|i| batch.positions(i)) {
            let [west, south, east, north] = self.bounds.get_or_insert([position.x, position.y, position.x, position.y]);
            *west = west.min(position.x);
            *south = south.min(position.y);
            *east = east.max(position.x);
            *north = north.max(position.y);
        }
    }
}

/// A sink that writes nothing and keeps the held rows, for checking.
#[derive(Default)]
pub struct Discard {
    /// The held rows: file and entry.
    pub held: Vec<(String, Entry)>,
}

impl Sink for Discard {
    fn begin(&mut self, _: &Setup) -> Result<(), WriteError> {
        Ok(())
    }

    fn write(&mut self, _: LayerKey, _: &Batch) -> Result<(), WriteError> {
        Ok(())
    }

    fn held(&mut self, file: &str, entry: &Entry) -> Result<(), WriteError> {
        self.held.push((file.to_owned(), entry.clone()));
        Ok(())
    }
}
