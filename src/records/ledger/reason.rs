//! Why a row was held: the reasons, their codes in files, and what each asks of the crew.

/// Why a row was held: read, understood to be unusable, and set aside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Reason {
    /// More or fewer fields than the header.
    FieldCount,
    /// A quoted field that never ends.
    UnclosedQuote,
    /// The last line has no line end and may have been cut.
    CutLastLine,
    /// The same row stands earlier.
    RepeatedRow,
    /// Not a number.
    NotANumber,
    /// Not an angle.
    NotAnAngle,
    /// Not a date or time.
    NotATime,
    /// A time without a zone.
    TimeWithoutZone,
    /// A local time that stands for two instants, or none.
    AmbiguousTime,
    /// No distance was returned.
    NoDistance,
    /// No azimuth.
    NoAzimuth,
    /// A slope distance with neither inclination nor vertical distance.
    NoInclination,
    /// Azimuth outside 0 to 360°.
    AzimuthRange,
    /// Inclination outside ±90°.
    InclinationRange,
    /// A distance that is not above zero.
    DistanceNotPositive,
    /// A distance outside the instrument's stated range.
    DistanceRange,
    /// Slope, horizontal and vertical distance and inclination contradict each other.
    DistancesDisagree,
    /// The azimuth is a reading of a circle that nothing orients.
    NoOrientation,
    /// No base is named.
    NoBase,
    /// The named base is in no base log.
    UnknownBase,
    /// The named base was itself held.
    BaseHeld,
    /// Several positions far apart bear the base's name.
    AmbiguousBase,
    /// No such instrument in the job.
    UnknownInstrument,
    /// No date, which the declination model or corrections by date need.
    NoDate,
    /// The model has no declination for the date or place.
    NoDeclination,
    /// No position, latitude or longitude in a base row.
    NoPosition,
    /// Latitude or longitude out of range.
    PositionRange,
    /// A base with no height in a log that gives heights.
    NoHeight,
    /// The base's coordinate system is not in the job's table.
    UnknownCrs,
    /// The position has no image in the CRS of the layers.
    NotProjected,
    /// The grid convergence is not defined at the base.
    NoConvergence,
    /// A sentence of a receiver whose checksum is wrong or missing.
    Checksum,
    /// A sentence of a receiver with missing or impossible fields.
    Sentence,
    /// The receiver had no fix.
    NoFix,
    /// A time of day, and nothing tells the day.
    FixWithoutDate,
    /// A fix that does not meet the job's rules.
    PoorFix,
    /// Too few epochs for a base.
    FewEpochs,
    /// An epoch far from the others of its base.
    OutlyingEpoch,
    /// No time, and the base can only be told by the time.
    NoTime,
    /// No base was occupied near the time of the shot.
    NoBaseInTime,
    /// The height of the instrument over the ground point is not known.
    NoInstrumentHeight,
    /// The height of the sighted spot over the feature's ground point is not known.
    NoTargetHeight,
    /// A sight to a known point without a distance: it orients its base, and there is no point to map.
    DirectionOnly,
    /// A row of a composed measurement that lacks another row.
    Incomplete,
    /// The catalogue has no such code, and holds what it does not know.
    UnknownCode,
    /// A total or a note beside the table.
    NoRow,
}

impl Reason {
    /// The code in files.
    pub fn code(self) -> &'static str {
        use Reason::*;
        match self {
            FieldCount => "field_count",
            UnclosedQuote => "unclosed_quote",
            CutLastLine => "cut_last_line",
            RepeatedRow => "repeated_row",
            NotANumber => "not_a_number",
            NotAnAngle => "not_an_angle",
            NotATime => "not_a_time",
            TimeWithoutZone => "time_without_zone",
            AmbiguousTime => "ambiguous_time",
            NoDistance => "no_distance",
            NoAzimuth => "no_azimuth",
            NoInclination => "no_inclination",
            AzimuthRange => "azimuth_range",
            InclinationRange => "inclination_range",
            DistanceNotPositive => "distance_not_positive",
            DistanceRange => "distance_range",
            DistancesDisagree => "distances_disagree",
            NoOrientation => "no_orientation",
            NoBase => "no_base",
            UnknownBase => "unknown_base",
            BaseHeld => "base_held",
            AmbiguousBase => "ambiguous_base",
            UnknownInstrument => "unknown_instrument",
            NoDate => "no_date",
            NoDeclination => "no_declination",
            NoPosition => "no_position",
            PositionRange => "position_range",
            NoHeight => "no_height",
            UnknownCrs => "unknown_crs",
            NotProjected => "not_projected",
            NoConvergence => "no_convergence",
            Checksum => "checksum",
            Sentence => "sentence",
            NoFix => "no_fix",
            FixWithoutDate => "fix_without_date",
            PoorFix => "poor_fix",
            FewEpochs => "few_epochs",
            OutlyingEpoch => "outlying_epoch",
            NoTime => "no_time",
            NoBaseInTime => "no_base_in_time",
            NoInstrumentHeight => "no_instrument_height",
            NoTargetHeight => "no_target_height",
            DirectionOnly => "direction_only",
            Incomplete => "incomplete",
            UnknownCode => "unknown_code",
            NoRow => "no_row",
        }
    }

    /// What it means and what to do, for the terminal and the documentation.
    pub fn advice(self) -> &'static str {
        use Reason::*;
        match self {
            FieldCount => "the row has more or fewer fields than the header; look for a lost separator or quote",
            UnclosedQuote => "a quoted field never ends; add the closing quote",
            CutLastLine => "the last line has no line end and may be cut; if it is whole, add a line end",
            RepeatedRow => "the same row stands earlier; it is mapped once",
            NotANumber => "not a number in the file's decimal sign",
            NotAnAngle => "not an angle; write decimal degrees, or degrees minutes seconds with a letter",
            NotATime => "not a date or time; write 2026-05-04T08:00:01+02:00, or date and time in two columns",
            TimeWithoutZone => "the time names no zone; write time_zone in the job",
            AmbiguousTime => "that local time came twice, or not at all, when the clocks were changed; write the offset",
            NoDistance => "no distance came back; shoot again",
            NoAzimuth => "no azimuth was recorded; the shot has no direction",
            NoInclination => "a slope distance needs an inclination or a vertical distance",
            AzimuthRange => "an azimuth lies between 0 and 360 degrees",
            InclinationRange => "an inclination lies between -90 and 90 degrees; is the column a zenith angle or percent?",
            DistanceNotPositive => "a distance is above zero",
            DistanceRange => "the distance is outside the range stated for the instrument",
            DistancesDisagree => "the distances and the inclination contradict each other; which is wrong cannot be told",
            NoOrientation => {
                "nothing orients the circle of the base: sight a base or known point from it (role = backsight), or features that an oriented base has shot too"
            }
            NoBase => "no base is named",
            UnknownBase => "no base log has this base; check the spelling and leading zeros",
            BaseHeld => "the base itself was held; mend the base's row",
            AmbiguousBase => "positions far apart bear this base's name; rename one",
            UnknownInstrument => "the job describes no instrument of this name",
            NoDate => {
                "a magnetic azimuth needs the date, and so do corrections by date; map a date column, or write the declination in the job"
            }
            NoDeclination => "the built-in magnetic models do not cover the date or place; write the declination in the job",
            NoPosition => "the base has no position",
            PositionRange => "latitude lies within 90 and longitude within 180 degrees; are they swapped?",
            NoHeight => "the base has no height, where others of its log have",
            UnknownCrs => "the value is not in crs_by_value",
            NotProjected => "the position has no image in the CRS of the layers",
            NoConvergence => "the grid's convergence is not defined here",
            Checksum => "the sentence's checksum is wrong or missing: it was damaged on its way",
            Sentence => "the sentence lacks fields, or has impossible ones",
            NoFix => "the receiver had no fix",
            PoorFix => "the fix does not meet the rules under [bases.quality]",
            FewEpochs => "fewer epochs than least_epochs under [bases.quality] asks for",
            OutlyingEpoch => "the epoch lies far from the others of its base and is left out of the mean",
            NoTime => "the base is told by the time, and the shot has none",
            NoBaseInTime => "no base was occupied near the time of the shot; mind the clocks, and limit_s under [join]",
            NoTargetHeight => {
                "the target height is not known; write it in the row, or target_height_m under [heights] (0: the sighted spot)"
            }
            NoInstrumentHeight => {
                "the instrument height is not known; write it in the row, or instrument_height_m under [heights]"
            }
            Incomplete => "the composed measurement that the row belongs to lacks another row, or contradicts itself",
            NoRow => "a total or a note beside the table, not a row of it; nothing is to be done",
            UnknownCode => "the catalogue has no such code; mend the code, or add it or an alias of it to the catalogue",
            DirectionOnly => {
                "a backsight or foresight without a distance serves the orientation of its base; there is no point to map"
            }
            FixWithoutDate => "the log gives a time of day alone; write date = 2026-05-04 under [bases]",
        }
    }
}
