//! Shots to bases: by name, by time, or by name with the time where a name stands for several positions.

pub mod time;

use std::collections::HashMap;

use crate::intake::columns::Quantity;
use crate::intake::delimited::{Row, Rows};
use crate::intake::plan::Plan;
use crate::job::{Join, JoinBy};
use crate::records::ledger::{Fault, Reason};
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
}

impl<'j> Joiner<'j> {
    /// For settled bases, by the job's rules.
    pub fn new(table: &'j BaseTable, rules: &'j Join) -> Joiner<'j> {
        let several = table.by_name.iter().filter_map(|(name, named)| match named {
            Named::Several(indexes) => Some((name.as_str(), Timeline::of(table, indexes.iter().copied()))),
            _ => None,
        });
        Joiner { table, rules, timeline: Timeline::of_all(table), several: several.collect() }
    }

    /// By what the shots of a log find their bases.
    pub fn by(&self, plan: &Plan) -> JoinBy {
        by(self.rules, plan)
    }

    /// The index of a shot's base.
    ///
    /// # Errors
    /// When the row names none, or none that can be used, or none was occupied near its time.
    pub fn base_of(&self, plan: &Plan, rows: &Rows, row: &Row, when: Option<When>) -> Result<usize, Fault> {
        let by = self.by(plan);
        if by == JoinBy::Id {
            return self.by_name(plan, rows, row, when);
        }
        let quantities = [Quantity::Time, Quantity::Date];
        let no_time = || match when {
            Some(_) => {
                let header = plan.header(Quantity::Date);
                let say = format!("{header} is a day without a time of day: the base is told by the time of the shot");
                Fault::new(Reason::NoTime, header, plan.raw(Quantity::Date, rows, row), say)
            }
            None => plan.no_reading(rows, row, Reason::NoTime, &quantities, "the base is told by the time of the shot"),
        };
        let (instant, _) = when.and_then(|when| when.instant).ok_or_else(no_time)?;
        let fault =
            |say: String| Fault::new(Reason::NoBaseInTime, plan.header(Quantity::Time), plan.raw(Quantity::Time, rows, row), say);
        let rule = match by {
            JoinBy::Interpolated => {
                return match self.table.by_name.get(&name_at(instant)) {
                    Some(Named::Base(index)) => Ok(*index),
                    Some(Named::Held(why) | Named::Absent(why)) => Err(fault(why.clone())),
                    _ => Err(fault(format!("no receiver has a fix around {instant}"))),
                };
            }
            JoinBy::Nearest => TimeRule::Nearest,
            JoinBy::LastBefore | JoinBy::Id => TimeRule::LastBefore,
        };
        let found = self.timeline.find(instant, rule, self.rules.limit_s);
        let index = found.map_err(|nearest| fault(nearest.say(self.table, rule, self.rules.limit_s)))?;
        match index.checked_sub(self.table.bases.len()).and_then(|empty| self.table.empty_windows.get(empty)) {
            Some(window) => Err(fault(window.say.clone())),
            None => Ok(index),
        }
    }

    fn by_name(&self, plan: &Plan, rows: &Rows, row: &Row, when: Option<When>) -> Result<usize, Fault> {
        let header = plan.header(Quantity::Base);
        let mut joined = String::new();
        let Some(name) = plan.name(Quantity::Base, rows, row, &mut joined) else {
            return Err(plan.no_reading(rows, row, Reason::NoBase, &[Quantity::Base], "the shot names no base"));
        };
        if let Some(Named::Base(index)) = self.table.by_name.get(name) {
            return Ok(*index);
        }
        let label = crate::records::names::label(name);
        let fault = |reason, say| Fault::new(reason, header, &label, say);
        Err(match self.table.by_name.get(name) {
            Some(Named::Several(indexes)) => match when.and_then(|when| when.instant) {
                Some((instant, _)) => {
                    let timeline = self.several.get(name).unwrap_or(&self.timeline);
                    return timeline.find(instant, TimeRule::LastBefore, f64::INFINITY).or_else(|_| {
                        timeline.find(instant, TimeRule::Nearest, self.rules.limit_s).map_err(|nearest| {
                            fault(Reason::NoBaseInTime, nearest.say(self.table, TimeRule::Nearest, self.rules.limit_s))
                        })
                    });
                }
                None => {
                    let say = format!(
                        "base {label} was occupied {} times at different places, and the shot has no time to tell which is meant",
                        indexes.len()
                    );
                    fault(Reason::AmbiguousBase, say)
                }
            },
            Some(Named::Ambiguous(apart)) => {
                fault(Reason::AmbiguousBase, format!("positions {apart:.1} m apart bear the name {label}"))
            }
            Some(Named::Held(why)) => fault(Reason::BaseHeld, format!("base {label} was held: {why}")),
            Some(Named::Absent(why)) => fault(Reason::UnknownBase, format!("base {label} has no position: {why}")),
            Some(Named::Base(_)) | None => {
                let known = self.table.bases.iter().map(|base| base.label.as_str());
                let near = crate::numeric::words::nearest(&label, known).map(|near| format!("; did the crew mean {near}?"));
                fault(Reason::UnknownBase, format!("no base log has a base {label}{}", near.unwrap_or_default()))
            }
        })
    }
}

/// By what the shots of a log find their bases.
pub fn by(rules: &Join, plan: &Plan) -> JoinBy {
    rules.by.unwrap_or(if plan.claim_of(Quantity::Base).is_some() { JoinBy::Id } else { JoinBy::LastBefore })
}
