//! Layers as tables: the fields of a layer, and batches of its records by column. What the stages
//! make and what the writers take; no format is known here.

use jiff::Timestamp;

use crate::job::LayerName;
use crate::job::catalogue::{Domain, GeometryKind};

/// The type of a field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FieldKind {
    /// A real number.
    Real,
    /// A whole number.
    Integer,
    /// Text.
    Text,
    /// An instant, in UTC.
    Time,
}

/// A field of a layer.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// Name.
    pub name: String,
    /// Name of at most ten characters, for formats that want it.
    pub short: String,
    /// Type.
    pub kind: FieldKind,
    /// Decimals that mean something, for text formats; none where they are the log's own.
    pub decimals: Option<u8>,
    /// Meaning and unit.
    pub description: String,
    /// What values it may have, where a catalogue says so.
    pub domain: Option<Domain>,
    /// Whether it is a column of the log that neither the program nor the catalogue knows.
    pub is_carried: bool,
    /// Whether it is an attribute of the catalogue.
    pub is_attribute: bool,
}

impl Field {
    /// Whether it is the program's own: neither the catalogue's nor the log's.
    pub fn is_own(&self) -> bool {
        !self.is_carried && !self.is_attribute
    }
}

/// Which layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LayerKey {
    /// One of the program's own.
    Own(LayerName),
    /// One of the job's catalogue, by its index there.
    Coded(usize),
    /// The squares of one that the catalogue keeps coarse, likewise.
    Cells(usize),
}

impl From<LayerName> for LayerKey {
    fn from(name: LayerName) -> LayerKey {
        LayerKey::Own(name)
    }
}

/// A layer's description.
#[derive(Debug, Clone, PartialEq)]
pub struct Layer {
    /// Which.
    pub key: LayerKey,
    /// The name in files.
    pub id: String,
    /// A title for people.
    pub title: String,
    /// What it holds.
    pub description: String,
    /// Geometry.
    pub geometry: GeometryKind,
    /// Fields.
    pub fields: Vec<Field>,
}

impl Layer {
    /// Whether its geometries have heights where the job has any: error ellipses and coarse cells lie flat.
    pub fn has_heights(&self) -> bool {
        !matches!(self.key, LayerKey::Own(LayerName::Ellipses) | LayerKey::Cells(_))
    }
}

/// Values of one field in a batch.
#[derive(Debug, Clone, PartialEq)]
pub enum Column {
    /// Reals; NaN is null.
    Real(Vec<f64>),
    /// Integers.
    Integer(Vec<Option<i64>>),
    /// Texts.
    Text(Texts),
    /// Instants.
    Time(Vec<Option<Timestamp>>),
}

/// Texts in one run of bytes, some of them null.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Texts {
    bytes: String,
    /// End of each text; the top bit marks a null.
    ends: Vec<u32>,
}

const NULL_TEXT: u32 = 1 << 31;

impl Texts {
    /// None yet, with room for about as many.
    pub fn with_room(texts: usize) -> Texts {
        /// Bytes that a text commonly has.
        const COMMON: usize = 8;
        Texts { bytes: String::with_capacity(COMMON * texts), ends: Vec::with_capacity(texts) }
    }

    /// Adds a text or a null.
    pub fn push(&mut self, text: Option<&str>) {
        if let Some(text) = text {
            self.bytes.push_str(text);
        }
        let end = self.bytes.len() as u32 & !NULL_TEXT;
        self.ends.push(if text.is_some() { end } else { end | NULL_TEXT });
    }

    /// Adds what is displayed.
    pub fn push_display(&mut self, text: impl std::fmt::Display) {
        use std::fmt::Write;
        self.push_with(|bytes| {
            // Writing to a String does not fail.
            let _ = write!(bytes, "{text}");
        });
    }

    /// Adds what is written behind the texts before it.
    pub fn push_with(&mut self, write: impl FnOnce(&mut String)) {
        write(&mut self.bytes);
        self.ends.push(self.bytes.len() as u32);
    }

    /// Text `i`.
    #[inline]
    pub fn get(&self, i: usize) -> Option<&str> {
        let start = if i == 0 { 0 } else { self.ends[i - 1] & !NULL_TEXT } as usize;
        let end = self.ends[i];
        (end & NULL_TEXT == 0).then(|| &self.bytes[start..end as usize])
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }
}

/// One value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cell<'b> {
    /// Null.
    Null,
    /// A real number.
    Real(f64),
    /// A whole number.
    Integer(i64),
    /// Text.
    Text(&'b str),
    /// An instant.
    Time(Timestamp),
}

impl Column {
    /// An empty column of a kind.
    pub fn new(kind: FieldKind) -> Column {
        match kind {
            FieldKind::Real => Column::Real(Vec::new()),
            FieldKind::Integer => Column::Integer(Vec::new()),
            FieldKind::Text => Column::Text(Texts::default()),
            FieldKind::Time => Column::Time(Vec::new()),
        }
    }

    /// Some of its values.
    #[must_use]
    pub fn select(&self, rows: &[usize]) -> Column {
        match self {
            Column::Real(values) => Column::Real(rows.iter().map(|i| values[*i]).collect()),
            Column::Integer(values) => Column::Integer(rows.iter().map(|i| values[*i]).collect()),
            Column::Time(values) => Column::Time(rows.iter().map(|i| values[*i]).collect()),
            Column::Text(texts) => {
                let mut some = Texts::default();
                rows.iter().for_each(|i| some.push(texts.get(*i)));
                Column::Text(some)
            }
        }
    }

    /// Value `i`.
    #[inline]
    pub fn get(&self, i: usize) -> Cell<'_> {
        match self {
            Column::Real(values) if values[i].is_nan() => Cell::Null,
            Column::Real(values) => Cell::Real(values[i]),
            Column::Integer(values) => values[i].map_or(Cell::Null, Cell::Integer),
            Column::Text(texts) => texts.get(i).map_or(Cell::Null, Cell::Text),
            Column::Time(values) => values[i].map_or(Cell::Null, Cell::Time),
        }
    }
}

/// A position of a geometry.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Position {
    /// Easting or longitude in the unit of the layers' CRS.
    pub x: f64,
    /// Northing or latitude.
    pub y: f64,
    /// Third coordinate of the layers; NaN where none is known.
    pub z: f64,
    /// Height above the ellipsoid of the layers' datum in metres; NaN where none is known.
    pub ellipsoid_height_m: f64,
    /// What stands in for `z` where a format wants a number: that of the base, or [`NO_HEIGHT`].
    pub stand_in_z: f64,
}

/// What formats that want a number have where neither the point nor its base has a height, in a job
/// where others have: never a false zero. The field height_kind says `none`.
pub const NO_HEIGHT: f64 = -9999.0;

/// The geometries of a batch.
#[derive(Debug, Clone, PartialEq)]
pub enum Geometries {
    /// A table.
    None,
    /// One point a record.
    Points(Vec<Position>),
    /// One line a record.
    Lines(Vec<Vec<Position>>),
    /// One closed ring a record, counter-clockwise.
    Areas(Vec<Vec<Position>>),
}

/// Records of one layer, by column.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// How many records.
    pub len: usize,
    /// Geometries.
    pub geometries: Geometries,
    /// One column a field.
    pub columns: Vec<Column>,
}

impl Batch {
    /// The positions of record `i`.
    pub fn positions(&self, i: usize) -> &[Position] {
        match &self.geometries {
            Geometries::None => &[],
            Geometries::Points(points) => std::slice::from_ref(&points[i]),
            Geometries::Lines(lines) => &lines[i],
            Geometries::Areas(rings) => &rings[i],
        }
    }

    /// Some of its records.
    #[must_use]
    pub fn select(&self, rows: &[usize]) -> Batch {
        let geometries = match &self.geometries {
            Geometries::None => Geometries::None,
            Geometries::Points(points) => Geometries::Points(rows.iter().map(|i| points[*i]).collect()),
            Geometries::Lines(lines) => Geometries::Lines(rows.iter().map(|i| lines[*i].clone()).collect()),
            Geometries::Areas(rings) => Geometries::Areas(rows.iter().map(|i| rings[*i].clone()).collect()),
        };
        Batch { len: rows.len(), geometries, columns: self.columns.iter().map(|column| column.select(rows)).collect() }
    }

    /// Value of a field of a record.
    pub fn cell(&self, field: usize, i: usize) -> Cell<'_> {
        self.columns[field].get(i)
    }
}
