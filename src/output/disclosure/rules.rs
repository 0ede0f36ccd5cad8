//! What each field of each layer may say in an output that keeps places coarse.
//!
//! The lists name what may leave; a field that nobody has thought of stays behind. Kept are names, codes, days, times,
//! counts and where a row stands in its log. Withheld is all that follows from where a crew stood, seen from places that
//! are given away exactly: distances, azimuths, standard errors (an ellipse points along the sight, its size tells the
//! distance), shares of the variance, declination, convergence, geoid, and flags such as `steep`.
//!
//! Exact places are given to the metre. With their last digits some marks shot from one base give it away: its readings
//! come in steps, and few points of a cell see all marks at whole steps of azimuth and distance.

use crate::job::LayerName;
use crate::output::columns::LayerKey;
use crate::records::ledger::Flag;

/// Step of exact eastings and northings, in metres.
pub const PLACE_STEP_M: f64 = 1.0;
/// Step of heights above a datum, and of values that follow from single lengths, in metres.
pub const HEIGHT_STEP_M: f64 = 0.1;
/// Step of lengths of lines in metres.
const LENGTH_STEP_M: f64 = 1.0;
/// Step of areas in square metres, and of volumes in cubic metres.
const EXTENT_STEP: f64 = 1.0;

/// What becomes of a field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rule {
    /// As it is.
    Keep,
    /// Null.
    Withhold,
    /// To a multiple of a step in the field's own unit.
    Step(f64),
    /// An easting or northing of a layer of exact places.
    Place,
    /// An easting or northing of the middle of a cell.
    Cell,
    /// Codes of flags: those that tell of no place.
    Flags,
    /// Words that stand for what a row says.
    Row,
    /// The value of a measurement, by its name.
    Value,
    /// Not among the fields at all.
    Drop,
}

/// Whether a layer of the program's own is written.
pub fn is_written(layer: LayerName) -> bool {
    use LayerName::*;
    match layer {
        Features | Bases | Lines | Areas | Measurements | Values | Ledger => true,
        // Each of them leads to where the crew stood, or shows what is seen from there.
        SightLines | Ellipses | Vertices | Parts | Profiles | Adjusted | Residuals | Corrections => false,
    }
}

/// The rule of a field; `is_carried`: it is a column of the log that neither the program nor the catalogue knows.
pub fn rule_for(layer: LayerKey, is_coarse: bool, field: &str, is_carried: bool) -> Rule {
    if is_carried {
        return Rule::Drop;
    }
    match layer {
        LayerKey::Own(LayerName::Bases) => base(field),
        LayerKey::Own(LayerName::Ledger) => ledger(field),
        LayerKey::Own(LayerName::Measurements) => measurement(field),
        LayerKey::Own(LayerName::Values) => value(field),
        LayerKey::Coded(_) if is_coarse => coarse(field),
        // What is not a field of the program's own is an attribute of the catalogue.
        LayerKey::Coded(_) => feature(field).or_else(|| string(field)).unwrap_or(match is_own(field) {
            true => Rule::Withhold,
            false => Rule::Keep,
        }),
        LayerKey::Own(LayerName::Lines | LayerName::Areas) => string(field).unwrap_or(Rule::Withhold),
        LayerKey::Own(_) => feature(field).unwrap_or(Rule::Withhold),
        // They are made behind the door.
        LayerKey::Cells(_) => Rule::Withhold,
    }
}

fn feature(field: &str) -> Option<Rule> {
    Some(match field {
        "feature" | "code" | "code_title" | "shot" | "base" | "time" | "time_local" | "height_kind" | "geoid" | "string"
        | "measure" | "role" | "return" | "face_diameter_m" | "shots_used" | "shots_aside" | "source_file" | "source_line" => {
            Rule::Keep
        }
        "easting" | "northing" => Rule::Place,
        "ellipsoid_height_m" | "orthometric_height_m" => Rule::Step(HEIGHT_STEP_M),
        "flags" => Rule::Flags,
        // What is measured of a feature leaves by the tables of values alone, where all rows of the measurement may be told.
        "height_m" | "height_sigma_m" | "width_m" | "width_sigma_m" | "area_m2" | "area_sigma_m2" => Rule::Withhold,
        _ => return None,
    })
}

fn string(field: &str) -> Option<Rule> {
    Some(match field {
        "name" | "code" | "origin" | "vertices" | "bases" | "time" | "time_local" | "time_last" | "conditions" | "caution" => {
            Rule::Keep
        }
        "area_ellipsoid_m2" | "area_grid_m2" => Rule::Step(EXTENT_STEP),
        "length_ellipsoid_m" | "length_grid_m" | "length_space_m" => Rule::Step(LENGTH_STEP_M),
        "flags" => Rule::Flags,
        _ => return None,
    })
}

/// Fields of the program's own that a layer of the catalogue has.
fn is_own(field: &str) -> bool {
    use crate::output::layers::{features, strings};
    let of_points = features::coded_definitions().iter().any(|known| known.field().name == field);
    of_points || [false, true].into_iter().any(|area| strings::definitions(area).iter().any(|known| known.field().name == field))
}

fn coarse(field: &str) -> Rule {
    match field {
        "easting" | "northing" => Rule::Cell,
        // The others are the catalogue's attributes, or were chosen for such a layer.
        _ => Rule::Keep,
    }
}

fn base(field: &str) -> Rule {
    match field {
        "base" | "time" | "time_local" | "height_kind" | "coordinate_epoch" | "backsights" | "epochs" | "epochs_aside"
        | "duration_s" | "fix_kind" | "placed_by" | "shots" | "source_file" | "source_line" => Rule::Keep,
        "easting" | "northing" => Rule::Cell,
        "flags" => Rule::Flags,
        _ => Rule::Withhold,
    }
}

fn ledger(field: &str) -> Rule {
    match field {
        "value" | "sentence" | "row" => Rule::Row,
        "code" => Rule::Flags,
        "record" | "log" | "source_file" | "source_line" | "log_column" | "rows_read" | "rows_mapped" | "rows_held"
        | "lines_skipped" => Rule::Keep,
        _ => Rule::Withhold,
    }
}

fn measurement(field: &str) -> Rule {
    match field {
        "measure" | "name" | "quantity" | "target" | "time" | "time_local" | "time_last" | "conditions" | "user_threshold_m"
        | "caution" | "bases" | "source_file" | "source_line" => Rule::Keep,
        "value" => Rule::Value,
        _ => Rule::Withhold,
    }
}

fn value(field: &str) -> Rule {
    match field {
        "measure" | "name" | "code" | "bases" | "time" | "time_local" | "time_last" | "conditions" | "user_threshold_m"
        | "caution" | "source_file" | "source_line" => Rule::Keep,
        // Standard errors and intervals tell the distance; what it is to, and how it lies to a threshold, follow from exact values.
        _ => value_step(field).map_or(Rule::Withhold, Rule::Step),
    }
}

/// The step of a value by its name; none for one that stays behind, such as the distance to a base.
pub fn value_step(quantity: &str) -> Option<f64> {
    match quantity {
        "height_m" | "depth_m" | "width_m" | "sag_m" | "vertical_distance_m" | "least_vertical_distance_m" => Some(HEIGHT_STEP_M),
        "volume_m3" | "plan_area_m2" | "surface_area_m2" | "area_ellipsoid_m2" => Some(EXTENT_STEP),
        "length_ellipsoid_m" | "perimeter_ellipsoid_m" => Some(LENGTH_STEP_M),
        _ => None,
    }
}

/// Whether a flag tells nothing of a place.
pub fn may_be_told(flag: Flag) -> bool {
    use Flag::*;
    match flag {
        RepeatedShotId | RepeatedReading | TimeGoesBack | DamagedId | NoLineEnd | RepeatedBase | UnknownCode | AttributeValue
        | AttributeMissing | NoString | NotOneFeature | RemarkJoined => true,
        // Frozen azimuths lie on one line through the base; a steep sight has it close by; and so on.
        _ => false,
    }
}
