//! One line of an NMEA 0183 log: its frame, its checksum, and its fields one by one.
//!
//! A sentence is `$` (or `!` where it encapsulates other data), an address, fields with commas between, `*`, and two
//! hexadecimal digits: the exclusive or of every character between the start sign and the asterisk (NMEA 0183, section 5.3).

use crate::records::ledger::{Fault, Reason};

/// The kinds of sentence that are read. A talker of two letters stands before the kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum SentenceKind {
    Gga,
    Gns,
    Rmc,
    Zda,
    Gst,
    Gsa,
    Vtg,
}

const KINDS: [SentenceKind; 7] = [
    SentenceKind::Gga,
    SentenceKind::Gns,
    SentenceKind::Rmc,
    SentenceKind::Zda,
    SentenceKind::Gst,
    SentenceKind::Gsa,
    SentenceKind::Vtg,
];

impl SentenceKind {
    pub(super) fn word(self) -> &'static str {
        match self {
            SentenceKind::Gga => "GGA",
            SentenceKind::Gns => "GNS",
            SentenceKind::Rmc => "RMC",
            SentenceKind::Zda => "ZDA",
            SentenceKind::Gst => "GST",
            SentenceKind::Gsa => "GSA",
            SentenceKind::Vtg => "VTG",
        }
    }

    /// Fewest and most fields. The fewest reach to the last field that is used; a GSA sentence has exactly twelve places
    /// for satellites, and then perhaps its system; the oldest VTG sentences have four fields.
    fn fields(self) -> (usize, usize) {
        match self {
            SentenceKind::Gga => (12, 14),
            SentenceKind::Gns => (10, 13),
            SentenceKind::Rmc => (9, 13),
            SentenceKind::Zda => (4, 6),
            SentenceKind::Gst => (8, 8),
            SentenceKind::Gsa => (17, 18),
            SentenceKind::Vtg => (4, 9),
        }
    }
}

/// A sentence of a kind that is read, with a right checksum and a fitting number of fields.
#[derive(Debug)]
pub(super) struct Sentence<'a> {
    pub(super) kind: SentenceKind,
    fields: Vec<&'a str>,
}

/// Cuts a line; `None` is a sound sentence of another kind.
pub(super) fn cut(line: &str) -> Result<Option<Sentence<'_>>, Fault> {
    let line = line.trim();
    let body = body(line)?;
    let (address, fields) = body.split_once(',').unwrap_or((body, ""));
    if address.is_empty() || !address.bytes().all(|byte| byte.is_ascii_alphanumeric()) {
        let say = "a sentence begins with its talker and kind in letters and digits";
        return Err(Fault::new(Reason::Sentence, "address", address, say));
    }
    // Addresses with P are the makers' own, with layouts of their own.
    if line.starts_with('!') || address.starts_with('P') {
        return Ok(None);
    }
    let Some(kind) = KINDS.into_iter().find(|kind| address.to_ascii_uppercase().ends_with(kind.word())) else {
        return Ok(None);
    };
    if address.len() != 5 || address[2..] != *kind.word() {
        let say = format!("a talker of two letters stands before {}, in capitals", kind.word());
        return Err(Fault::new(Reason::Sentence, "address", address, say));
    }
    let mut fields: Vec<&str> = fields.split(',').map(str::trim).collect();
    let (fewest, most) = kind.fields();
    while fields.len() > most && fields.last().is_some_and(|last| last.is_empty()) {
        fields.pop();
    }
    if fields.len() < fewest || fields.len() > most {
        let say = format!("{} has {} fields, where {fewest} to {most} belong", kind.word(), fields.len());
        return Err(Fault::new(Reason::Sentence, "number of fields", &fields.len().to_string(), say));
    }
    Ok(Some(Sentence { kind, fields }))
}

/// What stands between the start sign and the asterisk, once the checksum is verified.
fn body(line: &str) -> Result<&str, Fault> {
    let framed = |say: &str, value: &str| Err(Fault::new(Reason::Sentence, "start sign", value, say));
    let Some(rest) = line.strip_prefix(['$', '!']) else {
        return match line.split_once('$') {
            Some((noise, _)) => framed("other characters stand before the $ that begins a sentence", noise),
            None => framed("no $ begins the line, so that it is no sentence", start(line)),
        };
    };
    if let Some((_, second)) = rest.split_once('$') {
        return framed("a second sentence begins inside the line; break the line before its $", start(second));
    }
    let checksum = |value: &str, say: String| Err(Fault::new(Reason::Checksum, "checksum", value, say));
    let Some((body, stated)) = rest.split_once('*') else {
        return checksum("", "no checksum: nothing shows that the sentence is whole and undamaged".to_owned());
    };
    let digits = |text: &str| text.len() == 2 && text.bytes().all(|byte| byte.is_ascii_hexdigit());
    if !digits(stated) {
        return match stated.get(..2) {
            Some(two) if digits(two) => {
                Err(Fault::new(Reason::Sentence, "checksum", start(stated), "other characters follow the checksum"))
            }
            _ => checksum(start(stated), format!("the checksum \"{}\" is not two hexadecimal digits", start(stated))),
        };
    }
    let computed = body.bytes().fold(0, |sum, byte| sum ^ byte);
    if u8::from_str_radix(stated, 16) != Ok(computed) {
        return checksum(stated, format!("the checksum is {stated}, and that of what arrived is {computed:02X}"));
    }
    Ok(body)
}

/// The first characters of a text, for messages.
fn start(text: &str) -> &str {
    const SHOWN: usize = 20;
    text.char_indices().nth(SHOWN).map_or(text, |(end, _)| &text[..end])
}

impl Sentence<'_> {
    /// The text of a field, counted from 0 after the address; empty where the sentence is shorter.
    pub(super) fn text(&self, field: usize) -> &str {
        self.fields.get(field).copied().unwrap_or("")
    }

    /// Whether every field is empty: a receiver that has nothing to say yet.
    pub(super) fn is_empty(&self) -> bool {
        self.fields.iter().all(|field| field.is_empty())
    }

    /// A fault of a field.
    pub(super) fn fault(&self, field: usize, name: &str, say: &str) -> Fault {
        let value = self.text(field);
        let sentence = match value {
            "" => format!("{}: {name} is empty; {say}", self.kind.word()),
            _ => format!("{}: {name} \"{value}\" {say}", self.kind.word()),
        };
        Fault::new(Reason::Sentence, name, value, sentence)
    }

    /// A number in plain decimal digits; `None` where the field is empty.
    pub(super) fn number(&self, field: usize, name: &str) -> Result<Option<f64>, Fault> {
        match self.text(field) {
            "" => Ok(None),
            text => decimal(text).map(Some).ok_or_else(|| self.fault(field, name, "is not a number")),
        }
    }

    /// A number that is not below zero.
    pub(super) fn amount(&self, field: usize, name: &str) -> Result<Option<f64>, Fault> {
        match self.number(field, name)? {
            Some(number) if number < 0.0 => Err(self.fault(field, name, "is below zero")),
            number => Ok(number),
        }
    }

    /// A count.
    pub(super) fn count(&self, field: usize, name: &str) -> Result<Option<u32>, Fault> {
        match self.text(field) {
            "" => Ok(None),
            text if digits(text) => text.parse().map(Some).map_err(|_| self.fault(field, name, "is too large for a count")),
            _ => Err(self.fault(field, name, "is not a count")),
        }
    }
}

/// Whether a text is of decimal digits alone, and not empty.
pub(super) fn digits(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit())
}

/// A number with perhaps a sign and a decimal point: no exponent, no infinity.
fn decimal(text: &str) -> Option<f64> {
    let unsigned = text.strip_prefix(['-', '+']).unwrap_or(text);
    let (whole, part) = unsigned.split_once('.').unwrap_or((unsigned, ""));
    let plain = |part: &str| part.is_empty() || digits(part);
    let any = !whole.is_empty() || !part.is_empty();
    if !any || !plain(whole) || !plain(part) {
        return None;
    }
    text.parse().ok().filter(|number: &f64| number.is_finite())
}
