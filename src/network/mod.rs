//! Shots that check each other: one least-squares adjustment of bases, remote points and known points.
//!
//! One shot can be wrong and nobody would know. Crews shoot twice, from two bases, back to known points; under canopy
//! they chain their bases. All of that is one network of raw readings with one solver: [`adjust`].
//!
//! | step | module |
//! | --- | --- |
//! | stations, readings, settings; shots as readings | `types`, `shots` |
//! | starting values by closed forms | `start` |
//! | poor geometry, defects of datum, heights | `geometry`, `datum`, `heights` |
//! | misclosures of traverses, before adjustment | `misclosure` |
//! | groups that hang together, each on its own | `components`, `component` |
//! | observation and normal equations, sparse solution | `observations`, `equations`, `normals`, `cholesky`, `solution` |
//! | robust weights | `robust` |
//! | is it right: global test, redundancy, normalised residuals, worst reading | `global`, `reliability`, `outliers` |
//! | the true standard errors of the instruments | `variance` |
//!
//! Everything is in earth-centred coordinates; each reading is computed in the horizon of the base that it was read at.

mod check;
mod cholesky;
mod component;
mod components;
mod datum;
mod equations;
mod geometry;
mod global;
mod heights;
mod inverse;
mod layout;
mod misclosure;
mod normals;
mod notes;
mod observations;
mod outliers;
pub mod quantiles;
mod reliability;
mod robust;
mod run;
mod shots;
mod solution;
mod solved;
mod start;
mod state;
mod types;
mod variance;
mod without;

pub use components::{Role, components};
pub use equations::Source;
pub use global::GlobalTest;
pub use misclosure::Misclosure;
pub use notes::{BadNetwork, Note, NoteKind};
pub use outliers::Suspect;
pub use reliability::{LEAST_REDUNDANCY, Residual, shift};
pub use run::{Adjustment, adjust};
pub use shots::{Line, ReadingErrors, Sides, readings};
pub use solved::{Rejection, Solved, SolvedInstrument, SolvedShared, SolvedStation};
pub use types::{Class, Control, Instrument, Kind, Network, Observation, Reject, Robust, Settings, SharedError, Station};
pub use variance::{ClassSigma, LEAST_REDUNDANCY as LEAST_CLASS_REDUNDANCY, variance_components, variance_components_of};
