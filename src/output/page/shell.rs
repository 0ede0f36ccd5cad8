//! The file around the parts of a page: the head with its policy, the style, the script and its data.

use askama::Template;
use sha2::{Digest, Sha256};

use super::table::rendered;

/// The script, as `report/` bundles it.
const SCRIPT: &str = include_str!("../../../report/dist/page.js");
/// The style.
const STYLE: &str = include_str!("../../../report/src/page.css");

/// A part of a page.
pub struct PagePart {
    /// Its place in the page.
    pub id: &'static str,
    /// Its title.
    pub title: &'static str,
    /// Its HTML.
    pub html: String,
}

/// What stands in the shell.
pub struct Shell {
    /// The crew's words.
    pub title: String,
    /// From when to when.
    pub days: String,
    /// The sentences on top.
    pub lead: Vec<String>,
    /// What waits for a decision; empty for nothing.
    pub waiting: String,
    /// What must be read with all of it.
    pub caution: String,
    /// The parts.
    pub parts: Vec<PagePart>,
    /// The script's data.
    pub data: String,
}

#[derive(Template)]
#[template(path = "page.html")]
struct File<'s> {
    script_hash: String,
    style_hash: String,
    title: &'s str,
    days: &'s str,
    lead: &'s [String],
    waiting: &'s str,
    caution: &'s str,
    parts: &'s [PagePart],
    footer: String,
    data: &'s str,
    style: &'s str,
    script: &'s str,
}

impl Shell {
    /// The file.
    pub fn html(&self) -> String {
        let file = File {
            script_hash: base64(&Sha256::digest(SCRIPT)),
            style_hash: base64(&Sha256::digest(STYLE)),
            title: &self.title,
            days: &self.days,
            lead: &self.lead,
            waiting: &self.waiting,
            caution: &self.caution,
            parts: &self.parts,
            footer: format!(
                "Made by standoff {}. This file holds all that it shows and asks for nothing from anywhere.",
                env!("CARGO_PKG_VERSION")
            ),
            data: &self.data,
            style: STYLE,
            script: SCRIPT,
        };
        rendered(&file)
    }
}

/// Base 64 (RFC 4648, section 4), as a content security policy has its hashes.
pub fn base64(bytes: &[u8]) -> String {
    const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let bits = three.iter().enumerate().fold(0u32, |bits, (i, byte)| bits | u32::from(*byte) << (16 - 8 * i));
        for i in 0..4 {
            let sign = SIGNS[(bits >> (18 - 6 * i) & 63) as usize];
            text.push(if i <= three.len() { char::from(sign) } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, section 10.
    #[test]
    fn base64_as_published() {
        let cases = [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ];
        for (plain, coded) in cases {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn nothing_ends_the_elements_of_script_and_style() {
        assert!(!SCRIPT.to_lowercase().contains("</script") && !SCRIPT.contains("<!--"));
        assert!(!STYLE.contains('<'));
        // The parser of HTML makes line feeds of these, and a hash would no longer fit.
        assert!(!SCRIPT.contains('\r') && !STYLE.contains('\r'));
    }
}
