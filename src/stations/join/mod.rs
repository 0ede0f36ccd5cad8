//! Shots to bases: by name, by time, or by name with the time where a name stands for several positions.

pub mod time;

use std::collections::HashMap;
use std::sync::RwLock;

use crate::intake::shot_block::ShotBlock;
use crate::job::{Join, JoinBy};
use crate::records::ledger::{Fault, Reason};
use crate::records::names::label;
use crate::records::when::When;
use crate::stations::base::{BaseTable, Named};
use crate::stations::occupation::track::name_at;
use time::{TimeRule, Timeline};

/// Finds the base of each shot.
pub struct Joiner<'j> {
    table: &'j BaseTable,
    rules: &'j Join,
    timeline: Timeline,
    /// Of names that stand for several positions.
    several: HashMap<&'j str, Timeline>,
    /// What was said of names that no base has: rows repeat them, and each is compared with all bases once.
    unknown: RwLock<HashMap<String, String>>,
}

impl<'j> Joiner<'j> {
    /// For settled bases, by the job's rules.
    pub fn new(table: &'j BaseTable, rules: &'j Join) -> Joiner<'j> {
        let several = table.by_name.iter().filter_map(|(name, named)| match named {
            Named::Several(indexes) => Some((name.as_str(), Timeline::from_bases(table, indexes.iter().copied()))),
            _ => None,
        });
        Joiner { table, rules, timeline: Timeline::of_all(table), several: several.collect(), unknown: RwLock::default() }
    }

    /// The index of the base of a row of a block.
    ///
    /// # Errors
    /// When the row names none, or none that can be used, or none was occupied near its time.
    pub fn base_of(&self, block: &ShotBlock, index: usize, when: Option<When>) -> Result<usize, Fault> {
        let mut joined = String::new();
        let name = block.base(index, &mut joined);
        self.find(name, when, block.names_bases()).map_err(|unfound| unfound.fault(block, index, when))
    }

    /// The index of the base of a shot: by its name, or by its time where its log names no bases.
    ///
    /// # Errors
    /// See [`Unfound`].
    pub fn find(&self, name: Option<&str>, when: Option<When>, log_names_bases: bool) -> Result<usize, Unfound> {
        let by = by(self.rules, log_names_bases);
        if by == JoinBy::Id {
            return self.by_name(name, when);
        }
        let (instant, _) = when.and_then(|when| when.instant).ok_or(Unfound::NoTime)?;
        let rule = match by {
            JoinBy::Interpolated => {
                return match self.table.by_name.get(&name_at(instant)) {
                    Some(Named::Base(index)) => Ok(*index),
                    Some(Named::Held(why) | Named::Absent(why)) => Err(Unfound::InTime(why.clone())),
                    _ => Err(Unfound::InTime(format!("no receiver has a fix around {instant}"))),
                };
            }
            JoinBy::Nearest => TimeRule::Nearest,
            JoinBy::LastBefore | JoinBy::Id => TimeRule::LastBefore,
        };
        let found = self.timeline.find(instant, rule, self.rules.limit_s);
        let index = found.map_err(|nearest| Unfound::InTime(nearest.say(self.table, rule, self.rules.limit_s)))?;
        match index.checked_sub(self.table.bases.len()).and_then(|empty| self.table.empty_windows.get(empty)) {
            Some(window) => Err(Unfound::InTime(window.say.clone())),
            None => Ok(index),
        }
    }

    fn by_name(&self, name: Option<&str>, when: Option<When>) -> Result<usize, Unfound> {
        let name = name.ok_or(Unfound::NoName)?;
        if let Some(Named::Base(index)) = self.table.by_name.get(name) {
            return Ok(*index);
        }
        let label = label(name);
        let (reason, say) = match self.table.by_name.get(name) {
            Some(Named::Several(indexes)) => match when.and_then(|when| when.instant) {
                Some((instant, _)) => {
                    let timeline = self.several.get(name).unwrap_or(&self.timeline);
                    return timeline.find(instant, TimeRule::LastBefore, f64::INFINITY).or_else(|_| {
                        timeline.find(instant, TimeRule::Nearest, self.rules.limit_s).map_err(|nearest| {
                            let say = nearest.say(self.table, TimeRule::Nearest, self.rules.limit_s);
                            Unfound::Named { reason: Reason::NoBaseInTime, label, say }
                        })
                    });
                }
                None => {
                    let say = format!(
                        "base {label} was occupied {} times at different places, and the shot has no time to tell which is meant",
                        indexes.len()
                    );
                    (Reason::AmbiguousBase, say)
                }
            },
            Some(Named::Ambiguous(apart)) => (Reason::AmbiguousBase, format!("positions {apart} apart bear the name {label}")),
            Some(Named::Held(why)) => (Reason::BaseHeld, format!("base {label} was held: {why}")),
            Some(Named::Absent(why)) => (Reason::UnknownBase, format!("base {label} has no position: {why}")),
            Some(Named::Base(_)) | None => (Reason::UnknownBase, self.say_unknown(&label)),
        };
        Err(Unfound::Named { reason, label, say })
    }

    /// What to say of a name that no base has.
    fn say_unknown(&self, label: &str) -> String {
        let said = |table: &HashMap<String, String>| table.get(label).cloned();
        if let Some(say) = self.unknown.read().ok().and_then(|table| said(&table)) {
            return say;
        }
        let known = self.table.bases.iter().map(|base| base.label.as_str());
        let near = crate::numeric::words::nearest(label, known).map(|near| format!("; did the crew mean {near}?"));
        let say = format!("no base log has a base {label}{}", near.unwrap_or_default());
        if let Ok(mut table) = self.unknown.write() {
            table.insert(label.to_owned(), say.clone());
        }
        say
    }
}

/// Why a shot has no base.
#[derive(Debug, Clone, PartialEq)]
pub enum Unfound {
    /// It names none.
    NoName,
    /// It has no time to find one by.
    NoTime,
    /// None was occupied near its time: a sentence.
    InTime(String),
    /// The one that it names cannot be used.
    Named {
        /// The reason in the ledger.
        reason: Reason,
        /// The name for people.
        label: String,
        /// A sentence.
        say: String,
    },
}

impl Unfound {
    /// Whether the shot names a base that no log has, or that has no position.
    pub fn is_unknown(&self) -> bool {
        matches!(self, Unfound::Named { reason: Reason::UnknownBase, .. })
    }

    /// The fault of a row of a block.
    fn fault(self, block: &ShotBlock, index: usize, when: Option<When>) -> Fault {
        match self {
            Unfound::NoName => block.no_base(index, Reason::NoBase, "the shot names no base"),
            Unfound::NoTime if when.is_some() => {
                let (header, value) = block.date_as_it_stands(index);
                let say = format!("{header} is a day without a time of day: the base is told by the time of the shot");
                Fault::new(Reason::NoTime, header, value, say)
            }
            Unfound::NoTime => block.no_time(index, Reason::NoTime, "the base is told by the time of the shot"),
            Unfound::InTime(say) => {
                let (header, value) = block.time_as_it_stands(index);
                Fault::new(Reason::NoBaseInTime, header, value, say)
            }
            Unfound::Named { reason, label, say } => Fault::new(reason, block.header_of_base(), &label, say),
        }
    }
}

/// By what the shots of a log find their bases.
pub fn by(rules: &Join, log_names_bases: bool) -> JoinBy {
    rules.by.unwrap_or(if log_names_bases { JoinBy::Id } else { JoinBy::LastBefore })
}
