//! A record of an SQLite table as bytes: its header of types and its body, by the record format of SQLite's published file format
//! (fileformat2.html, section 2.1), and the varints that it counts in (section 1.6).

/// A record on its way: header and body, reused from one to the next.
#[derive(Clone, Default)]
pub struct PackedRecord {
    types: Vec<u8>,
    body: Vec<u8>,
}

impl PackedRecord {
    /// Empties it.
    pub fn clear(&mut self) {
        self.types.clear();
        self.body.clear();
    }

    /// Adds a null; it also stands for the row id in its own column.
    #[inline]
    pub fn push_null(&mut self) {
        self.types.push(0);
    }

    /// Adds a real number.
    #[inline]
    pub fn push_real(&mut self, value: f64) {
        self.types.push(7);
        self.body.extend_from_slice(&value.to_be_bytes());
    }

    /// Adds a whole number.
    #[inline]
    pub fn push_integer(&mut self, value: i64) {
        let (code, bytes) = integer_type(value);
        self.types.push(code);
        self.body.extend_from_slice(&value.to_be_bytes()[8 - bytes..]);
    }

    /// Adds a text.
    #[inline]
    pub fn push_text(&mut self, text: &str) {
        push_varint(&mut self.types, 13 + 2 * text.len() as u64);
        self.body.extend_from_slice(text.as_bytes());
    }

    /// Adds bytes.
    #[inline]
    pub fn push_blob(&mut self, bytes: &[u8]) {
        push_varint(&mut self.types, 12 + 2 * bytes.len() as u64);
        self.body.extend_from_slice(bytes);
    }

    /// The size of the header: itself and the types.
    fn header_size(&self) -> u64 {
        let types = self.types.len() as u64;
        // The size counts the bytes of its own varint.
        (1..).map(|own| types + own).find(|size| varint_length(*size) as u64 == size - types).unwrap_or(types + 1)
    }

    /// Bytes of the payload.
    pub fn size(&self) -> usize {
        self.header_size() as usize + self.body.len()
    }

    /// Adds header and body behind what stands there.
    pub fn payload(&self, into: &mut Vec<u8>) {
        push_varint(into, self.header_size());
        into.extend_from_slice(&self.types);
        into.extend_from_slice(&self.body);
    }
}

/// The serial type of an integer, and the bytes that it takes.
pub fn integer_type(value: i64) -> (u8, usize) {
    match value {
        0 => (8, 0),
        1 => (9, 0),
        -0x80..=0x7F => (1, 1),
        -0x8000..=0x7FFF => (2, 2),
        -0x80_0000..=0x7F_FFFF => (3, 3),
        -0x8000_0000..=0x7FFF_FFFF => (4, 4),
        -0x8000_0000_0000..=0x7FFF_FFFF_FFFF => (5, 6),
        _ => (6, 8),
    }
}

/// Bytes of a varint.
pub fn varint_length(value: u64) -> usize {
    let bits = 64 - (value | 1).leading_zeros() as usize;
    bits.div_ceil(7).min(9)
}

/// SQLite's varint: seven bits a byte, high bits first; the ninth byte has eight.
#[inline]
pub fn push_varint(into: &mut Vec<u8>, value: u64) {
    if value <= 0x7F {
        into.push(value as u8);
        return;
    }
    let mut bytes = [0; 9];
    let length = varint_length(value);
    let mut rest = value;
    if length == 9 {
        bytes[8] = rest as u8;
        rest >>= 8;
    } else {
        bytes[length - 1] = rest as u8 & 0x7F;
        rest >>= 7;
    }
    for byte in bytes[..length - 1].iter_mut().rev() {
        *byte = rest as u8 | 0x80;
        rest >>= 7;
    }
    into.extend_from_slice(&bytes[..length]);
}
