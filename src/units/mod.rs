//! Units of length and angle: exact definitions, names, and the parsing of angles as people write them.
//!
//! Everything inside the program is in metres and radians; units exist at the edges alone.

mod angle;
pub mod gps_time;
mod length;
mod shown;

pub use angle::{AngleError, AngleUnit, Hemispheres, parse_angle_deg, parse_direction_deg};
pub use length::LengthUnit;
pub use shown::{AngleShown, AreaShown, LengthShown, Shown, Units, VolumeShown, computed};
