//! What can go wrong with a coordinate reference system, for the person who named it.

use crate::geodesy::{FIRST_EPOCH, LAST_EPOCH};

/// A failure to use a CRS, with a remedy.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CrsError {
    /// The text names no CRS.
    #[error(
        "\"{definition}\" is not a coordinate reference system that PROJ knows; write an authority code \
         such as EPSG:32630, a compound such as EPSG:32630+5773, or WKT"
    )]
    Unknown {
        /// The text.
        definition: String,
    },
    /// The CRS exists but is of no use here.
    #[error("{name} cannot be used for {purpose}: it is {kind}; {remedy}")]
    Unsuitable {
        /// Name of the CRS.
        name: String,
        /// What it was wanted for.
        purpose: &'static str,
        /// What it is.
        kind: &'static str,
        /// What to write instead.
        remedy: &'static str,
    },
    /// The best operation needs grid files that are not installed.
    #[error(
        "from {from} to {to}{}: the best transformation ({operation}, {accuracy}) needs the grid file \
         {grids}, which {want}. Grid files come from the national mapping agency or from \
         PROJ's data collection; put the file in a folder and name the folder in the environment \
         variable PROJ_DATA. {otherwise}",
        place.as_ref().map(|place| format!(" at {place}")).unwrap_or_default()
    )]
    MissingGrid {
        /// Source CRS.
        from: String,
        /// Target CRS.
        to: String,
        /// What lies where it is the best, such as "base B7".
        place: Option<String>,
        /// Name of the operation.
        operation: String,
        /// Its accuracy, in words.
        accuracy: String,
        /// The grid files wanted.
        grids: String,
        /// What is wrong with them, after "which": that they are not installed, or cannot be used.
        want: String,
        /// What can be allowed in the job instead.
        otherwise: String,
    },
    /// PROJ knows only a null transformation.
    #[error(
        "from {from} to {to}: PROJ knows no transformation but a null (\"ballpark\") one, off by an \
         unknown amount. Choose a CRS on a datum that {from} is tied to, or write \
         allow_ballpark = true in the job to accept it"
    )]
    BallparkOnly {
        /// Source CRS.
        from: String,
        /// Target CRS.
        to: String,
    },
    /// PROJ knows no way to the vertical part of a CRS.
    #[error("from {from} to {to}: PROJ knows no way to its heights here. {otherwise}")]
    NoVertical {
        /// Source CRS.
        from: String,
        /// Target CRS.
        to: String,
        /// What can be allowed in the job instead.
        otherwise: &'static str,
    },
    /// PROJ knows nothing at all.
    #[error("from {from} to {to}: PROJ knows no way; are both on the same planet?")]
    NoOperation {
        /// Source CRS.
        from: String,
        /// Target CRS.
        to: String,
    },
    /// The operation moves with time, and no date was given.
    #[error(
        "from {from} to {to}: the transformation ({operation}) depends on the date, because the ground moves \
         in one of the two. Write epoch = 2026.4 under [bases] (the year and fraction when the positions were fixed)"
    )]
    NeedsEpoch {
        /// Source CRS.
        from: String,
        /// Target CRS.
        to: String,
        /// Name of the operation.
        operation: String,
    },
    /// A date that no position was fixed on.
    #[error(
        "epoch {value}: not a decimal year between {FIRST_EPOCH} and {LAST_EPOCH}; write the year and fraction \
         when the positions were fixed, such as 2026.4"
    )]
    BadEpoch {
        /// The value.
        value: f64,
    },
    /// One date for each point was promised.
    #[error("{epochs} epochs for {points} positions: give one for all or one for each")]
    EpochCount {
        /// Number of dates.
        epochs: usize,
        /// Number of points.
        points: usize,
    },
    /// Positions lie where their CRS is not meant for.
    #[error(
        "{bases} far outside the area that {crs} is meant for ({area}); the first, {first}. Name the CRS that the positions are \
         in, or write allow_outside_area = true in the job to map them all the same"
    )]
    FarOutside {
        /// Name of the CRS.
        crs: String,
        /// Name of the area.
        area: String,
        /// How many of how many lie there.
        bases: String,
        /// The first of them: where it was found, and what may be wrong.
        first: String,
    },
    /// Nothing says from which ellipsoid a height is counted.
    #[error(
        "positions on {crs} have heights above the ellipsoid, and nothing says of which: a GNSS receiver counts from the ellipsoid of \
         WGS 84 whatever datum it shows positions on, and the ellipsoid of {crs} {apart}. Write ellipsoid_heights_crs = \"EPSG:4979\" \
         beside the crs of the positions for WGS 84, or that crs again for its own"
    )]
    UnsaidHeightFrame {
        /// Name of the CRS.
        crs: String,
        /// Where its ellipsoid lies.
        apart: String,
    },
    /// Nothing ties the ellipsoid of a datum to WGS 84.
    #[error(
        "PROJ knows nothing that ties heights above the ellipsoid of {crs} to those of WGS 84; where the job says that heights or a geoid are \
         counted from it, write a CRS that PROJ does know, such as EPSG:4979 for WGS 84"
    )]
    NoHeightFrame {
        /// Name of the CRS.
        crs: String,
    },
    /// An old way to name a CRS.
    #[error("\"{definition}\" is an old way to name a coordinate reference system; write {instead}")]
    OldForm {
        /// The text.
        definition: String,
        /// What to write.
        instead: String,
    },
    /// PROJ failed inside.
    #[error("{what} failed: {gist}")]
    Inside {
        /// What was tried.
        what: String,
        /// PROJ's reason in short.
        gist: String,
    },
}

impl CrsError {
    /// The same failure with another way out: a sentence that says which key to write.
    #[must_use]
    pub fn or(mut self, way_out: Option<String>) -> CrsError {
        if let (CrsError::MissingGrid { otherwise, .. }, Some(way_out)) = (&mut self, way_out) {
            *otherwise = format!("{otherwise} {way_out}");
        }
        self
    }

    /// The same failure, met at a base: operations are chosen for its place.
    #[must_use]
    pub fn at_base(mut self, label: &str) -> CrsError {
        if let CrsError::MissingGrid { place, .. } = &mut self {
            place.get_or_insert_with(|| format!("base {label}"));
        }
        self
    }
}
