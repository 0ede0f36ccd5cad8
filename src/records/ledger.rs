//! The account of the input: why a row was held, what is suspicious about a row that was mapped,
//! and the counts that must add up.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fmt;

use super::shown::quoted;

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

/// What is suspicious about a row that was mapped all the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(u8)]
pub enum Flag {
    /// The same shot id stands earlier in this file for the same base and day, with other readings.
    RepeatedShotId,
    /// The same reading stands earlier, and neither id nor time tells the rows apart.
    RepeatedReading,
    /// The azimuth repeats exactly over many shots: a frozen compass?
    AzimuthRepeats,
    /// So steep that the azimuth means little.
    Steep,
    /// The time is earlier than that of the row before.
    TimeGoesBack,
    /// A name that a spreadsheet seems to have rewritten.
    DamagedId,
    /// The last line has no line end.
    NoLineEnd,
    /// Two bases have exactly the same coordinates.
    SamePosition,
    /// The base lies outside the area that the job or the CRS is meant for.
    OutsideArea,
    /// Latitude and longitude may be swapped.
    MaybeSwapped,
    /// A minus sign or hemisphere letter may be missing.
    MaybeSignLost,
    /// The base stands in the logs more than once, at nearly one place; the first is used.
    RepeatedBase,
    /// The horizontal magnetic field is below 6000 nT (the model's caution zone).
    WeakField,
    /// The horizontal magnetic field is below 2000 nT (the model's blackout zone).
    NoField,
    /// Positions of the base disagree beyond their uncertainty.
    OccupationsDisagree,
    /// The compass is disturbed at the base.
    LocalAttraction,
    /// The compass is disturbed at the base or at the one it was sighted from.
    MaybeLocalAttraction,
    /// The catalogue has no such code.
    UnknownCode,
    /// An attribute has a value that the catalogue does not allow.
    AttributeValue,
    /// An attribute that the catalogue requires is missing.
    AttributeMissing,
    /// The uncertainty is beyond the tolerance of the feature's code.
    MissesTolerance,
    /// The code is of lines or areas, and the row names no string.
    NoString,
    /// Nearer than the other shots to the feature: something before it was hit.
    ForegroundHit,
    /// Farther than the other shots to the feature: something behind it was hit.
    BackgroundHit,
    /// Far from the other shots to the feature.
    OutlyingShot,
    /// Two shots to the feature disagree.
    RepeatsDisagree,
    /// The feature's name stands for several places.
    NotOneFeature,
    /// A reading of the row failed the test of the network and was taken out.
    RejectedByTest,
    /// The date or time cannot be read, and nothing needs it.
    TimeUnread,
    /// The composed measurement that the row belongs to was refused.
    NotComposed,
    /// One of several readings of the row could not be used.
    ReadingHeld,
    /// The row had more fields than the header; the last ones were taken as one remark.
    RemarkJoined,
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

impl Flag {
    /// Every flag, in the order of its bits.
    pub const ALL: [Flag; 32] = [
        Flag::RepeatedShotId,
        Flag::RepeatedReading,
        Flag::AzimuthRepeats,
        Flag::Steep,
        Flag::TimeGoesBack,
        Flag::DamagedId,
        Flag::NoLineEnd,
        Flag::SamePosition,
        Flag::OutsideArea,
        Flag::MaybeSwapped,
        Flag::MaybeSignLost,
        Flag::RepeatedBase,
        Flag::WeakField,
        Flag::NoField,
        Flag::OccupationsDisagree,
        Flag::LocalAttraction,
        Flag::MaybeLocalAttraction,
        Flag::UnknownCode,
        Flag::AttributeValue,
        Flag::AttributeMissing,
        Flag::MissesTolerance,
        Flag::NoString,
        Flag::ForegroundHit,
        Flag::BackgroundHit,
        Flag::OutlyingShot,
        Flag::RepeatsDisagree,
        Flag::NotOneFeature,
        Flag::RejectedByTest,
        Flag::TimeUnread,
        Flag::NotComposed,
        Flag::ReadingHeld,
        Flag::RemarkJoined,
    ];

    /// The code in files.
    pub fn code(self) -> &'static str {
        match self {
            Flag::RepeatedShotId => "repeated_shot_id",
            Flag::RepeatedReading => "repeated_reading",
            Flag::AzimuthRepeats => "azimuth_repeats",
            Flag::Steep => "steep",
            Flag::TimeGoesBack => "time_goes_back",
            Flag::DamagedId => "damaged_id",
            Flag::NoLineEnd => "no_line_end",
            Flag::SamePosition => "same_position",
            Flag::OutsideArea => "outside_area",
            Flag::MaybeSwapped => "maybe_swapped",
            Flag::MaybeSignLost => "maybe_sign_lost",
            Flag::RepeatedBase => "repeated_base",
            Flag::WeakField => "weak_field",
            Flag::NoField => "no_field",
            Flag::OccupationsDisagree => "occupations_disagree",
            Flag::LocalAttraction => "local_attraction",
            Flag::MaybeLocalAttraction => "maybe_local_attraction",
            Flag::UnknownCode => "unknown_code",
            Flag::AttributeValue => "attribute_value",
            Flag::AttributeMissing => "attribute_missing",
            Flag::MissesTolerance => "misses_tolerance",
            Flag::NoString => "no_string",
            Flag::ForegroundHit => "foreground_hit",
            Flag::BackgroundHit => "background_hit",
            Flag::OutlyingShot => "outlying_shot",
            Flag::RepeatsDisagree => "repeats_disagree",
            Flag::NotOneFeature => "not_one_feature",
            Flag::RejectedByTest => "rejected_by_test",
            Flag::TimeUnread => "time_unread",
            Flag::NotComposed => "not_composed",
            Flag::ReadingHeld => "reading_held",
            Flag::RemarkJoined => "remark_joined",
        }
    }

    /// What it means, in a sentence.
    pub fn sentence(self) -> &'static str {
        match self {
            Flag::RepeatedShotId => {
                "the shot id stands earlier in this file for the same base and day with other readings: was the counter reset?"
            }
            Flag::RepeatedReading => "the same reading stands earlier, and neither an id nor a time tells the two apart",
            Flag::AzimuthRepeats => "the azimuth repeats exactly over many shots while distances change: was the compass frozen?",
            Flag::Steep => "the sight is so steep that its azimuth means little",
            Flag::TimeGoesBack => "the time is earlier than that of the row before: was the clock reset?",
            Flag::DamagedId => "the name looks like a date or a rounded number: did a spreadsheet rewrite it?",
            Flag::NoLineEnd => "the last line has no line end; its last field may be cut, and nothing measured stands there",
            Flag::SamePosition => "another base has exactly the same coordinates: was the receiver frozen, or a row copied?",
            Flag::OutsideArea => "the base lies outside the area that the job or the CRS of the layers is meant for",
            Flag::MaybeSwapped => "with latitude and longitude swapped the base would lie inside that area",
            Flag::MaybeSignLost => "with the sign of the longitude or latitude turned the base would lie inside that area",
            Flag::RepeatedBase => "the base stands in the logs more than once at nearly one place; the first is used",
            Flag::WeakField => "the horizontal magnetic field is below 6000 nT: compasses are unsure here",
            Flag::NoField => "the horizontal magnetic field is below 2000 nT: compasses are of no use here",
            Flag::OccupationsDisagree => "positions of the base disagree beyond their uncertainty: was the mark the same?",
            Flag::LocalAttraction => {
                "fore and back azimuths disagree, and a third sight tells that the compass is disturbed here"
            }
            Flag::MaybeLocalAttraction => "fore and back azimuths disagree: the compass is disturbed here or at the other end",
            Flag::UnknownCode => "the catalogue has no such code: was it mistyped?",
            Flag::AttributeValue => "an attribute has a value that the catalogue does not allow",
            Flag::AttributeMissing => "an attribute that the catalogue requires is missing",
            Flag::MissesTolerance => "its uncertainty is beyond the tolerance that the catalogue gives for its code",
            Flag::NoString => "its code is of lines or areas, and the row names no string to be part of",
            Flag::ForegroundHit => {
                "nearer than the other shots to the feature: something before it was probably hit; left out of its point"
            }
            Flag::BackgroundHit => {
                "farther than the other shots to the feature: something behind it was probably hit; left out of its point"
            }
            Flag::OutlyingShot => "far from the other shots to the feature; left out of its point",
            Flag::RepeatsDisagree => {
                "two shots to the feature lie farther apart than their uncertainty allows; which is wrong cannot be told: shoot a third"
            }
            Flag::TimeUnread => "the date or time cannot be read; nothing in this row needs it",
            Flag::RejectedByTest => "a reading of the row failed the test of the network and was taken out",
            Flag::NotComposed => {
                "the measurement that the row belongs to was refused, as the sentence says; its shot is mapped as a point"
            }
            Flag::RemarkJoined => "the row has more fields than the header; the last ones are one remark with separators in it",
            Flag::ReadingHeld => "one of several readings of the row could not be used; the others were",
            Flag::NotOneFeature => "the feature's name stands for shots to several places; each is mapped by itself",
        }
    }
}

/// A set of flags.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Flags(u64);

impl Flags {
    /// Adds a flag.
    pub fn raise(&mut self, flag: Flag) {
        self.0 |= 1 << flag as u8;
    }

    /// Adds the flags of another.
    pub fn join(&mut self, other: Flags) {
        self.0 |= other.0;
    }

    /// Whether a flag is up.
    pub fn has(self, flag: Flag) -> bool {
        self.0 & (1 << flag as u8) != 0
    }

    /// Whether none is.
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The flags that are up.
    pub fn iter(self) -> impl Iterator<Item = Flag> {
        Flag::ALL.into_iter().filter(move |flag| self.has(*flag))
    }
}

/// The codes with spaces between.
impl fmt::Display for Flags {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        for (i, flag) in self.iter().enumerate() {
            if i > 0 {
                f.write_str(" ")?;
            }
            f.write_str(flag.code())?;
        }
        Ok(())
    }
}

/// What is wrong with one row, and where in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// The reason.
    pub reason: Reason,
    /// The log's own header of the column; empty where it is the row as a whole.
    pub column: String,
    /// The value as it stands.
    pub value: String,
    /// The sentence.
    pub sentence: String,
}

impl Fault {
    /// A fault of a column's value. Of a long value the begin and the end are kept; the row has all of it.
    pub fn new(reason: Reason, column: &str, value: &str, sentence: impl Into<String>) -> Fault {
        let mut sentence = sentence.into();
        let [column, value] = [column, value].map(|long| match quoted(long) {
            Cow::Borrowed(short) => short.to_owned(),
            Cow::Owned(short) => {
                sentence = sentence.replace(long, &short);
                short
            }
        });
        Fault { reason, column, value, sentence }
    }
}

/// A row that was held or flagged.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Index of the input file.
    pub file: usize,
    /// Line, counted from 1.
    pub line: u64,
    /// The row as it stands in the file.
    pub row: String,
    /// What became of it.
    pub outcome: Outcome,
}

/// What became of a row that is in the ledger.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// Held.
    Held(Fault),
    /// Mapped, with suspicions, and what there is to say of this row's beside the sentences of the flags.
    Flagged(Flags, String),
    /// Used in a network: suspicions, and the residuals of its readings.
    Used(Flags, String),
    /// In a network, all its readings rejected by the test: suspicions, and the residuals.
    Rejected(Flags, String),
}

/// Counts of one input file. `read` = `mapped` + `repeats` + the sum of `held` + `composed` +
/// `outside_occupations`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Counts {
    /// Data rows read.
    pub read: u64,
    /// Rows mapped (bases: rows used).
    pub mapped: u64,
    /// Rows held, by reason.
    pub held: BTreeMap<Reason, u64>,
    /// Rows mapped with at least one flag.
    pub flagged: u64,
    /// Flags raised.
    pub flags: BTreeMap<Flag, u64>,
    /// Rows mapped without a height.
    pub without_height: u64,
    /// Blank lines.
    pub blank_lines: u64,
    /// Comment lines.
    pub comment_lines: u64,
    /// Header lines repeated inside the file.
    pub repeated_headers: u64,
    /// Units lines under a header.
    pub units_lines: u64,
    /// Further shots to a feature that is mapped: joined in its point, or left out of it by a test.
    pub repeats: u64,
    /// Rows that are no points of their own and serve a composed measurement or the places of bases.
    pub composed: u64,
    /// Fixes of a receiver outside every occupation: read, sound, and of no use to a base.
    pub outside_occupations: u64,
    /// Lines of a receiver's log that are no fixes of their own: sentences of other kinds; points that `except` leaves out; lines of
    /// a title above a header.
    pub other_lines: u64,
}

impl Counts {
    /// Rows held.
    pub fn held_total(&self) -> u64 {
        self.held.values().sum()
    }

    /// Counts a held row.
    pub fn hold(&mut self, reason: Reason) {
        *self.held.entry(reason).or_default() += 1;
    }

    /// Counts the flags of a mapped row.
    pub fn flag(&mut self, flags: Flags) {
        if !flags.is_empty() {
            self.flagged += 1;
            for flag in flags.iter() {
                *self.flags.entry(flag).or_default() += 1;
            }
        }
    }

    /// Adds another file's or block's counts.
    pub fn add(&mut self, other: &Counts) {
        self.read += other.read;
        self.mapped += other.mapped;
        self.flagged += other.flagged;
        self.without_height += other.without_height;
        self.blank_lines += other.blank_lines;
        self.comment_lines += other.comment_lines;
        self.repeated_headers += other.repeated_headers;
        self.units_lines += other.units_lines;
        self.repeats += other.repeats;
        self.composed += other.composed;
        self.outside_occupations += other.outside_occupations;
        self.other_lines += other.other_lines;
        for (reason, count) in &other.held {
            *self.held.entry(*reason).or_default() += count;
        }
        for (flag, count) in &other.flags {
            *self.flags.entry(*flag).or_default() += count;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flags_stand_at_their_own_bit() {
        for (i, flag) in Flag::ALL.into_iter().enumerate() {
            assert_eq!(flag as usize, i);
        }
        let mut flags = Flags::default();
        flags.raise(Flag::Steep);
        flags.raise(Flag::RepeatedShotId);
        assert_eq!(flags.to_string(), "repeated_shot_id steep");
    }
}
