//! The options that are the ways on from a failure of the library, which knows of no command line.

use std::error::Error;

use crate::field::calibrate::{CalibrateError, NoInstrument, ShotFlaw};
use crate::field::plan::errors::ErrorsOfJob;
use crate::intake::checks::{CheckTableError, TableFlaw};
use crate::output::WriteError;
use crate::review::assess::{self, AssessError};
use crate::review::compare::write::WriteChangesError;
use crate::review::compare::{self, CompareError};
use crate::review::finished::{LayerError, LayerFlaw, NoWay};

const CHOOSES_INSTRUMENT: &str = " (--instrument)";
const NAMES_LAYER: &str = " (--layer)";
const NAMES_CHECK_CRS: &str = " (--check-crs)";
const OTHER_NAMES: &str = " (--field, --within)";

/// What stands behind the message of a failure; nothing where no option helps.
pub fn options(failure: &(dyn Error + 'static)) -> &'static str {
    if let Some(error) = failure.downcast_ref() {
        of_writing(error)
    } else if let Some(error) = failure.downcast_ref() {
        of_assess(error)
    } else if let Some(error) = failure.downcast_ref() {
        of_compare(error)
    } else if let Some(error) = failure.downcast_ref() {
        of_calibrate(error)
    } else if let Some(WriteChangesError::Strange(_)) = failure.downcast_ref() {
        " (--out)"
    } else if let Some(NoInstrument::Several(_)) = failure.downcast_ref() {
        CHOOSES_INSTRUMENT
    } else {
        match failure.downcast_ref() {
            Some(ErrorsOfJob::Several(_) | ErrorsOfJob::Unnamed(_)) => CHOOSES_INSTRUMENT,
            _ => "",
        }
    }
}

fn of_writing(error: &WriteError) -> &'static str {
    match error {
        WriteError::Added { .. } | WriteError::Changed { .. } => {
            " (--out names another folder, --replace throws away what is in the way)"
        }
        WriteError::Strange { .. } | WriteError::Dangling { .. } | WriteError::InTheWay { .. } | WriteError::Busy { .. } => {
            " (--out names another folder)"
        }
        _ => "",
    }
}

fn of_layer(error: &LayerError) -> &'static str {
    if matches!(error.flaw, LayerFlaw::NoneNamed(_)) { NAMES_LAYER } else { "" }
}

fn of_assess(error: &AssessError) -> &'static str {
    match error {
        AssessError::Layer(error) => of_layer(error),
        AssessError::Table(CheckTableError::Table { flaw: TableFlaw::NoCrs, .. })
        | AssessError::CrsIsProjected(_)
        | AssessError::CrsIsGeographic(_)
        | AssessError::Outside { .. } => NAMES_CHECK_CRS,
        AssessError::Table(CheckTableError::Table { flaw: TableFlaw::NoNames { .. }, .. }) => " (--check-name)",
        AssessError::NoWay(NoWay::NeedsEpoch { .. }) => " (--check-epoch)",
        AssessError::NoNames(_) => " (--check-name, --within)",
        AssessError::NothingMatched { remedy: assess::AssessRemedy::OtherNames { .. }, .. } => OTHER_NAMES,
        _ => "",
    }
}

fn of_compare(error: &CompareError) -> &'static str {
    match error {
        CompareError::Layer(error) => of_layer(error),
        CompareError::NoWay(NoWay::NeedsEpoch { .. }) => " (--epoch)",
        CompareError::NothingMatched { remedy: compare::CompareRemedy::OtherNames, .. } => OTHER_NAMES,
        _ => "",
    }
}

fn of_calibrate(error: &CalibrateError) -> &'static str {
    match error {
        CalibrateError::SeveralInstruments(_) => CHOOSES_INSTRUMENT,
        CalibrateError::Log { flaw, .. } => match flaw {
            ShotFlaw::NothingKnown => {
                " (--distance or --horizontal-distance, --azimuth with --azimuth-north, --inclination, --from with --to)"
            }
            ShotFlaw::GridAzimuth => " (--azimuth with --azimuth-north grid, in place of --from and --to)",
            ShotFlaw::OtherNorth { .. } => " (--azimuth with --azimuth-north, or --from with --to)",
            ShotFlaw::OtherDistance => " (--inclination)",
            _ => "",
        },
        _ => "",
    }
}
