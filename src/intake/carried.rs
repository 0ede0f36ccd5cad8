//! The columns that nothing claims, of all files of a kind: joined by name, with a type that holds every value.

use std::collections::HashMap;

use super::extras::ExtraType;
use super::log_layout::LogLayout;

/// A carried column of all files of a kind.
pub struct Carried {
    /// The log's header.
    pub header: String,
    /// The type that holds all its values.
    pub kind: ExtraType,
    /// Its index among a file's extras, by file.
    pub index_by_file: Vec<Option<usize>>,
}

/// Joins the extras of all files by name; `types` gives each file's types in the order of its extras.
pub(super) fn join_carried(layouts: &[Option<&LogLayout>], types: &[Vec<ExtraType>]) -> Vec<Carried> {
    let mut found: Vec<Carried> = Vec::new();
    let (mut by_name, mut alike): (HashMap<&str, usize>, HashMap<String, Vec<usize>>) = Default::default();
    for (file, layout) in layouts.iter().enumerate() {
        let Some(layout) = layout else { continue };
        for (index, (_, header)) in layout.extras.iter().enumerate() {
            // The same name, else one that differs by capitals alone and that this file has not taken.
            let others = alike.entry(header.to_lowercase()).or_default();
            let like = others.iter().copied().find(|other| found[*other].index_by_file[file].is_none());
            let position = by_name.get(header.as_str()).copied().or(like).unwrap_or_else(|| {
                others.push(found.len());
                by_name.insert(header, found.len());
                let index_by_file = vec![None; layouts.len()];
                found.push(Carried { header: header.clone(), kind: ExtraType::Empty, index_by_file });
                found.len() - 1
            });
            found[position].kind = found[position].kind.max(types[file][index]);
            found[position].index_by_file[file] = Some(index);
        }
    }
    found
}
