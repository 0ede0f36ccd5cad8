//! What the tests, fuzz targets and timings of this repository look at, at the paths where it lives. It is not the library's door: names change
//! without notice. What nothing here and nothing at the door uses is dead, and the compiler says so.
#![allow(missing_docs)]

#[cfg(feature = "gis")]
pub mod field {
    pub mod calibrate {
        pub use crate::field::calibrate::{
            CalibrationResult, CalibrationRole, CalibrationSettings, EARTH_RADIUS_M, Measure, calibrate,
        };
        pub mod known_line {
            pub use crate::field::calibrate::known_line::KnownLine;
        }
        pub mod log {
            pub use crate::field::calibrate::log::CalibrationRows;
            pub use crate::field::calibrate::shot::CalibrationShot;
        }
    }
}
pub mod geodesy {
    pub mod covariance {
        pub use crate::geodesy::covariance::{Covariance, ELLIPSE95, INTERVAL95};
    }
    #[cfg(feature = "gis")]
    pub mod crs {
        pub use crate::geodesy::crs::{ByPlace, CoordinateEpoch, Crs, CrsError, OperationRules, Transform, seclude_gdal};
    }
    pub mod frame {
        pub use crate::geodesy::frame::{EarthCentred, Ellipsoid, Geodetic, LocalFrame, full_circle_rad};
    }
    #[cfg(feature = "gis")]
    pub mod geoid {
        pub use crate::geodesy::geoid::{Geoids, SIGMA_M};
    }
    #[cfg(feature = "gis")]
    pub mod height_frame {
        pub use crate::geodesy::height_frame::GeoidFrames;
    }
    #[cfg(feature = "gis")]
    pub mod north {
        pub use crate::geodesy::north::{NorthError, NorthKind, WeakField, declination, model_name, yearly_change_rad};
    }
    pub mod register {
        pub use crate::geodesy::register::{BaseErrors, Cause, CorrelatedPoints, ErrorId, Located, Origin, Register, Shares};
    }
}
pub mod intake {
    pub mod cell {
        pub use crate::intake::cell::CellFormat;
    }
    pub mod dates {
        pub use crate::intake::dates::Style;
    }
    pub mod gpx {
        pub use crate::intake::gpx::{GpxHeights, read};
    }
    pub mod kml {
        pub use crate::intake::kml::{KmlHeights, read, unpack};
    }
    pub mod log {
        pub use crate::intake::log::Log;
    }
    pub mod nmea {
        pub use crate::intake::nmea::{Clues, looks_like, read};
    }
    pub mod shot_block {
        pub use crate::intake::shot_block::{RowRead, ShotBlock};
    }
    pub mod shot_rules {
        pub use crate::intake::shot_rules::ShotRules;
    }
    pub mod text {
        pub use crate::intake::text::Text;
    }
    pub mod workbook {
        pub use crate::intake::workbook::read;
    }
}
pub mod measure {
    pub mod span {
        pub use crate::measure::span::CAUTION;
    }
    pub mod strings {
        pub mod measure {
            pub use crate::measure::strings::measure::{StringMeasures, measures};
        }
    }
}
pub mod numeric {
    pub mod monte_carlo {
        pub use crate::numeric::monte_carlo::{Lower, Normal, deviation};
    }
}
#[cfg(feature = "gis")]
pub mod output {
    pub mod columns {
        pub use crate::output::columns::Layer;
    }
    pub mod layers {
        pub use crate::output::layers::all;
    }
    pub mod style {
        pub use crate::output::style::{Naming, document, looks};
    }
    pub mod write {
        pub use crate::output::write::Discard;
    }
}
pub mod records {
    pub mod base_row {
        pub use crate::records::base_row::{BaseRow, Coordinates, FixQuality, Height};
    }
    pub mod fix {
        pub use crate::records::fix::{Fix, FixLog};
    }
    pub mod ledger {
        pub use crate::records::ledger::{Flags, Reason};
    }
    pub mod shot {
        pub use crate::records::shot::{Azimuth, Readings};
    }
    pub mod triangle {
        pub use crate::records::triangle::Triangle;
    }
}
#[cfg(feature = "gis")]
pub mod run {
    pub use crate::run::run;
}
pub mod shots {
    #[cfg(feature = "gis")]
    pub mod locate {
        pub use crate::shots::locate::{Locator, end_point};
    }
    pub mod located {
        pub use crate::shots::located::correlated;
    }
    pub mod reduce {
        pub use crate::shots::reduce::{Sight, SightSigmas, Vector, reduce};
    }
}
pub mod stations {
    #[cfg(feature = "gis")]
    pub mod base {
        pub use crate::stations::base::{BaseSettings, BaseTable};
    }
    #[cfg(feature = "gis")]
    pub mod occupation {
        pub mod average {
            pub use crate::stations::occupation::average::{average, sigma_of};
        }
    }
}
