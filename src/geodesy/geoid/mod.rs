//! Geoids: the height N of the geoid above the ellipsoid (the undulation), by which orthometric height
//! = ellipsoidal height − N.
//!
//! Three sources, from the best to the coarsest: a grid file that the job names ([`GeoidGrid`]), the
//! separation that the receiver wrote into its log, and the global model inside the program
//! ([`GlobalGeoid`]). [`Geoids`] asks those that it was given, in this order.
//!
//! Each counts from the ellipsoid of a frame of its own. [`GeoidSteps`] says what lies between that and the frame of the heights.

mod global;
mod grid;
#[cfg(feature = "gis")]
mod open;
#[cfg(feature = "gis")]
#[cfg(test)]
pub(crate) mod tests;

use crate::geodesy::frame::Geodetic;
pub use global::{GeoidReader, GlobalGeoid, NAME, SIGMA_M};
pub use grid::GeoidGrid;
#[cfg(feature = "gis")]
pub(crate) use grid::Lattice;
#[cfg(feature = "gis")]
pub(crate) use open::{BandValues, lattice, one_line};
#[cfg(feature = "gis")]
pub use open::{GeoidError, NoGrid, NoLattice, NoUndulations};

/// Standard error in metres of a separation in a receiver's log where nothing better is stated: the
/// tables inside receivers are coarse and go unnamed. Common practice; no published figure.
pub const LOG_SIGMA_M: f64 = 1.0;

/// Where an undulation comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum UndulationSource {
    /// A grid file that the job names.
    Grid,
    /// The separation in the log, from the receiver's own table.
    Log,
    /// The global model inside the program.
    Global,
}

impl UndulationSource {
    /// The word for it in layers and summaries.
    pub fn word(self) -> &'static str {
        match self {
            UndulationSource::Grid => "grid",
            UndulationSource::Log => "log",
            UndulationSource::Global => "global",
        }
    }
}

/// An undulation, with its source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Undulation {
    /// Height of the geoid above the ellipsoid in metres.
    pub metres: f64,
    /// Where it comes from.
    pub source: UndulationSource,
    /// Its standard error in metres; none for a grid whose error was not stated.
    pub sigma_m: Option<f64>,
}

/// What is added to the undulations of each geoid so that they are counted from the ellipsoid of another frame, in metres.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct GeoidSteps {
    /// For the grid file.
    pub grid_m: f64,
    /// For the separation in the log.
    pub log_m: f64,
    /// For the global model.
    pub global_m: f64,
}

/// The geoids of a job, asked in order: grid, log, global model.
#[derive(Default)]
pub struct Geoids {
    grid: Option<GeoidGrid>,
    log_sigma_m: Option<f64>,
    global: Option<GlobalGeoid>,
}

impl Geoids {
    /// One without any source, which knows no undulation; the others add to it.
    pub fn new() -> Geoids {
        Geoids::default()
    }

    /// With a grid, asked first.
    pub fn with_grid(mut self, grid: GeoidGrid) -> Geoids {
        self.grid = Some(grid);
        self
    }

    /// With the separations of the log where the grid knows nothing; their standard error in metres,
    /// [`LOG_SIGMA_M`] where none is stated.
    pub fn with_log(mut self, sigma_m: Option<f64>) -> Geoids {
        self.log_sigma_m = Some(sigma_m.unwrap_or(LOG_SIGMA_M));
        self
    }

    /// With the global model where neither grid nor log knows anything.
    pub fn with_global(mut self, global: GlobalGeoid) -> Geoids {
        self.global = Some(global);
        self
    }

    /// The grid.
    pub fn grid(&self) -> Option<&GeoidGrid> {
        self.grid.as_ref()
    }

    /// Whether the global model is among them.
    pub fn has_global(&self) -> bool {
        self.global.is_some()
    }

    /// Whether there is any source to ask.
    pub fn has_any(&self) -> bool {
        self.grid.is_some() || self.log_sigma_m.is_some() || self.global.is_some()
    }

    /// The name of a source for summaries; none for one that this geoid does not have.
    pub fn name(&self, source: UndulationSource) -> Option<String> {
        match source {
            UndulationSource::Grid => self.grid.as_ref().map(GeoidGrid::name),
            UndulationSource::Log => self.log_sigma_m.map(|_| "separation in the log (the receiver's own table)".to_owned()),
            UndulationSource::Global => self.global.as_ref().map(|_| NAME.to_owned()),
        }
    }

    /// Computes the global model, where it is among them, around positions (latitude and longitude in degrees) that will be asked for.
    pub fn look_ahead(&self, positions: impl Iterator<Item = (f64, f64)>) {
        if let Some(global) = &self.global {
            global.look_ahead(positions);
        }
    }

    /// A reader for one thread, fast for points in crowds.
    pub fn reader(&self) -> UndulationReader<'_> {
        UndulationReader { geoid: self, global: self.global.as_ref().map(GlobalGeoid::reader) }
    }

    /// The undulation at one position; see [`UndulationReader::undulation_m`].
    pub fn undulation_m(&self, at: &Geodetic, separation_m: Option<f64>, steps: &GeoidSteps) -> Option<Undulation> {
        self.reader().undulation_m(at, separation_m, steps)
    }
}

/// A reader of a [`Geoids`] that remembers where it was last.
pub struct UndulationReader<'g> {
    geoid: &'g Geoids,
    global: Option<GeoidReader<'g>>,
}

impl UndulationReader<'_> {
    /// The undulation at a position (its height is not used), with the log's separation in metres where
    /// it has one, counted from the ellipsoid of the frame that `steps` lead to. None where no source that the geoid has knows it.
    pub fn undulation_m(&mut self, at: &Geodetic, separation_m: Option<f64>, steps: &GeoidSteps) -> Option<Undulation> {
        if let Some(grid) = &self.geoid.grid
            && let Some(metres) = grid.undulation_m(at.lat_rad.to_degrees(), at.lon_rad.to_degrees())
        {
            return Some(Undulation { metres: metres + steps.grid_m, source: UndulationSource::Grid, sigma_m: grid.sigma_m() });
        }
        if let (Some(sigma_m), Some(metres)) = (self.geoid.log_sigma_m, separation_m.filter(|metres| metres.is_finite())) {
            return Some(Undulation { metres: metres + steps.log_m, source: UndulationSource::Log, sigma_m: Some(sigma_m) });
        }
        let metres = self.global.as_mut()?.undulation_m(at);
        Some(Undulation { metres: metres + steps.global_m, source: UndulationSource::Global, sigma_m: Some(SIGMA_M) })
    }
}
