//! How sure the points of a layer are, from its records as they leave: what is withheld from these is not counted.

use rayon::prelude::*;

use crate::output::columns::{Batch, Column, Layer};

/// Half-widths of intervals of 95 %, in metres.
#[derive(Debug, Clone, Default)]
struct HalfWidths {
    values: Vec<f32>,
}

impl HalfWidths {
    fn see(&mut self, column: &Column) {
        if let Column::Real(values) = column {
            self.values.extend(values.iter().filter(|value| value.is_finite()).map(|value| *value as f32));
        }
    }

    /// The middle one and the greatest; none where none is known.
    fn middle_and_greatest(mut values: Vec<f32>) -> Option<[f64; 2]> {
        let greatest = values.iter().copied().reduce(f32::max)?;
        let middle = values.len() / 2;
        let (_, median, _) = values.select_nth_unstable_by(middle, f32::total_cmp);
        Some([f64::from(*median), f64::from(greatest)])
    }
}

/// How sure the points of a layer are.
#[derive(Debug, Clone, Default)]
pub struct Sure {
    fields: [Option<usize>; 2],
    /// Radii that hold a point with 95 % probability.
    radius: HalfWidths,
    /// Halves of the 95 % intervals of heights.
    height: HalfWidths,
}

impl Sure {
    /// Of a layer whose records are to come.
    pub fn new(layer: &Layer) -> Sure {
        let at = |name: &str| layer.fields.iter().position(|field| field.name == name);
        let is_drawn = layer.key != crate::job::LayerName::Ellipses.into();
        Sure { fields: [at("radius95_m"), at("height95_m")].map(|at| at.filter(|_| is_drawn)), ..Sure::default() }
    }

    /// Looks at records.
    pub fn see(&mut self, batch: &Batch) {
        for (field, half) in self.fields.iter().zip([&mut self.radius, &mut self.height]) {
            if let Some(field) = field {
                half.see(&batch.columns[*field]);
            }
        }
    }

    /// Of each layer and of all together, when all records were seen.
    pub fn told_of(layers: &[Sure]) -> (Vec<HowSure>, HowSure) {
        let each: Vec<HowSure> = layers.par_iter().map(|layer| Sure::told(std::slice::from_ref(layer))).collect();
        let is_known = |sure: &HowSure| sure.radius_m.is_some() || sure.height_m.is_some();
        let mut known = each.iter().filter(|sure| is_known(sure));
        let all = match (known.next(), known.next()) {
            (Some(_), Some(_)) => Sure::told(layers),
            (only, _) => only.copied().unwrap_or_default(),
        };
        (each, all)
    }

    /// Of several layers together.
    fn told(layers: &[Sure]) -> HowSure {
        let all = |of: fn(&Sure) -> &HalfWidths| {
            let mut values = Vec::with_capacity(layers.iter().map(|sure| of(sure).values.len()).sum());
            layers.iter().for_each(|sure| values.extend_from_slice(&of(sure).values));
            HalfWidths::middle_and_greatest(values)
        };
        let (radius_m, height_m) = rayon::join(|| all(|sure| &sure.radius), || all(|sure| &sure.height));
        HowSure { radius_m, height_m }
    }
}

/// How sure points are: the half-widths of their intervals of 95 % in metres, the middle one and the greatest; none where none is known.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct HowSure {
    /// Radii that hold a point with 95 % probability.
    pub radius_m: Option<[f64; 2]>,
    /// Halves of the 95 % intervals of heights.
    pub height_m: Option<[f64; 2]>,
}

impl HowSure {
    /// In a sentence; none where nothing is known.
    pub fn sentence(&self) -> Option<String> {
        let [middle, greatest] = self.radius_m?;
        let heights = self.height_m.map_or_else(String::new, |[middle, greatest]| {
            format!("; half of the 95 % interval of the height is {middle:.2} m in the middle and {greatest:.2} m at most")
        });
        Some(format!(
            "Stated uncertainty: the circle that holds a point with 95 % probability has a radius of {middle:.2} m in the middle of all \
             and {greatest:.2} m at most{heights}."
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_and_the_greatest_of_known_values() {
        let mut half = HalfWidths::default();
        half.see(&Column::Real(vec![3.0, f64::NAN, 1.0, 2.0, 9.0, 4.0]));
        assert_eq!(HalfWidths::middle_and_greatest(half.values), Some([3.0, 9.0]));
        assert_eq!(HalfWidths::middle_and_greatest(Vec::new()), None);
    }

    #[test]
    fn several_layers_are_one_lot_and_a_sentence_needs_a_radius() {
        let of = |values: &[f64]| {
            let mut sure = Sure::default();
            sure.radius.see(&Column::Real(values.to_vec()));
            sure
        };
        let all = Sure::told(&[of(&[1.0]), of(&[2.0, 5.0])]);
        assert_eq!(all, HowSure { radius_m: Some([2.0, 5.0]), height_m: None });
        assert!(all.sentence().unwrap().contains("2.00 m in the middle of all and 5.00 m at most."));
        assert_eq!(Sure::told(&[Sure::default()]).sentence(), None);
    }

    #[test]
    fn each_layer_and_all_of_them_whoever_knows_something() {
        let (radius, height, none) = (&[3.0, 1.0, 8.0][..], &[0.5, 0.25, 0.75][..], &[][..]);
        let of = |radius: &[f64], height: &[f64]| {
            let mut sure = Sure::default();
            sure.radius.see(&Column::Real(radius.to_vec()));
            sure.height.see(&Column::Real(height.to_vec()));
            sure
        };
        for layers in [
            vec![],
            vec![of(none, none), of(radius, height), of(none, none)],
            vec![of(radius, none), of(none, height)],
            vec![of(radius, height), of(&[9.0], &[2.0])],
        ] {
            let (each, all) = Sure::told_of(&layers);
            assert_eq!(all, Sure::told(&layers));
            let alone = layers.iter().map(|layer| Sure::told(std::slice::from_ref(layer)));
            assert!(each.into_iter().eq(alone));
        }
    }
}
