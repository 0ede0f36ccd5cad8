//! What a file really is, by its first bytes, where it is no log: for a refusal that says so.
//!
//! The signatures are those of the formats' own specifications (PNG, JPEG, GIF, TIFF, PDF, ZIP, Compound File Binary,
//! SQLite, gzip, RTF, ELF, Portable Executable, ISO base media, RIFF, Parquet).

use std::path::Path;

/// A kind of file, told by its first bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Signature {
    /// A ZIP archive: a workbook, a KMZ, or something else packed.
    Zip,
    /// A compound file of the older office programs: a workbook or a text document.
    Compound,
    /// None of the kinds that are known by their first bytes.
    Other,
    /// Known, and no log: what it is, in words.
    NoLog(&'static str),
}

/// Why a file whose bytes are read as text is no log.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoLog {
    /// A file of a kind that is known by its first bytes or its first element.
    #[error("this is {0}, not a log; name the file that the readings are in: {logs}", logs = KINDS_OF_LOGS)]
    Kind(&'static str),
    /// Markup with an element of another kind.
    #[error(
        "this is an XML document of another kind (<{0}>), not a log; name the file that the readings are in: {logs}",
        logs = KINDS_OF_LOGS
    )]
    Markup(String),
    /// A file that holds bytes that no text has, by its name.
    #[error(
        "this is no text: it holds bytes that no text has, not a log; name the file {0} that the readings are in: {logs}",
        logs = KINDS_OF_LOGS
    )]
    Binary(String),
    /// A document of an older office program.
    #[error(
        "this is a document of an older office program; a workbook (.xls) is read as a log of bases or shots, any \
         other is to be saved as a workbook or as delimited text"
    )]
    Compound,
    /// A text document of an office program.
    #[error("this is a text document, not a log; copy its table into a workbook or delimited text")]
    TextDocument,
    /// A presentation of an office program.
    #[error("this is a presentation, not a log; name the file that the readings are in")]
    Presentation,
    /// A workbook where none is read.
    #[error(
        "this is a workbook, which is read as a log of bases or shots alone; for anything else save the sheet as delimited text"
    )]
    Workbook,
    /// An archive.
    #[error("this is a ZIP archive, not a log; unpack it and name the files in it")]
    Archive,
}

/// What a log may be.
const KINDS_OF_LOGS: &str = "delimited text, a workbook (.xlsx, .xls, .ods), GPX, KML, NMEA sentences, or a layer of points";

/// The kind of a file by its first bytes.
pub fn recognise(bytes: &[u8]) -> Signature {
    let brand = bytes.get(4..12).unwrap_or_default();
    let known: [(&[u8], &str); 17] = [
        (b"\x89PNG\r\n\x1a\n", "a picture (PNG)"),
        (b"\xff\xd8\xff", "a picture (JPEG)"),
        (b"GIF87a", "a picture (GIF)"),
        (b"GIF89a", "a picture (GIF)"),
        (b"II*\0", "a picture or raster (TIFF)"),
        (b"MM\0*", "a picture or raster (TIFF)"),
        (b"%PDF-", "a PDF document"),
        (b"{\\rtf", "a text document (RTF)"),
        (b"\x1f\x8b", "a gzip archive"),
        (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
        (b"Rar!\x1a\x07", "a RAR archive"),
        (b"SQLite format 3\0", "a database (SQLite)"),
        (b"PAR1", "a Parquet table"),
        (b"\x7fELF", "a program"),
        (b"ID3", "a sound recording"),
        (b"OggS", "a sound recording"),
        (b"fLaC", "a sound recording"),
    ];
    match bytes {
        _ if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06") => Signature::Zip,
        _ if bytes.starts_with(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1") => Signature::Compound,
        _ if brand.starts_with(b"ftyphei") || brand.starts_with(b"ftypmif1") => Signature::NoLog("a picture (HEIF)"),
        _ if brand.starts_with(b"ftyp") => Signature::NoLog("a film or sound recording"),
        _ if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") => Signature::NoLog("a picture (WebP)"),
        _ if bytes.starts_with(b"RIFF") => Signature::NoLog("a film or sound recording"),
        _ if bytes.starts_with(b"MZ") && bytes.contains(&0) => Signature::NoLog("a program"),
        _ => known
            .into_iter()
            .find(|(sign, _)| bytes.starts_with(sign))
            .map_or(Signature::Other, |(_, what)| Signature::NoLog(what)),
    }
}

/// Why a file whose bytes are read as text is none; none where it may be one.
pub fn refusal(path: &Path, bytes: &[u8]) -> Option<NoLog> {
    match recognise(bytes) {
        Signature::NoLog(what) => Some(NoLog::Kind(what)),
        Signature::Zip => Some(packed(bytes)),
        Signature::Compound => Some(NoLog::Compound),
        Signature::Other if is_binary(bytes) => Some(NoLog::Binary(
            path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned()),
        )),
        Signature::Other => markup(bytes),
    }
}

/// What a ZIP archive is that was taken for text.
fn packed(bytes: &[u8]) -> NoLog {
    let holds = |name: &str| bytes.windows(name.len()).any(|window| window == name.as_bytes());
    if holds("word/document.xml") || holds("application/vnd.oasis.opendocument.text") {
        NoLog::TextDocument
    } else if holds("ppt/presentation.xml") || holds("application/vnd.oasis.opendocument.presentation") {
        NoLog::Presentation
    } else if holds("xl/workbook") || holds("application/vnd.oasis.opendocument.spreadsheet") {
        NoLog::Workbook
    } else {
        NoLog::Archive
    }
}

/// Whether bytes are no text in any encoding: NUL bytes that are not every other one, as in UTF-16.
fn is_binary(bytes: &[u8]) -> bool {
    let head = &bytes[..bytes.len().min(4096)];
    let nuls = |offset: usize| head.iter().skip(offset).step_by(2).filter(|byte| **byte == 0).count();
    let (even, odd) = (nuls(0), nuls(1));
    let (least, most) = (even.min(odd), even.max(odd));
    most > 0 && (least * 4 > most || most * 10 < head.len()) && !head.starts_with(b"\xff\xfe") && !head.starts_with(b"\xfe\xff")
}

/// Documents in markup that are no log, by their first element.
fn markup(bytes: &[u8]) -> Option<NoLog> {
    let head =
        String::from_utf8_lossy(&bytes[..bytes.len().min(2048)]).trim_start_matches('\u{feff}').trim_start().to_lowercase();
    if head.starts_with("<!doctype html") || head.starts_with("<html") {
        return Some(NoLog::Kind("a web page (HTML)"));
    }
    if !head.starts_with("<?xml") && !head.starts_with("<svg") {
        return None;
    }
    let mut rest = head.as_str();
    loop {
        let open = rest.find('<')?;
        rest = &rest[open + 1..];
        if rest.starts_with(['?', '!']) {
            continue;
        }
        let name: String = rest.chars().take_while(|c| !c.is_whitespace() && !matches!(c, '>' | '/')).collect();
        return match name.as_str() {
            "gpx" | "kml" => None,
            "svg" => Some(NoLog::Kind("a drawing (SVG)")),
            "html" => Some(NoLog::Kind("a web page (HTML)")),
            _ => Some(NoLog::Markup(name)),
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(bytes: &[u8]) -> String {
        refusal(Path::new("a.csv"), bytes).map(|why| why.to_string()).unwrap_or_default()
    }

    #[test]
    fn real_kinds_are_named() {
        // First bytes as the specifications have them: PNG 3.1, T.81 B.1.1.3, ISO 32000-1 7.5.2.
        assert!(said(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR").starts_with("this is a picture (PNG), not a log;"));
        assert!(said(b"\xff\xd8\xff\xe0\0\x10JFIF").starts_with("this is a picture (JPEG), not a log;"));
        assert!(said(b"%PDF-1.7\n").starts_with("this is a PDF document, not a log;"));
        assert!(said(b"\0\0\0\x18ftypheic").contains("a picture (HEIF)"));
        assert!(said(b"<?xml version=\"1.0\"?><svg/>").contains("a drawing (SVG)"));
        assert!(said(b"<!DOCTYPE html><html>").contains("a web page (HTML)"));
        assert!(said(b"PK\x03\x04....word/document.xml").starts_with("this is a text document"));
        assert!(said(b"base,\0\0\x01\x02\0lat").contains("no text"));
    }

    #[test]
    fn logs_are_let_through() {
        let utf16: Vec<u8> = "base;lat\nA;1\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
        for bytes in [b"base,lat\nA,1\n".as_slice(), b"", b"<?xml version=\"1.0\"?><gpx/>", b"<?xml?>\n<kml xmlns=\"x\">", &utf16]
        {
            assert_eq!(refusal(Path::new("a.csv"), bytes), None, "{bytes:?}");
        }
    }
}
