//! A file's bytes as text: byte order marks, UTF-16 with and without one, UTF-8, older encodings of any script by their letters.

use std::io::{self, Read};
use std::path::{Path, PathBuf};

use chardetng::{EncodingDetector, Iso2022JpDetection, Utf8Detection};
use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE};
use sha2::{Digest, Sha256};

use super::IntakeError;
use super::error::TextError;
use super::kind;
use crate::disk;

/// Bytes that are looked at for an older encoding.
const LOOKED_AT: usize = 1 << 20;

/// A decoded file.
pub struct Text {
    /// Where it lies.
    pub path: PathBuf,
    /// The sheet that it is of, in a workbook; the path has its name behind that of the file.
    pub sheet: Option<String>,
    /// The text, without a byte order mark.
    pub text: String,
    /// WHATWG name of the encoding it was read in.
    pub encoding: &'static str,
    /// Size in bytes.
    pub bytes: u64,
    /// SHA-256 of the bytes, in hexadecimal.
    pub sha256: String,
}

/// Reads and decodes a file; the whole of it stays in memory.
///
/// # Errors
/// When it cannot be read, the label names no encoding, or the text is not in the encoding that the
/// label or the byte order mark names.
pub fn read(path: &Path, label: Option<&str>) -> Result<Text, IntakeError> {
    let (bytes, sha256) = read_hashed(path).map_err(|source| IntakeError::Read { path: path.to_owned(), source })?;
    decoded(path, bytes, sha256, label)
}

/// Bytes of a file that are hashed while the next are read.
const HASHED_AT_ONCE: usize = 1 << 22;

/// The bytes of a file, and their SHA-256 in hexadecimal.
fn read_hashed(path: &Path) -> io::Result<(Vec<u8>, String)> {
    let mut file = disk::open(path)?;
    let mut bytes = vec![0; file.metadata()?.len() as usize];
    let (mut hashed, mut read, mut hasher) = (0, 0, Sha256::new());
    loop {
        let (before, rest) = bytes.split_at_mut(read);
        let room = rest.len().min(HASHED_AT_ONCE);
        let (came, ()) = rayon::join(|| disk::fill(&mut file, &mut rest[..room]), || hasher.update(&before[hashed..]));
        hashed = read;
        match came? {
            0 => break,
            came => read += came,
        }
    }
    // A file that grows meanwhile is read to its end.
    bytes.truncate(read);
    file.read_to_end(&mut bytes)?;
    hasher.update(&bytes[hashed..]);
    Ok((bytes, hex(&hasher.finalize())))
}

/// Reads and decodes standard input, which may have this many bytes.
///
/// # Errors
/// As [`read`], and where it has more.
pub fn read_standard_input(label: Option<&str>, most_bytes: u64) -> Result<Text, IntakeError> {
    let path = Path::new("standard input");
    let read = disk::read_standard_input(most_bytes);
    let bytes = read.map_err(|source| IntakeError::Read { path: path.to_owned(), source })?;
    let sha256 = hex(&Sha256::digest(&bytes));
    decoded(path, bytes, sha256, label)
}

fn decoded(path: &Path, bytes: Vec<u8>, sha256: String, label: Option<&str>) -> Result<Text, IntakeError> {
    let size = bytes.len() as u64;
    let wrong = |problem: TextError| IntakeError::file(path, problem);
    if let Some(why) = kind::refusal(path, &bytes).filter(|_| label.is_none()) {
        return Err(wrong(why.into()));
    }
    let (encoding, text) = decode(bytes, label).map_err(wrong)?;
    let text = if !text.contains('\n') && text.contains('\r') { text.replace('\r', "\n") } else { text };
    Ok(Text { path: path.to_owned(), sheet: None, text, encoding: encoding.name(), bytes: size, sha256 })
}

/// Size in bytes and SHA-256 of a file that is not read as text.
///
/// # Errors
/// When it cannot be read.
pub fn fingerprint(path: &Path) -> Result<(u64, String), IntakeError> {
    let bytes = disk::read(path).map_err(|source| IntakeError::Read { path: path.to_owned(), source })?;
    Ok((bytes.len() as u64, hex(&Sha256::digest(&bytes))))
}

/// The encoding of bytes, and their text without a byte order mark.
fn decode(bytes: Vec<u8>, label: Option<&str>) -> Result<(&'static Encoding, String), TextError> {
    let (encoding, mark) = match (label, Encoding::for_bom(&bytes)) {
        (_, Some((encoding, mark))) => (encoding, mark),
        (Some(label), None) => {
            (Encoding::for_label(label.as_bytes()).ok_or_else(|| TextError::UnknownLabel(label.to_owned()))?, 0)
        }
        (None, None) => (guess(&bytes), 0),
    };
    if encoding == UTF_8 {
        return Ok((UTF_8, utf8(bytes, mark)?));
    }
    let body = &bytes[mark..];
    let whole = whole_letters(body, encoding);
    let (text, bad) = encoding.decode_without_bom_handling(whole);
    if bad {
        return Err(TextError::NotThroughout(encoding.name()));
    }
    let mut text = text.into_owned();
    if whole.len() < body.len() {
        text.push(char::REPLACEMENT_CHARACTER);
    }
    Ok((encoding, text))
}

/// UTF-8 behind a byte order mark of so many bytes.
fn utf8(mut bytes: Vec<u8>, mark: usize) -> Result<String, TextError> {
    bytes.drain(..mark);
    match String::from_utf8(bytes) {
        Ok(text) => Ok(text),
        // Cut inside a letter: it shows as a mark of replacement in a last line without an end.
        Err(error) if error.utf8_error().error_len().is_none() => Ok(String::from_utf8_lossy(error.as_bytes()).into_owned()),
        Err(error) => Err(TextError::NotUtf8(mark + error.utf8_error().valid_up_to())),
    }
}

/// UTF-16 without a letter that is cut at the very end; other encodings as they are.
fn whole_letters<'b>(body: &'b [u8], encoding: &'static Encoding) -> &'b [u8] {
    if encoding != UTF_16LE && encoding != UTF_16BE {
        return body;
    }
    let even = &body[..body.len() & !1];
    let high = match even {
        [.., _, high] if encoding == UTF_16LE => *high,
        [.., high, _] => *high,
        _ => return even,
    };
    // The first half of a pair.
    if (0xD8..0xDC).contains(&high) { &even[..even.len() - 2] } else { even }
}

/// UTF-16 by its NUL bytes, UTF-8 where it is valid, else an older encoding by its letters.
fn guess(bytes: &[u8]) -> &'static Encoding {
    let head = &bytes[..bytes.len().min(4096)];
    let nuls = |offset: usize| head.iter().skip(offset).step_by(2).filter(|b| **b == 0).count();
    let (even, odd) = (nuls(0), nuls(1));
    let quarter = head.len() / 4;
    if odd > quarter && odd > 4 * even {
        UTF_16LE
    } else if even > quarter && even > 4 * odd {
        UTF_16BE
    } else {
        match std::str::from_utf8(bytes) {
            Ok(_) => UTF_8,
            // Other letters before the one that is cut prove it; after plain ASCII it is one of an old page.
            Err(error) if error.error_len().is_none() && !bytes[..error.valid_up_to()].is_ascii() => UTF_8,
            Err(_) => guess_by_letters(bytes),
        }
    }
}

/// The encoding of a text of one byte a letter, or of an Asian one, by how often its letters stand beside each other.
fn guess_by_letters(bytes: &[u8]) -> &'static Encoding {
    let mut detector = EncodingDetector::new(Iso2022JpDetection::Deny);
    detector.feed(&bytes[..bytes.len().min(LOOKED_AT)], true);
    detector.guess(None, Utf8Detection::Deny)
}

pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text_of(bytes: &[u8], label: Option<&str>) -> Result<String, TextError> {
        decode(bytes.to_vec(), label).map(|(_, text)| text)
    }

    #[test]
    fn every_encoding_of_one_line() {
        let line = "base,café\nA,1\n";
        let le: Vec<u8> = line.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let be: Vec<u8> = line.encode_utf16().flat_map(u16::to_be_bytes).collect();
        let with = |mark: &[u8], body: &[u8]| [mark, body].concat();
        for bytes in [
            line.as_bytes().to_vec(),
            with(b"\xef\xbb\xbf", line.as_bytes()),
            le.clone(),
            be.clone(),
            with(b"\xff\xfe", &le),
            with(b"\xfe\xff", &be),
            b"base,caf\xe9\nA,1\n".to_vec(),
        ] {
            assert_eq!(text_of(&bytes, None).unwrap(), line, "{bytes:?}");
        }
    }

    /// A line of a log in an encoding, without a label.
    fn read_again(line: &str, label: &str) -> String {
        let encoding = Encoding::for_label(label.as_bytes()).unwrap();
        let (bytes, _, unmappable) = encoding.encode(line);
        assert!(!unmappable, "{label}");
        text_of(&bytes, None).unwrap()
    }

    #[test]
    fn scripts_other_than_latin_and_their_older_encodings() {
        let logs = [
            ("База;Азимут;Наклон;Расстояние\nСтанция 1;101,5;-2,5;330,1\n", "windows-1251"),
            ("База;Азимут;Наклон;Расстояние\nСтанция 1;101,5;-2,5;330,1\n", "koi8-r"),
            ("Στάση;Αζιμούθιο;Κλίση;Απόσταση\nΒάση 1;101,5;-2,5;330,1\n", "windows-1253"),
            ("基準点,方位角,傾斜角,斜距離,備考\nA,101.5,-2.5,330.1,崖の上の巣\n", "shift_jis"),
            ("基準点,方位角,傾斜角,斜距離,備考\nA,101.5,-2.5,330.1,崖の上の巣\n", "euc-jp"),
            ("测站,方位角,倾角,斜距,备注\nA,101.5,-2.5,330.1,悬崖上的鸟巢\n", "gbk"),
            ("기준점,방위각,경사각,사거리,비고\nA,101.5,-2.5,330.1,절벽 위의 둥지\n", "euc-kr"),
            ("תחנה,אזימוט,נטייה,מרחק\nא,101.5,-2.5,330.1\n", "windows-1255"),
            ("Baza;Azymut;Nachylenie;Odległość skośna;Uwagi\nA;101,5;-2,5;330,1;gniazdo na skale, widać młode\n", "windows-1250"),
        ];
        for (line, label) in logs {
            assert_eq!(read_again(line, label), line, "{label}");
        }
    }

    #[test]
    fn western_letters_stay_what_they_are() {
        let logs = [
            "nr;plot;art;dbh mm;avst;bäring;anm\n2;B7;björk;395;5,5;225;\n9;B7;tall;165;7,8;349;död\n",
            "Datum;Zeit;Stand;Nr;Objekt;Art;Teil;D schräg;Az mag;Neig;Bem\n",
            "base,azimuth,note\nA,10.5,ledge café 5° “under” the crew’s rope\n",
            "Station;Gisement;Inclinaison;Remarque\nA;101,5;-2,5;près de l’église, côté forêt\n",
            "Estación;Acimut;Inclinación;Observación\nA;101,5;-2,5;señal dañada\n",
        ];
        for line in logs {
            assert_eq!(read_again(line, "windows-1252"), line);
        }
    }

    #[test]
    fn a_wrong_label_is_refused() {
        assert!(text_of(b"a", Some("utf-99")).unwrap_err().to_string().contains("names no encoding"));
        assert!(text_of(b"caf\xe9\n", Some("utf-8")).unwrap_err().to_string().contains("not UTF-8 at byte 3"));
    }
}
