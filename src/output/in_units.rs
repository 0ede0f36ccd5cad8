//! Records in the units that people read: the fields of the program's own that end with a unit, and tables that name the unit of
//! their values beside them. Geometry, eastings and northings, latitudes and longitudes stay with the CRS; attributes of a catalogue and
//! columns carried from a log stay as the crew has them.

use std::borrow::Cow;
use std::collections::HashSet;

use super::columns::{Batch, Cell, Column, Field, Layer, Texts};
use crate::units::{Shown, Units};

/// Names of at most so many letters fit every format.
const SHORT: usize = 10;

/// The transformation to units.
#[derive(Debug, Clone, Copy, Default)]
pub struct InUnits {
    units: Units,
}

/// How the values of a field are shown.
#[derive(Clone, Copy)]
enum ShownAs {
    Same,
    By(Shown),
    /// By the unit that ends the text in that column.
    OfQuantity(usize),
    /// By the unit that is the text in that column.
    OfUnit(usize),
    /// A quantity or a unit, whose text names the unit.
    NamesQuantity,
    NamesUnit,
}

/// Fields of a table whose unit stands in `quantity` or `unit`.
const OF_ANOTHER: [&str; 8] =
    ["value", "sigma", "low95", "high95", "residual", "sigma_residual", "smallest_blunder", "prior_sigma"];

impl InUnits {
    /// To these units.
    pub fn new(units: Units) -> InUnits {
        InUnits { units }
    }

    /// These units.
    pub fn units(&self) -> Units {
        self.units
    }

    /// Whether everything stays as it is.
    pub fn is_same(&self) -> bool {
        self.units.are_metric()
    }

    fn steps(&self, layer: &Layer) -> Vec<ShownAs> {
        let at = |name: &str| layer.fields.iter().position(|field| field.name == name && field.is_own());
        let (quantity, unit) = (at("quantity"), at("unit"));
        let of = |field: &Field| {
            if !field.is_own() {
                return ShownAs::Same;
            }
            match field.name.as_str() {
                "quantity" => ShownAs::NamesQuantity,
                "unit" => ShownAs::NamesUnit,
                name if OF_ANOTHER.contains(&name) => {
                    quantity.map(ShownAs::OfQuantity).or(unit.map(ShownAs::OfUnit)).unwrap_or(ShownAs::Same)
                }
                name => match self.units.of_quantity(name) {
                    Some((_, shown)) if !shown.is_same() => ShownAs::By(shown),
                    _ => ShownAs::Same,
                },
            }
        };
        layer.fields.iter().map(of).collect()
    }

    /// A layer with the names of its fields in these units.
    pub fn layer(&self, layer: &Layer) -> Layer {
        let mut layer = layer.clone();
        if self.is_same() {
            return layer;
        }
        let steps = self.steps(&layer);
        let same = layer.fields.iter().zip(&steps).filter(|(_, step)| !matches!(step, ShownAs::By(_)));
        let mut taken: HashSet<String> = same.map(|(field, _)| field.short.clone()).collect();
        for (field, step) in layer.fields.iter_mut().zip(steps) {
            let ShownAs::By(shown) = step else { continue };
            field.name = self.units.name(&field.name);
            field.short = short(&field.short, &shown, &mut taken);
            field.description = self.said(&field.description);
        }
        layer
    }

    /// A field's description with the units that it is shown in.
    fn said(&self, description: &str) -> String {
        let (length, area, volume) = (self.units.length(), self.units.area(), self.units.volume());
        let mut said = description
            .replace("square metres", "\u{1}")
            .replace("cubic metres", "\u{2}")
            .replace("metres", length.words)
            .replace('\u{1}', area.words)
            .replace('\u{2}', volume.words);
        if !self.units.angle().is_same() {
            said = said.replace("degrees", self.units.angle().words).replace("0 to 180", "0 to 200");
        }
        said
    }

    /// Records in these units; `layer` as the stages describe it.
    pub fn batch<'b>(&self, layer: &Layer, batch: &'b Batch) -> Cow<'b, Batch> {
        if self.is_same() {
            return Cow::Borrowed(batch);
        }
        let steps = self.steps(layer);
        if steps.iter().all(|step| matches!(step, ShownAs::Same)) {
            return Cow::Borrowed(batch);
        }
        let text = |index: usize, i: usize| match batch.cell(index, i) {
            Cell::Text(text) => text,
            _ => "",
        };
        let columns = batch.columns.iter().zip(steps).map(|(column, step)| match (column, step) {
            (Column::Real(values), ShownAs::By(shown)) => Column::Real(values.iter().map(|value| shown.value(*value)).collect()),
            (Column::Real(values), ShownAs::OfQuantity(at)) => {
                Column::Real(values.iter().enumerate().map(|(i, value)| self.units.value(text(at, i), *value)).collect())
            }
            (Column::Real(values), ShownAs::OfUnit(at)) => {
                let of = |i: usize, value: f64| self.units.of_unit(text(at, i)).map_or(value, |shown| shown.value(value));
                Column::Real(values.iter().enumerate().map(|(i, value)| of(i, *value)).collect())
            }
            (Column::Text(texts), ShownAs::NamesQuantity | ShownAs::NamesUnit) => {
                let mut named = Texts::default();
                for i in 0..batch.len {
                    let shown = texts.get(i).map(|text| match step {
                        ShownAs::NamesUnit => self.units.of_unit(text).map_or(text.to_owned(), |shown| shown.suffix.to_owned()),
                        _ => self.units.name(text),
                    });
                    named.push(shown.as_deref());
                }
                Column::Text(named)
            }
            (column, _) => column.clone(),
        });
        let columns = columns.collect();
        Cow::Owned(Batch { len: batch.len, geometries: batch.geometries.clone(), columns })
    }
}

/// A name of at most ten letters in another unit, and no other field's.
fn short(metric: &str, shown: &Shown, taken: &mut HashSet<String>) -> String {
    let unit = match shown.suffix {
        "usft" => "UF",
        "usft2" => "UF2",
        "usft3" => "UF3",
        other => other,
    };
    let stem = metric.strip_suffix("_M").unwrap_or(metric);
    let tail = if stem.len() < metric.len() { format!("_{}", unit.to_uppercase()) } else { String::new() };
    let mut number = 0;
    loop {
        let behind = if number == 0 { tail.clone() } else { format!("{number}{tail}") };
        let name = format!("{}{behind}", &stem[..stem.len().min(SHORT.saturating_sub(behind.len()))]);
        if taken.insert(name.clone()) {
            return name;
        }
        number += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::columns::Geometries;
    use crate::output::layers;
    use crate::units::LengthShown;

    fn feet() -> InUnits {
        InUnits::new(Units { length: LengthShown::Usft, ..Units::default() })
    }

    #[test]
    fn every_field_of_every_layer_has_a_name_of_its_own_in_feet() {
        for layer in layers::all("z") {
            let shown = feet().layer(&layer);
            let mut shorts: Vec<&str> = shown.fields.iter().map(|field| field.short.as_str()).collect();
            assert!(shorts.iter().all(|short| short.len() <= SHORT), "{shorts:?}");
            shorts.sort_unstable();
            shorts.dedup();
            assert_eq!(shorts.len(), shown.fields.len(), "{}", layer.id);
            for (metric, field) in layer.fields.iter().zip(&shown.fields) {
                assert_eq!(metric.name.ends_with("_m"), field.name.ends_with("_usft"), "{}", field.name);
                let says_metres = field.description.contains("metres") && field.name != metric.name;
                assert!(!says_metres || field.description.contains("US survey"), "{}: {}", field.name, field.description);
            }
        }
    }

    #[test]
    fn values_follow_the_unit_that_stands_beside_them() {
        let layer = layers::measurements::layer();
        let columns = layer.fields.iter().map(|field| {
            let mut texts = Texts::default();
            match field.name.as_str() {
                "value" | "sigma" | "low95" | "high95" => return Column::Real(vec![12.0, 12.0, 12.0]),
                "quantity" => ["height_m", "lean_deg", "volume_m3"].into_iter().for_each(|name| texts.push(Some(name))),
                _ => (0..3).for_each(|_| texts.push(None)),
            }
            Column::Text(texts)
        });
        let batch = Batch { len: 3, geometries: Geometries::None, columns: columns.collect() };
        let shown = feet().batch(&layer, &batch);
        let at = |name: &str| layer.fields.iter().position(|field| field.name == name).unwrap();
        let cube: f64 = 3937.0 / 1200.0;
        for (i, want) in [12.0 * 3937.0 / 1200.0, 12.0, 12.0 * cube * cube * cube].into_iter().enumerate() {
            for name in ["value", "sigma", "low95", "high95"] {
                let Cell::Real(got) = shown.cell(at(name), i) else { panic!("{name}") };
                assert!((got - want).abs() < 1e-12 * want, "{name}: {got} {want}");
            }
        }
        let names: Vec<Cell> = (0..3).map(|i| shown.cell(at("quantity"), i)).collect();
        assert_eq!(names, ["height_usft", "lean_deg", "volume_usft3"].map(Cell::Text));
    }

    #[test]
    fn what_the_crew_wrote_stays_as_it_is() {
        let mut layer = layers::features::layer("z", Vec::new());
        layer.fields.truncate(1);
        let mut names = layers::Names::from_fields(&layer.fields);
        layer.fields.push(names.field("girth_m", crate::output::columns::FieldKind::Real));
        assert_eq!(feet().layer(&layer).fields[1].name, "girth_m");
    }
}
