//! Writing layers: one file per format, and the folder that appears whole or not at all.
//!
//! A `FormatWriter` takes the layers' batches in order. [`Output`] hands each batch to every format
//! of the job, writes the styles, the held rows and the summary, and puts the finished folder in place.

mod antimeridian;
mod csv;
mod dated;
mod discard;
mod dxf;
mod edits;
pub(crate) mod extent;
mod fgb;
mod folder;
mod former;
mod geojson;
pub mod gpkg;
mod gpx;
mod held;
mod kml;
mod listing;
pub(crate) mod number;
mod ogr;
mod parts;
mod places;
mod said;
pub(crate) mod seal;
mod shp;
mod styles;
mod values;
mod view;
mod wgs84;

use std::path::{Path, PathBuf};

use self::seal::OutputFile;
use crate::geodesy::crs::CrsKind;
use crate::job::Format;
use crate::output::cells::CoarseCells;
use crate::output::columns::{Batch, Layer, LayerKey};
use crate::output::contract::{Account, Setup, Sink};
use crate::output::disclosure::{Disclosure, Guarded};
use crate::output::edits::{Edit, Edits};
pub use crate::output::error::WriteError;
use crate::output::in_units::InUnits;
use crate::output::metadata::{Metadata, Subject, Sure, Whereabouts};
use crate::output::order;
use crate::output::page::{Figure, Page};
use crate::output::style::{Ground, Look, looks};
use crate::records::ledger::Entry;
use dated::Latest;
pub use discard::Discard;
use extent::Extent;
use folder::Folder;
pub use folder::abandon;
use parts::HashedFiles;
use view::{MappedBreadth, View};

/// Writes all layers of a run in one format.
trait FormatWriter: Send {
    /// Takes records of layer `index`, in order.
    fn write(&mut self, index: usize, layer: &Layer, batch: &Batch) -> Result<(), WriteError>;

    /// What the format could not take, in sentences.
    fn losses(&self, _layers: &[Layer]) -> Vec<String> {
        Vec::new()
    }

    /// Ends the files. Those of a layer without records may be left: they are removed behind it.
    fn finish(self: Box<Self>, layers: &[Layer], ending: &Ending) -> Result<(), WriteError>;
}

/// What is known when the last record is written.
struct Ending<'e> {
    /// The latest time in the data, for formats that must name one.
    latest: &'e Latest,
    /// What each layer came to hold, in the order of the layers.
    extents: &'e [Extent],
    /// What the data set says of itself.
    metadata: &'e Metadata<'e>,
    /// What was edited in the former GeoPackage, with what became of it.
    edits: &'e [&'e Edit],
    /// What each layer looks like, likewise: by its order among all, so that a layer without records moves no colours.
    looks: &'e [Look],
    /// How the whole is looked at, where longitudes and latitudes would tear it apart.
    view: Option<&'e View>,
    /// Takes what is known of files that were hashed while they were written; others are read back.
    hashed: &'e HashedFiles,
}

impl Ending<'_> {
    /// Whether a layer has records: others are not written.
    fn has_records(&self, index: usize) -> bool {
        self.extents[index].records > 0
    }

    /// The layers that have records, each with what it looks like.
    fn written<'l>(&self, layers: &'l [Layer]) -> Vec<(&'l Layer, Look)> {
        let known = layers.iter().zip(self.looks).enumerate();
        known.filter(|(index, _)| self.has_records(*index)).map(|(_, (layer, look))| (layer, *look)).collect()
    }
}

/// Authority and code of the layers' CRS; none where it has none.
fn authority(setup: &Setup) -> Option<String> {
    setup.crs.id().map(|(authority, code)| format!("{authority}:{code}"))
}

/// A metre in the layers' CRS, where it is projected: by it a style draws what is measured in metres.
fn ground(setup: &Setup) -> Option<Ground> {
    let is_projected = setup.crs.kind() == CrsKind::Projected;
    is_projected.then(|| Ground { metres_a_unit: setup.crs.unit_factor(), authority: authority(setup) })
}

/// The output of a run: a folder beside its final place until [`Output::commit`].
pub struct Output {
    folder: Folder,
    layers: Vec<Layer>,
    writers: Vec<Box<dyn FormatWriter>>,
    held: held::HeldRows,
    latest: Latest,
    extents: Vec<Extent>,
    disclosure: Disclosure,
    /// What was edited in a former output, and the layers as they leave, before anything is drawn of coarse ones.
    edits: Option<Edits>,
    told: Vec<Layer>,
    /// What is drawn of coarse layers.
    cells: CoarseCells,
    /// The units that the records are shown in, the layers before that, and the order that their fields come to stand in.
    units: InUnits,
    metric: Vec<Layer>,
    orders: Vec<Vec<usize>>,
    /// The page, once the run has begun.
    page: Option<Page>,
    /// Whether drawings are written as files, too.
    drawings: bool,
    formats: Vec<Format>,
    /// What the metadata are of, once the run has begun.
    subject: Option<Subject>,
    /// By layer, how sure its points are.
    sure: Vec<Sure>,
    whereabouts: Whereabouts,
    /// Where all lies; none where the layers have other coordinates than longitudes and latitudes.
    spread: Option<MappedBreadth>,
    /// Name of the job.
    name: String,
    ground: Option<Ground>,
}

impl Output {
    /// Begins the output of a job in a folder beside `out`. With `replace`, a former output there may have been changed and
    /// added to.
    ///
    /// # Errors
    /// When `out` is not ours to replace or cannot be written beside.
    pub fn new(out: &Path, replace: bool) -> Result<Output, WriteError> {
        let folder = Folder::beside(out, replace)?;
        let held = held::HeldRows::create(folder.path())?;
        Ok(Output {
            folder,
            layers: Vec::new(),
            writers: Vec::new(),
            held,
            latest: Latest::default(),
            extents: Vec::new(),
            disclosure: Disclosure::default(),
            edits: None,
            told: Vec::new(),
            cells: CoarseCells::default(),
            units: InUnits::default(),
            metric: Vec::new(),
            orders: Vec::new(),
            page: None,
            drawings: false,
            formats: Vec::new(),
            subject: None,
            sure: Vec::new(),
            whereabouts: Whereabouts::default(),
            spread: None,
            name: String::new(),
            ground: None,
        })
    }

    /// Writes the drawings of measured things as files, too.
    pub fn with_drawings(self, drawings: bool) -> Output {
        Output { drawings, ..self }
    }

    /// Carries over what was edited in the GeoPackage of a former run.
    pub fn keeping(self, edits: Option<Edits>) -> Output {
        Output { edits, ..self }
    }

    /// Ends the files, writes the page and `summary.json`, and puts the folder in place of the former one. Gives where it
    /// is, and the account as the output tells it.
    ///
    /// # Errors
    /// When something cannot be written; the former folder then stays as it was.
    pub fn commit(
        mut self,
        account: &Account,
        summary: impl FnOnce(&Account, &[Extent], Vec<OutputFile>) -> serde_json::Result<String>,
    ) -> Result<(PathBuf, Account), WriteError> {
        for (key, squares) in self.cells.squares() {
            self.put(key, squares)?;
        }
        let Output {
            folder,
            layers,
            writers,
            held,
            latest,
            extents,
            disclosure,
            mut edits,
            units,
            page,
            drawings,
            formats,
            subject,
            sure,
            whereabouts,
            spread,
            name,
            ground,
            ..
        } = self;
        let mut account = disclosure.account(account);
        held.finish()?;
        account.notes.extend(writers.iter().flat_map(|writer| writer.losses(&layers)));
        let (view, note) = spread.map_or(Ok((None, None)), |spread| spread.told(&formats))?;
        account.notes.extend(note);
        if let Some(edits) = &mut edits {
            if disclosure.is_discreet() {
                edits.withhold();
            }
            account.notes.extend(edits.sentence());
            edits::write_beside(folder.path(), edits)?;
        }
        let kept: Vec<&Edit> = edits.iter().flat_map(Edits::told).collect();
        let (looks, subject) = (looks(&layers), subject.unwrap_or_default());
        let (by_layer, all_sure) = Sure::told_of(&sure);
        let metadata = Metadata {
            subject: &subject,
            account: &account,
            dated: latest.instant(),
            sure: &by_layer,
            all_sure,
            bounds_deg: whereabouts.bounds_deg(),
        };
        let hashed = HashedFiles::default();
        let ending = Ending {
            latest: &latest,
            extents: &extents,
            metadata: &metadata,
            edits: &kept,
            looks: &looks,
            view: view.as_ref(),
            hashed: &hashed,
        };
        let finish = || writers.into_iter().try_for_each(|writer| writer.finish(&layers, &ending));
        // The page is drawn while the formats end their files.
        let (finished, drawn) = rayon::join(finish, || page.map(|page| PageDrawn::draw(page, drawings, &account)).transpose());
        finished?;
        styles::write_beside(&folder, &name, &ending.written(&layers), &formats, ground.as_ref())?;
        for (index, layer) in layers.iter().enumerate().filter(|(index, _)| !ending.has_records(*index)) {
            debug_assert_eq!(extents[index].layer, layer.id);
            folder.remove_starting(&places::stem_of(&name, &layer.id))?;
        }
        let extents: Vec<Extent> = extents.into_iter().filter(|extent| extent.records > 0).collect();
        if let Some(drawn) = drawn? {
            values::write_beside(folder.path(), &name, &account.things, units.units())?;
            drawn.write(&folder, &name)?;
        }
        let text = summary(&account, &extents, folder.files(&hashed)?).map_err(WriteError::Summary)?;
        Ok((folder.commit(&text)?, account))
    }

    /// Records with what was edited in a former output.
    fn edited(&mut self, key: LayerKey, batch: Batch) -> Batch {
        let (Some(edits), Some(layer)) = (&mut self.edits, self.told.iter().find(|layer| layer.key == key)) else { return batch };
        let before = self.layers.iter().position(|layer| layer.key == key).map_or(0, |index| self.extents[index].records);
        edits.apply(layer, batch, before)
    }

    /// Hands records of a layer to every format.
    fn put(&mut self, key: LayerKey, batch: Batch) -> Result<(), WriteError> {
        let Some(index) = self.layers.iter().position(|layer| layer.key == key) else { return Ok(()) };
        let metric = &self.metric[index];
        self.sure[index].see(&batch);
        self.whereabouts.see(metric, &batch);
        let batch = match self.units.is_same() {
            true => batch,
            false => self.units.batch(metric, &batch).into_owned(),
        };
        let batch = order::columns_in_order(batch, &self.orders[index]);
        let layer = &self.layers[index];
        self.latest.see(layer, &batch);
        self.extents[index].see(&batch);
        if let Some(spread) = &mut self.spread {
            spread.see(key, &batch);
        }
        for writer in &mut self.writers {
            writer.write(index, layer, &batch)?;
        }
        Ok(())
    }
}

impl Sink for Output {
    fn begin(&mut self, setup: &Setup) -> Result<(), WriteError> {
        self.disclosure = Disclosure::new(setup.catalogue, setup.crs.unit_factor());
        self.told = self.disclosure.layers(setup.layers.clone());
        self.page = Some(Page::new(&setup.with_layers(self.told.clone())));
        if self.disclosure.is_discreet() {
            self.cells = CoarseCells::new(setup);
        }
        self.metric = self.cells.layers(self.told.clone());
        self.units = InUnits::new(setup.job.units);
        self.drawings |= setup.job.report.drawings;
        self.orders = self.metric.iter().map(order::arranged).collect();
        let in_order = |(layer, order): (&Layer, &Vec<usize>)| order::in_order(&self.units.layer(layer), order);
        self.layers = self.metric.iter().zip(&self.orders).map(in_order).collect();
        (self.subject, self.sure) = (Some(Subject::from_setup(setup)), self.metric.iter().map(Sure::new).collect());
        self.formats = setup.job.formats.clone();
        self.formats.sort_unstable();
        self.formats.dedup();
        self.spread = MappedBreadth::from_setup(setup);
        (self.name, self.ground) = (setup.job.name.clone(), ground(setup));
        self.extents = self.layers.iter().map(|layer| Extent::new(layer, &self.name, &self.formats)).collect();
        for format in &self.formats {
            let folder = &*self.folder.within(places::folder_of(*format))?;
            let layers = self.layers.as_slice();
            self.writers.push(match format {
                // Styles are written with the last record.
                Format::Sld => continue,
                Format::Gpkg => Box::new(gpkg::GeoPackage::create(folder, layers, setup)?),
                Format::Geojson => Box::new(geojson::GeoJson::create(folder, layers, setup)?),
                Format::Shp => Box::new(shp::Shapefiles::create(folder, layers, setup)?),
                Format::Fgb => Box::new(fgb::FlatGeobuf::create(folder, layers, setup)?),
                Format::Csv => Box::new(csv::CsvFiles::create(folder, layers, setup)?),
                Format::Dxf => Box::new(dxf::Drawing::create(folder, setup)?),
                Format::Kml | Format::Kmz => Box::new(kml::KmlWriter::create(folder, layers, setup, *format == Format::Kmz)?),
                Format::Gpx => Box::new(gpx::GpxWriter::create(folder, layers, setup)?),
                Format::Jsonfg => Box::new(geojson::GeoJson::with_places(folder, layers, setup)?),
            });
        }
        Ok(())
    }

    fn write(&mut self, key: LayerKey, batch: Batch) -> Result<(), WriteError> {
        let batch = match self.disclosure.is_discreet() {
            false => batch,
            true => match self.disclosure.batch(key, &batch) {
                None => return Ok(()),
                Some(told) => told,
            },
        };
        let batch = self.edited(key, batch);
        if let Some(page) = &mut self.page {
            page.write(key, &batch);
        }
        let batch = self.cells.take(key, batch);
        self.put(key, batch)
    }

    fn guard(&mut self, guarded: Guarded) {
        self.disclosure.guard(guarded);
    }

    fn held(&mut self, file: &str, entry: &Entry) -> Result<(), WriteError> {
        let entry = self.disclosure.entry(entry);
        if let Some(page) = &mut self.page {
            page.held(file, &entry);
        }
        self.held.write(file, &entry)
    }
}

/// The page as text, and its drawings where these are wanted as files, too.
struct PageDrawn {
    html: String,
    figures: Vec<Figure>,
}

impl PageDrawn {
    fn draw(page: Page, drawings: bool, account: &Account) -> Result<PageDrawn, WriteError> {
        let figures = if drawings { page.figures() } else { Vec::new() };
        Ok(PageDrawn { figures, html: page.html(account)? })
    }

    fn write(&self, folder: &Folder, name: &str) -> Result<(), WriteError> {
        write_drawings(folder, &self.figures)?;
        let path = folder.path().join(page_name(name));
        std::fs::write(&path, &self.html).map_err(WriteError::file(&path, "writing"))
    }
}

/// The drawings of the page as files.
fn write_drawings(folder: &Folder, figures: &[Figure]) -> Result<(), WriteError> {
    if figures.is_empty() {
        return Ok(());
    }
    let (beside, mut taken) = (folder.within(Some(places::DRAWINGS))?, Vec::new());
    for figure in figures {
        let name = figure.file_name(&taken);
        let path = beside.join(&name);
        std::fs::write(&path, figure.file()).map_err(WriteError::file(&path, "writing"))?;
        taken.push(name);
    }
    Ok(())
}

/// The page of a job, in the output folder.
pub fn page_name(job: &str) -> String {
    format!("{job}.report.html")
}
