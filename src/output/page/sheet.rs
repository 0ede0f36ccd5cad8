//! A page of the same shell without a map of features: what the commands beside `map` found.

use super::shell::{PagePart, Shell};
use super::svg::escaped;
use super::table::clean;

/// A page.
pub struct Sheet {
    /// Its title.
    pub title: String,
    /// The sentences on top.
    pub lead: Vec<String>,
    /// The parts; a part without content is left out.
    pub parts: Vec<PagePart>,
    /// What must be read with it.
    pub caution: String,
}

impl Sheet {
    /// The file.
    pub fn html(self) -> String {
        let shell = Shell {
            title: clean(&self.title),
            days: String::new(),
            lead: self.lead.iter().map(|sentence| clean(sentence)).collect(),
            waiting: String::new(),
            caution: clean(&self.caution),
            parts: self.parts.into_iter().filter(|part| !part.html.is_empty()).collect(),
            // The tables need no data, and there is no interactive map.
            data: "null".to_owned(),
        };
        shell.html()
    }
}

/// Sentences as a list.
pub fn list<S: AsRef<str>>(sentences: impl IntoIterator<Item = S>) -> String {
    let items: String =
        sentences.into_iter().map(|sentence| format!("<li>{}</li>", escaped(&clean(sentence.as_ref())))).collect();
    if items.is_empty() { items } else { format!("<ul class=\"plain\">{items}</ul>") }
}
