//! How a log's values are written, settled for each column before any row is read: signs of numbers, orders of dates, the log's own
//! words.

use std::collections::{BTreeMap, BTreeSet};

use super::columns::{ColumnUnit, Quantity};
use super::dates::evidence::{DateEvidence, OpenDates, SettledDates};
use super::log_layout::{Claim, ClaimSource, LayoutError, LogLayout};
use super::numbers::{Keys, NumberExample, SettledNumbers};
use super::survey::{ColumnSeen, Watch, survey};
use super::words;
use super::written::{WrittenDates, WrittenNumbers};
use crate::job::{DateOrder, LogFormat};
use crate::numeric::signs::{Signs, Thousands};
use crate::units::AngleUnit;

/// A column of numbers, as the pass over the rows shows it.
struct NumberColumn {
    of: ColumnPlace,
    header: String,
    seen: super::numbers::NumberEvidence,
    is_asked_for: bool,
}

/// Where a column stands in the layout.
#[derive(Clone, Copy, PartialEq)]
enum ColumnPlace {
    /// A claim, of all rows or of one of several readings.
    Claim(Option<usize>, Quantity),
    Extra(usize),
}

impl Quantity {
    /// Whether its values are numbers that are read as such.
    fn is_number(self, unit: ColumnUnit) -> bool {
        use Quantity::{AirTemperature, ConductorTemperature, CoordinateEpoch, Hdop, Load, Order, Pdop, Wind};
        let without_unit = [AirTemperature, ConductorTemperature, CoordinateEpoch, Hdop, Load, Order, Pdop, Wind];
        unit != ColumnUnit::None || without_unit.contains(&self)
    }

    /// Whether its values are dates or times.
    fn is_time(self) -> bool {
        matches!(self, Quantity::Date | Quantity::Time | Quantity::Start | Quantity::End)
    }
}

impl LogLayout {
    /// Settles how the values are written.
    ///
    /// # Errors
    /// What no value tells, and the line of a value that leaves it open.
    pub(super) fn settle(&mut self, text: &str, log: &LogFormat) -> Result<(), (u64, LayoutError)> {
        let beside_date = self.claims.has(Quantity::Date);
        let watch_of = |quantity: Quantity, unit: ColumnUnit| match quantity {
            Quantity::Date => Some(Watch::Date),
            quantity if quantity.is_time() => Some(if beside_date { Watch::Time } else { Watch::Date }),
            Quantity::Role | Quantity::Measure | Quantity::Code => Some(Watch::Word),
            quantity if quantity.is_number(unit) => Some(Watch::Number),
            _ => None,
        };
        let mut places: Vec<(ColumnPlace, usize, Watch)> = Vec::new();
        let mut seen: BTreeMap<usize, ColumnSeen> = BTreeMap::new();
        let mut constants: Vec<(ColumnPlace, Watch, ColumnSeen)> = Vec::new();
        for (place, quantity, claim) in self.placed_claims() {
            let Some(watch) = watch_of(quantity, claim.unit) else { continue };
            match &claim.source {
                ClaimSource::Column(index) => places.push((place, *index, watch)),
                ClaimSource::Constant(value) => {
                    let mut alone = ColumnSeen::default();
                    alone.take(watch, value, self.header_line);
                    constants.push((place, watch, alone));
                }
                ClaimSource::Columns(_) => {}
            }
        }
        let claimed: BTreeSet<usize> = places.iter().map(|(_, index, _)| *index).collect();
        for (at, (index, _)) in self.extras.iter().enumerate() {
            if !claimed.contains(index) {
                places.push((ColumnPlace::Extra(at), *index, Watch::Number));
            }
        }
        let watched: Vec<(usize, Watch)> = places.iter().map(|(_, index, watch)| (*index, *watch)).collect();
        for ((_, index, _), found) in places.iter().zip(survey(self, text, &watched)) {
            seen.insert(*index, found);
        }
        let found: Vec<(ColumnPlace, Watch, ColumnSeen)> = places
            .into_iter()
            .filter_map(|(place, index, watch)| Some((place, watch, seen.remove(&index)?)))
            .chain(constants)
            .collect();
        self.settle_words(&found, log);
        self.settle_numbers(&found, log)?;
        self.settle_dates(found, log)
    }

    /// All claims with their places.
    fn placed_claims(&self) -> impl Iterator<Item = (ColumnPlace, Quantity, &Claim)> {
        let of_all = self.claims.iter().map(|(quantity, claim)| (None, quantity, claim));
        let of_readings = self
            .readings
            .iter()
            .enumerate()
            .flat_map(|(n, claims)| claims.iter().map(move |(quantity, claim)| (Some(n), quantity, claim)));
        of_all.chain(of_readings).map(|(reading, quantity, claim)| (ColumnPlace::Claim(reading, quantity), quantity, claim))
    }

    fn claim_in(&self, place: ColumnPlace) -> Option<&Claim> {
        match place {
            ColumnPlace::Claim(None, quantity) => self.claims.get(quantity),
            ColumnPlace::Claim(Some(n), quantity) => self.readings.get(n)?.get(quantity),
            ColumnPlace::Extra(_) => None,
        }
    }

    fn claim_mut(&mut self, place: ColumnPlace) -> Option<&mut Claim> {
        match place {
            ColumnPlace::Claim(None, quantity) => self.claims.get_mut(quantity),
            ColumnPlace::Claim(Some(n), quantity) => self.readings.get_mut(n)?.get_mut(quantity),
            ColumnPlace::Extra(_) => None,
        }
    }

    fn settle_numbers(&mut self, found: &[(ColumnPlace, Watch, ColumnSeen)], log: &LogFormat) -> Result<(), (u64, LayoutError)> {
        let keys = Keys { decimal: log.decimal, thousands: log.thousands.and_then(Thousands::from_sign) };
        let columns: Vec<NumberColumn> = found
            .iter()
            .filter(|(_, watch, _)| *watch == Watch::Number)
            .filter_map(|(place, _, seen)| match place {
                ColumnPlace::Extra(at) => Some(NumberColumn {
                    of: *place,
                    header: self.extras[*at].1.clone(),
                    seen: seen.numbers.clone(),
                    is_asked_for: false,
                }),
                ColumnPlace::Claim(..) => {
                    let claim = self.claim_in(*place)?;
                    let is_small =
                        matches!(claim.unit, ColumnUnit::Angle(AngleUnit::Degree | AngleUnit::Gon) | ColumnUnit::Percent);
                    let seen = if is_small { seen.numbers.clone().with_small_values() } else { seen.numbers.clone() };
                    Some(NumberColumn {
                        of: *place,
                        header: claim.header.clone(),
                        seen,
                        is_asked_for: claim.unit != ColumnUnit::None,
                    })
                }
            })
            .collect();
        if keys.decimal == Some(',') && self.separator == b',' && !columns.iter().any(|column| column.seen.has_comma()) {
            return Err((self.header_line, LayoutError::CommaTwice));
        }
        let shown: BTreeSet<bool> = columns.iter().filter_map(|column| column.seen.decimal_comma()).collect();
        let of_file = if shown.len() == 1 { shown.first().copied() } else { None };
        self.extra_signs = vec![Signs::POINT; self.extras.len()];
        let mut settled: Vec<(String, SettledNumbers, bool)> = Vec::new();
        for column in columns {
            // What the job says holds for what is computed with; an attribute that shows another sign keeps it.
            let keys = if column.is_asked_for || column.seen.decimal_comma().is_none() { keys } else { Keys::default() };
            let is = column.seen.settle(&keys, of_file, self.separator);
            if let (Some(example), true) = (&is.open, column.is_asked_for) {
                return Err((example.0, self.ask_for_signs(&column.header, example)));
            }
            let is = if is.open.is_some() { SettledNumbers::default() } else { is };
            match column.of {
                ColumnPlace::Extra(at) => self.extra_signs[at] = is.signs,
                ColumnPlace::Claim(..) => {
                    if let Some(claim) = self.claim_mut(column.of) {
                        claim.signs = is.signs;
                        let header = claim.header.clone();
                        let extra = self.extras.iter().position(|(_, own)| *own == header);
                        extra.into_iter().for_each(|at| self.extra_signs[at] = is.signs);
                    }
                }
            }
            settled.push((column.header, is, column.is_asked_for));
        }
        let commas = settled.iter().filter(|(_, is, asked)| *asked && is.has_decimals && is.signs.decimal_comma).count();
        let points = settled.iter().filter(|(_, is, asked)| *asked && is.has_decimals && !is.signs.decimal_comma).count();
        let decimal_comma = match (commas, points) {
            (0, 0) => keys.decimal.map(|sign| sign == ',').or(of_file).unwrap_or(false),
            (commas, points) => commas > points,
        };
        let thousands = settled.iter().find_map(|(_, is, asked)| is.signs.thousands.filter(|_| *asked && is.parted.is_some()));
        self.written.signs = Signs { decimal_comma, thousands };
        self.written.columns = settled
            .into_iter()
            .filter(|(_, is, _)| is.parted.is_some() || (is.has_decimals && is.signs.decimal_comma != decimal_comma))
            .map(|(header, is, _)| WrittenNumbers { header, signs: is.signs, told_by: is.parted.or(is.told_by) })
            .collect();
        Ok(())
    }

    /// The question for the signs of a column.
    fn ask_for_signs(&self, header: &str, (_, value): &NumberExample) -> LayoutError {
        let comma = value.contains(',');
        let sign = if comma { ',' } else { '.' };
        let grouped = Signs { decimal_comma: !comma, thousands: Thousands::from_sign(sign) };
        let decimal = Signs { decimal_comma: comma, thousands: None };
        LayoutError::OpenSign {
            header: header.to_owned(),
            value: value.clone(),
            sign,
            grouped: grouped.number(value),
            decimal: decimal.number(value),
            table: self.kind.table(),
        }
    }

    fn settle_dates(&mut self, found: Vec<(ColumnPlace, Watch, ColumnSeen)>, log: &LogFormat) -> Result<(), (u64, LayoutError)> {
        for (place, watch, seen) in found {
            let (ColumnPlace::Claim(..), Watch::Date | Watch::Time) = (place, watch) else { continue };
            self.settle_date(place, seen.when, log.date_order)?;
        }
        Ok(())
    }

    fn settle_date(
        &mut self,
        place: ColumnPlace,
        seen: DateEvidence,
        by_job: Option<DateOrder>,
    ) -> Result<(), (u64, LayoutError)> {
        let Some(header) = self.claim_in(place).map(|claim| claim.header.clone()) else { return Ok(()) };
        let (settled, open) = seen.settle(by_job);
        match open {
            Some(OpenDates::Order((line, value), readings)) => {
                return Err((line, LayoutError::OpenOrder { header, value, readings, table: self.kind.table() }));
            }
            Some(OpenDates::Contradiction([day_first, month_first], (line, open))) => {
                return Err((line, LayoutError::TwoOrders { header, day_first, month_first, open, table: self.kind.table() }));
            }
            Some(OpenDates::Fraction((line, value))) => return Err((line, LayoutError::OpenFraction { header, value })),
            None => {}
        }
        let SettledDates { style, told_by, serial, epoch } = settled;
        if (style.order.is_some() && !style.by_job) || serial.is_some() || epoch.is_some() {
            self.written.dates.push(WrittenDates { header, order: style.order, told_by, serial, epoch });
        }
        if let Some(claim) = self.claim_mut(place) {
            claim.style = style;
        }
        Ok(())
    }

    /// The log's own words in the program's.
    fn settle_words(&mut self, found: &[(ColumnPlace, Watch, ColumnSeen)], log: &LogFormat) {
        for (place, watch, seen) in found {
            let (ColumnPlace::Claim(_, quantity), Watch::Word) = (place, watch) else { continue };
            let (table, is_plain) = match quantity {
                Quantity::Role => (&log.roles, true),
                Quantity::Measure => (&log.measures, true),
                _ => (&log.codes, false),
            };
            let known = words::translations(table, &seen.words, is_plain);
            if !known.is_empty() {
                self.words.entry(*quantity).or_default().extend(known);
            }
        }
    }
}
