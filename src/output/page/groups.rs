//! Features by layer and code: what the legend lists, each with a look of its own.

use std::collections::BTreeMap;

use super::collect::Collected;
use crate::job::LayerName;
use crate::output::style::Look;

/// Codes of the layer of features that have a look of their own; the others share one.
const MOST_CODES: usize = 12;

/// An entry of the legend.
pub struct LegendGroup {
    /// What it is of, for people.
    pub title: String,
    /// How it is drawn.
    pub look: Look,
    /// Features of it among those that are kept.
    pub kept: u64,
}

/// The groups, and the group of each feature that is kept.
pub struct Groups {
    /// In the order of the legend.
    pub groups: Vec<LegendGroup>,
    /// By feature.
    pub of: Vec<usize>,
}

impl Groups {
    /// The groups of what was collected.
    pub fn from_collected(collected: &Collected) -> Groups {
        let kept = &collected.features.kept;
        let mut by_key: BTreeMap<(usize, &str), u64> = BTreeMap::new();
        let is_own = |layer: usize| collected.layers[layer].key == LayerName::Features.into();
        for feature in kept {
            let code = if is_own(feature.layer) { &*feature.code } else { "" };
            *by_key.entry((feature.layer, code)).or_default() += 1;
        }
        // The commonest codes have looks of their own.
        let mut codes: Vec<(&str, u64)> = by_key
            .iter()
            .filter(|((layer, code), _)| is_own(*layer) && !code.is_empty())
            .map(|((_, code), n)| (*code, *n))
            .collect();
        codes.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
        codes.truncate(MOST_CODES);
        let alone = by_key.keys().filter(|(layer, _)| is_own(*layer)).count() <= 1;
        let others =
            collected.layers.len() - collected.layers.iter().filter(|layer| layer.key == LayerName::Features.into()).count();
        let mut groups: Vec<LegendGroup> = Vec::new();
        let mut index_of: BTreeMap<(usize, &str), usize> = BTreeMap::new();
        let mut rest: Option<usize> = None;
        let titled = |layer: usize, code: &str| match (is_own(layer), code) {
            (true, "") => "features without a code".to_owned(),
            (true, code) => code.to_owned(),
            (false, _) => collected.layers[layer].title.clone(),
        };
        for ((layer, code), count) in &by_key {
            let place = codes.iter().position(|(known, _)| known == code);
            let look = match place {
                Some(place) if is_own(*layer) && !alone => Look::other(others + place),
                _ => collected.layers[*layer].look,
            };
            if is_own(*layer) && !code.is_empty() && place.is_none() {
                let at = *rest.get_or_insert_with(|| {
                    groups.push(LegendGroup { title: "other codes".to_owned(), look, kept: 0 });
                    groups.len() - 1
                });
                groups[at].kept += count;
                index_of.insert((*layer, code), at);
                continue;
            }
            index_of.insert((*layer, code), groups.len());
            groups.push(LegendGroup { title: titled(*layer, code), look, kept: *count });
        }
        let of = kept
            .iter()
            .map(|feature| {
                let code = if is_own(feature.layer) { &*feature.code } else { "" };
                index_of.get(&(feature.layer, code)).copied().unwrap_or_default()
            })
            .collect();
        Groups { groups, of }
    }
}
