//! The canonical column names: a quantity, and behind it the unit.

use crate::geodesy::north::NorthKind;
use crate::units::{AngleUnit, LengthUnit};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Quantity {
    /// Name of the base.
    Base,
    /// Id of the shot.
    Shot,
    /// Date and time, or time of day beside a date.
    Time,
    /// Date.
    Date,
    /// Feature code.
    Code,
    /// Name of the feature.
    Feature,
    /// Name of the string.
    String,
    /// Kind of composed measurement.
    Measure,
    /// Part that the shot plays in it.
    Role,
    /// Which echo was kept.
    Return,
    /// Name of the instrument.
    Instrument,
    /// Slope distance.
    SlopeDistance,
    /// Horizontal distance.
    HorizontalDistance,
    /// Vertical distance, up positive.
    VerticalDistance,
    /// Azimuth from magnetic north.
    MagneticAzimuth,
    /// Azimuth from true north.
    TrueAzimuth,
    /// Azimuth from grid north.
    GridAzimuth,
    /// Inclination, up positive.
    Inclination,
    /// Zenith angle: 0 up, 90° level.
    Zenith,
    /// Latitude.
    Latitude,
    /// Longitude.
    Longitude,
    /// Easting.
    East,
    /// Northing.
    North,
    /// Height above the ellipsoid.
    EllipsoidHeight,
    /// Height above the geoid or a vertical datum.
    OrthometricHeight,
    /// Height of the instrument's axis over the base's ground point.
    InstrumentHeight,
    /// Height of the sighted spot over the feature's ground point.
    TargetHeight,
    /// Diameter of what was shot at its near face, half of which is the step to its centre.
    FaceDiameter,
    /// Height of the antenna over the base's ground point.
    AntennaHeight,
    /// Beginning of an occupation.
    Start,
    /// End of an occupation.
    End,
    /// Azimuth from the north that [`Quantity::AzimuthNorth`] names.
    Azimuth,
    /// Number of a vertex in its string.
    Order,
    /// Which north the azimuth of the row is counted from: magnetic, true or grid.
    AzimuthNorth,
    /// Height of the geoid above the ellipsoid that a receiver took off.
    Separation,
    /// Kind of fix.
    FixKind,
    /// Horizontal dilution of precision.
    Hdop,
    /// Position dilution of precision.
    Pdop,
    /// Epoch of the coordinates, as a year with its fraction.
    CoordinateEpoch,
    /// Radius about the position that holds it with a share that the job names.
    Radius,
    /// Standard error of each horizontal axis.
    SigmaHorizontal,
    /// Standard error of the height.
    SigmaVertical,
    /// Name of the level surface that a sight meets.
    Level,
    /// Temperature of the air.
    AirTemperature,
    /// Temperature of the conductor, where it was logged.
    ConductorTemperature,
    /// Speed of the wind.
    Wind,
    /// Current in the conductor.
    Load,
    /// Other conditions of the day, in words: sun, rain, ice.
    Conditions,
}

/// The unit behind the quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ColumnUnit {
    /// Text, a date or a time.
    None,
    /// A length.
    Length(LengthUnit),
    /// An angle.
    Angle(AngleUnit),
    /// Slope in percent: 100 tan I.
    Percent,
}

/// Which logs may have the column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LogKind {
    /// Bases.
    Bases,
    /// Shots.
    Shots,
    /// Lists of occupations.
    Occupations,
}

impl LogKind {
    /// The table of the job that describes such logs.
    pub fn table(self) -> &'static str {
        match self {
            LogKind::Bases => "bases",
            LogKind::Shots => "shots",
            LogKind::Occupations => "bases.occupations.list",
        }
    }
}

/// What units a quantity may have.
#[derive(Clone, Copy)]
enum UnitsOfQuantity {
    None,
    Length,
    /// Units of diameters.
    Diameter,
    /// Degrees, gon, mil.
    Angle,
    /// As `Angle`, and percent.
    Slope,
    /// Degrees in any notation, with hemisphere letters.
    Geographic,
}

const TABLE: [(&str, Quantity, UnitsOfQuantity, [bool; 3]); 49] = {
    use Quantity::*;
    use UnitsOfQuantity::*;
    // name, quantity, units, and whether it stands in base logs, shot logs, lists of occupations
    [
        ("base", Base, None, [true, true, true]),
        ("shot", Shot, None, [false, true, false]),
        ("time", Time, None, [true, true, false]),
        ("date", Date, None, [true, true, true]),
        ("code", Code, None, [false, true, false]),
        ("feature", Feature, None, [false, true, false]),
        ("string", String, None, [false, true, false]),
        ("measure", Measure, None, [false, true, false]),
        ("role", Role, None, [false, true, false]),
        ("return", Return, None, [false, true, false]),
        ("instrument", Instrument, None, [false, true, false]),
        ("slope_distance", SlopeDistance, Length, [false, true, false]),
        ("horizontal_distance", HorizontalDistance, Length, [false, true, false]),
        ("vertical_distance", VerticalDistance, Length, [false, true, false]),
        ("magnetic_azimuth", MagneticAzimuth, Angle, [false, true, false]),
        ("true_azimuth", TrueAzimuth, Angle, [false, true, false]),
        ("grid_azimuth", GridAzimuth, Angle, [false, true, false]),
        ("inclination", Inclination, Slope, [false, true, false]),
        ("zenith", Zenith, Angle, [false, true, false]),
        ("lat", Latitude, Geographic, [true, false, false]),
        ("lon", Longitude, Geographic, [true, false, false]),
        ("east", East, Length, [true, false, false]),
        ("north", North, Length, [true, false, false]),
        ("ellipsoid_height", EllipsoidHeight, Length, [true, false, false]),
        // In a local frame: above its zero.
        ("local_height", EllipsoidHeight, Length, [true, false, false]),
        ("orthometric_height", OrthometricHeight, Length, [true, false, false]),
        ("instrument_height", InstrumentHeight, Length, [true, true, true]),
        ("target_height", TargetHeight, Length, [false, true, false]),
        ("face_diameter", FaceDiameter, Diameter, [false, true, false]),
        ("antenna_height", AntennaHeight, Length, [true, false, true]),
        ("start", Start, None, [false, false, true]),
        ("end", End, None, [false, false, true]),
        ("azimuth", Azimuth, Angle, [false, true, false]),
        ("order", Order, None, [false, true, false]),
        ("azimuth_north", AzimuthNorth, None, [false, true, false]),
        ("separation", Separation, Length, [true, false, false]),
        ("fix_kind", FixKind, None, [true, false, false]),
        ("hdop", Hdop, None, [true, false, false]),
        ("pdop", Pdop, None, [true, false, false]),
        ("coordinate_epoch", CoordinateEpoch, None, [true, false, false]),
        ("radius", Radius, Length, [true, false, false]),
        ("sigma_horizontal", SigmaHorizontal, Length, [true, false, false]),
        ("sigma_vertical", SigmaVertical, Length, [true, false, false]),
        ("level", Level, None, [false, true, false]),
        ("air_temperature_c", AirTemperature, None, [false, true, false]),
        ("conductor_temperature_c", ConductorTemperature, None, [false, true, false]),
        ("wind_m_s", Wind, None, [false, true, false]),
        ("load_a", Load, None, [false, true, false]),
        ("conditions", Conditions, None, [false, true, false]),
    ]
};

impl Quantity {
    /// The north of an azimuth column.
    pub fn north(self) -> Option<NorthKind> {
        match self {
            Quantity::MagneticAzimuth => Some(NorthKind::Magnetic),
            Quantity::TrueAzimuth => Some(NorthKind::True),
            Quantity::GridAzimuth => Some(NorthKind::Grid),
            _ => None,
        }
    }

    /// Whether the column becomes an attribute of its features as well, as one that nothing claims does.
    pub fn is_carried(self) -> bool {
        use Quantity::*;
        matches!(self, FaceDiameter | Level | AirTemperature | ConductorTemperature | Wind | Load | Conditions)
    }
}

fn units_of(units: UnitsOfQuantity) -> Vec<(&'static str, ColumnUnit)> {
    let lengths = LengthUnit::ALL.into_iter().map(|unit| (unit.suffix(), ColumnUnit::Length(unit)));
    let angles = AngleUnit::ALL.into_iter().map(|unit| (unit.suffix(), ColumnUnit::Angle(unit)));
    match units {
        UnitsOfQuantity::None => vec![("", ColumnUnit::None)],
        UnitsOfQuantity::Length => lengths.collect(),
        UnitsOfQuantity::Diameter => {
            LengthUnit::OF_DIAMETERS.into_iter().map(|unit| (unit.suffix(), ColumnUnit::Length(unit))).collect()
        }
        UnitsOfQuantity::Angle => angles.collect(),
        UnitsOfQuantity::Slope => angles.chain([("pct", ColumnUnit::Percent)]).collect(),
        UnitsOfQuantity::Geographic => vec![("deg", ColumnUnit::Angle(AngleUnit::Degree))],
    }
}

/// The quantity and unit of a canonical name in a kind of log.
pub fn parse(name: &str, kind: LogKind) -> Option<(Quantity, ColumnUnit)> {
    names(kind).into_iter().find(|(known, _, _)| known == name).map(|(_, quantity, unit)| (quantity, unit))
}

/// Every canonical name of a kind of log.
pub fn names(kind: LogKind) -> Vec<(String, Quantity, ColumnUnit)> {
    let mut found = Vec::new();
    for (name, quantity, units, belongs) in TABLE {
        if belongs[kind as usize] {
            for (suffix, unit) in units_of(units) {
                let full = if suffix.is_empty() { name.to_owned() } else { format!("{name}_{suffix}") };
                found.push((full, quantity, unit));
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_say_quantity_and_unit() {
        assert_eq!(
            parse("slope_distance_usft", LogKind::Shots),
            Some((Quantity::SlopeDistance, ColumnUnit::Length(LengthUnit::UsSurveyFoot)))
        );
        assert_eq!(parse("inclination_pct", LogKind::Shots), Some((Quantity::Inclination, ColumnUnit::Percent)));
        // A bare azimuth is one of the north that its own column names: `LogLayout` asks for that column.
        assert_eq!(parse("azimuth_deg", LogKind::Shots), Some((Quantity::Azimuth, ColumnUnit::Angle(AngleUnit::Degree))));
        assert_eq!(parse("azimuth", LogKind::Shots), None);
        assert_eq!(parse("lat_deg", LogKind::Shots), None);
        assert_eq!(parse("zenith_pct", LogKind::Shots), None);
    }

    #[test]
    fn a_slip_of_the_pen_finds_its_name() {
        let names: Vec<String> = names(LogKind::Shots).into_iter().map(|(name, _, _)| name).collect();
        let near = |name| crate::numeric::words::nearest(name, names.iter().map(String::as_str));
        assert_eq!(near("slope_distanse_m"), Some("slope_distance_m"));
        assert_eq!(near("zzz"), None);
    }
}
