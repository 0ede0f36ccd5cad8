//! What is suspicious about a row that was mapped all the same: the flags, their codes in files, and sets of them.

use std::fmt;

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
