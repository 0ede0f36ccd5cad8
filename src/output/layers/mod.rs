//! The layers: what each field means, and where its value comes from, in one place per layer.
//!
//! The definitions here are the documentation too: `standoff schema layers` prints them.

pub mod adjusted;
pub mod bases;
pub mod cells;
pub mod coarse;
pub mod corrections;
pub mod ellipses;
pub mod features;
pub mod ledger;
pub mod measurements;
pub mod parts;
pub mod place;
pub mod profiles;
pub mod residuals;
pub mod sight_lines;
pub mod strings;
pub mod values;
pub mod vertices;

use std::collections::{HashMap, HashSet};
use std::fmt::Write;

use jiff::Timestamp;
use jiff::tz::Offset;

use crate::job::LayerName;
use crate::output::columns::{Column, Field, FieldKind, Layer, Texts};
use crate::output::times::{push_date_time, push_two_digits};
use crate::records::when::When;

/// A field of records `R`: its description and how to read it off a record.
pub struct Definition<R> {
    name: &'static str,
    short: &'static str,
    description: &'static str,
    get: Get<R>,
}

/// How a value is read off a record.
enum Get<R> {
    Real(fn(&R) -> f64),
    Integer(fn(&R) -> Option<i64>),
    Text(for<'r> fn(&'r R) -> Option<&'r str>),
    /// Text that is made, not borrowed.
    Show(fn(&R, &mut Texts)),
    Time(fn(&R) -> Option<Timestamp>),
}

impl<R> Definition<R> {
    const fn new(name: &'static str, short: &'static str, description: &'static str, get: Get<R>) -> Definition<R> {
        Definition { name, short, description, get }
    }

    /// The field.
    pub fn field(&self) -> Field {
        Field {
            name: self.name.to_owned(),
            short: self.short.to_owned(),
            kind: match self.get {
                Get::Real(_) => FieldKind::Real,
                Get::Integer(_) => FieldKind::Integer,
                Get::Text(_) | Get::Show(_) => FieldKind::Text,
                Get::Time(_) => FieldKind::Time,
            },
            decimals: Some(decimals(self.name)),
            description: self.description.to_owned(),
            domain: None,
            is_carried: false,
            is_attribute: false,
        }
    }

    /// The column of this field of some records.
    fn column(&self, records: &[&R]) -> Column {
        let room = records.len();
        let records = records.iter().copied();
        let texts = |push: &dyn Fn(&mut Texts, &R)| {
            let mut texts = Texts::with_room(room);
            records.clone().for_each(|record| push(&mut texts, record));
            Column::Text(texts)
        };
        match self.get {
            Get::Real(get) => Column::Real(records.map(get).collect()),
            Get::Integer(get) => Column::Integer(records.map(get).collect()),
            Get::Time(get) => Column::Time(records.map(get).collect()),
            Get::Text(get) => texts(&|texts, record| texts.push(get(record))),
            Get::Show(show) => texts(&|texts, record| show(record, texts)),
        }
    }
}

/// The columns of fields of some records.
pub fn columns<'a, R: 'a>(fields: &[Definition<R>], records: impl IntoIterator<Item = &'a R>) -> Vec<Column> {
    let records: Vec<&R> = records.into_iter().collect();
    fields.iter().map(|field| field.column(&records)).collect()
}

/// Decimals of a real field, finer than anything measured: a tenth of a millimetre, a millionth of a
/// degree of direction, 1e-9 of a degree of position.
fn decimals(name: &str) -> u8 {
    match name {
        "lat_deg" | "lon_deg" | "grid_scale" => 9,
        _ if name.ends_with("_deg") => 6,
        _ => 4,
    }
}

/// Every layer of the output, as described before anything is computed: without carried columns.
pub fn all(third: &str) -> Vec<Layer> {
    LayerName::ALL
        .into_iter()
        .map(|name| match name {
            LayerName::Features => features::layer(third, Vec::new()),
            LayerName::Bases => bases::layer(third, Vec::new()),
            LayerName::SightLines => sight_lines::layer(third),
            LayerName::Ellipses => ellipses::layer(),
            LayerName::Lines => strings::layer(third, false),
            LayerName::Areas => strings::layer(third, true),
            LayerName::Vertices => vertices::layer(third),
            LayerName::Measurements => measurements::layer(),
            LayerName::Values => {
                values::layer(&values::quantities(&values::KINDS.iter().map(|(kind, _)| (*kind).to_owned()).collect()))
            }
            LayerName::Parts => parts::layer(third),
            LayerName::Profiles => profiles::layer(third),
            LayerName::Adjusted => adjusted::layer(third),
            LayerName::Residuals => residuals::layer(),
            LayerName::Corrections => corrections::layer(),
            LayerName::Ledger => ledger::layer(),
        })
        .collect()
}

/// The names that the fields of a layer have, to give further ones names of their own: in time that does not grow with
/// what is there already.
pub struct Names {
    names: HashSet<String>,
    shorts: HashSet<String>,
    /// The last number behind each short name that came more than once.
    numbers: HashMap<String, usize>,
}

impl Names {
    /// Those of a layer's fields.
    pub fn from_fields(fields: &[Field]) -> Names {
        // GeoPackage keeps these for itself.
        let kept = ["fid", "geom", "ogc_fid"].into_iter().map(str::to_owned);
        Names {
            names: fields.iter().map(|field| field.name.to_lowercase()).chain(kept).collect(),
            shorts: fields.iter().map(|field| field.short.clone()).collect(),
            numbers: HashMap::new(),
        }
    }

    /// Whether a name is taken.
    pub fn has(&self, name: &str) -> bool {
        self.names.contains(&name.to_lowercase())
    }

    /// The field of a carried column: by its own name, or with `log_` before it where that is taken, and by a short name
    /// of its own.
    pub fn field(&mut self, header: &str, kind: FieldKind) -> Field {
        let mut name = header.to_owned();
        while !self.names.insert(name.to_lowercase()) {
            name = format!("log_{name}");
        }
        let plain: String =
            name.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_uppercase() } else { '_' }).take(10).collect();
        let mut short = plain.clone();
        if !self.shorts.insert(short.clone()) {
            let number = self.numbers.entry(plain.clone()).or_insert(1);
            loop {
                *number += 1;
                let tail = format!("_{number}");
                short = format!("{}{tail}", &plain[..plain.len().min(10usize.saturating_sub(tail.len()))]);
                if self.shorts.insert(short.clone()) {
                    break;
                }
            }
        }
        let description = format!("Carried from the log's column \"{header}\".");
        Field { name, short, kind, decimals: None, description, domain: None, is_carried: true, is_attribute: false }
    }
}

/// When the shots of something were taken.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Times {
    first: Option<When>,
    last: Option<Timestamp>,
}

impl Times {
    /// The first and the last of the times of rows; a day alone counts where no row has a time.
    pub fn from_rows(rows: impl Iterator<Item = Option<When>>) -> Times {
        let mut times = Times::default();
        for when in rows.flatten() {
            let instant = when.instant.map(|(instant, _)| instant);
            let known = times.first.and_then(|first| first.instant).map(|(instant, _)| instant);
            let is_first = match (known, instant) {
                (None, None) => times.first.is_none_or(|first| when.date < first.date),
                (None, Some(_)) => true,
                (Some(_), None) => false,
                (Some(known), Some(instant)) => instant < known,
            };
            if is_first {
                times.first = Some(when);
            }
            times.last = times.last.max(instant);
        }
        times
    }
}

/// The fields of times; `of` reads them off a record.
macro_rules! time_definitions {
    ($record:ty) => {
        [
            Definition::new(
                "time",
                "TIME",
                "Instant of the first of its shots, UTC; null where only the day is known.",
                Get::Time(|r: &$record| r.times.first_instant()),
            ),
            Definition::new(
                "time_local",
                "TIME_LOCAL",
                "Local time of the first of its shots with its offset from UTC, or the day alone; ISO 8601.",
                Get::Show(|r: &$record, texts| r.times.show_first(texts)),
            ),
            Definition::new(
                "time_last",
                "TIME_LAST",
                "Instant of the last of its shots, UTC.",
                Get::Time(|r: &$record| r.times.last),
            ),
        ]
    };
}
use time_definitions;

impl Times {
    fn first_instant(&self) -> Option<Timestamp> {
        self.first.and_then(|first| first.instant).map(|(instant, _)| instant)
    }

    fn show_first(&self, texts: &mut Texts) {
        show_local(texts, self.first.and_then(|first| first.instant), self.first.map(|first| first.date));
    }
}

/// Local date and time with the offset, as ISO 8601 has it.
fn show_local(texts: &mut Texts, instant: Option<(Timestamp, Offset)>, date: Option<jiff::civil::Date>) {
    match (instant, date) {
        (Some((instant, offset)), _) => {
            let local = offset.to_datetime(instant);
            let (minutes, sign) = (offset.seconds() / 60, if offset.is_negative() { '-' } else { '+' });
            texts.push_with(|text| {
                if local.subsec_nanosecond() == 0 && (0..=9999).contains(&local.year()) {
                    push_date_time(text, &local);
                } else {
                    // Writing to a String does not fail.
                    let _ = write!(text, "{local}");
                }
                text.push(sign);
                push_two_digits(text, minutes.abs() / 60);
                text.push(':');
                push_two_digits(text, minutes.abs() % 60);
            });
        }
        (None, Some(date)) => texts.push_display(date),
        (None, None) => texts.push(None),
    }
}

/// A known number, or NaN for null.
fn or_null(value: Option<f64>) -> f64 {
    value.unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_unique_and_short_names_short() {
        for layer in all("z") {
            for (i, field) in layer.fields.iter().enumerate() {
                assert!(field.short.len() <= 10 && field.short.is_ascii(), "{}", field.short);
                for other in &layer.fields[..i] {
                    assert_ne!(field.name, other.name, "{}", layer.id);
                    assert_ne!(field.short, other.short, "{}", layer.id);
                }
            }
        }
    }

    #[test]
    fn the_first_and_the_last_time_whatever_the_order() {
        let at = |second: i64, hours: i8| {
            let (instant, offset) = (Timestamp::from_second(second).unwrap(), Offset::constant(hours));
            When { date: offset.to_datetime(instant).date(), instant: Some((instant, offset)) }
        };
        let day = When { date: "2026-05-04".parse().unwrap(), instant: None };
        let times = Times::from_rows([None, Some(at(200, 2)), Some(day), Some(at(100, 1)), Some(at(150, 1))].into_iter());
        assert_eq!(times, Times { first: Some(at(100, 1)), last: Some(Timestamp::from_second(200).unwrap()) });
        assert_eq!(Times::from_rows([Some(day), None].into_iter()), Times { first: Some(day), last: None });
        let mut texts = Texts::default();
        times.show_first(&mut texts);
        assert_eq!(texts.get(0), Some("1970-01-01T01:01:40+01:00"));
    }

    #[test]
    fn a_carried_column_never_takes_a_name_that_is_kept() {
        let fields = features::layer("z", Vec::new()).fields;
        let named = |header: &str| Names::from_fields(&fields).field(header, FieldKind::Text).name;
        assert_eq!(named("fid"), "log_fid");
        assert_eq!(named("FID"), "log_FID");
        assert_eq!(named("Code"), "log_Code");
        assert_eq!(named("species"), "species");
        let mut names = Names::from_fields(&fields);
        let shorts =
            ["height of the crown", "height of the stem", "Größe in m"].map(|header| names.field(header, FieldKind::Real).short);
        assert_eq!(shorts, ["HEIGHT_OF_", "HEIGHT_O_2", "GR__E_IN_M"]);
    }

    #[test]
    fn any_number_of_columns_have_names_of_their_own() {
        let mut names = Names::from_fields(&[]);
        let fields: Vec<Field> = (0..20_000).map(|i| names.field(&format!("reading number {i}"), FieldKind::Real)).collect();
        let shorts: HashSet<&str> = fields.iter().map(|field| field.short.as_str()).collect();
        assert_eq!(shorts.len(), fields.len());
        assert!(shorts.iter().all(|short| short.len() <= 10));
    }
}
