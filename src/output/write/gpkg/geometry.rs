//! GeoPackage geometry blobs: the header of clause 2.1.3 and ISO WKB, little-endian.

use crate::job::catalogue::GeometryKind;
use crate::output::columns::Position;
use crate::output::write::antimeridian::{self, Globe};

/// Encodes a geometry into `blob`; returns its bounds (west, south, east, north) and whether it has
/// third coordinates. A geometry has them where all its positions do. On a globe lines and areas are of parts, since one may go over
/// ±180°.
pub fn encode(
    blob: &mut Vec<u8>,
    srs_id: i32,
    kind: GeometryKind,
    positions: &[Position],
    globe: Option<Globe>,
) -> ([f64; 4], bool) {
    let has_z = positions.iter().all(|position| !position.z.is_nan());
    let parts = antimeridian::parts(globe, kind, positions);
    let nothing = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
    let bounds = parts.iter().flatten().fold(nothing, |[w, s, e, n], p| [w.min(p.x), s.min(p.y), e.max(p.x), n.max(p.y)]);
    let is_point = kind == GeometryKind::Point;
    blob.clear();
    blob.extend_from_slice(b"GP\0");
    // Standard, not empty, little-endian; an xy envelope for all but points.
    blob.push(if is_point { 0b0000_0001 } else { 0b0000_0011 });
    blob.extend_from_slice(&srs_id.to_le_bytes());
    if !is_point {
        for edge in [bounds[0], bounds[2], bounds[1], bounds[3]] {
            blob.extend_from_slice(&edge.to_le_bytes());
        }
    }
    let code: u32 = match kind {
        GeometryKind::Line => 2,
        GeometryKind::Area => 3,
        GeometryKind::Point | GeometryKind::None => 1,
    };
    if globe.is_some() && !is_point {
        // MultiLineString is 5, MultiPolygon 6.
        head(blob, code + 3, has_z);
        blob.extend_from_slice(&(parts.len() as u32).to_le_bytes());
    }
    for part in parts.iter() {
        head(blob, code, has_z);
        if kind == GeometryKind::Area {
            blob.extend_from_slice(&1u32.to_le_bytes());
        }
        if !is_point {
            blob.extend_from_slice(&(part.len() as u32).to_le_bytes());
        }
        for position in part {
            blob.extend_from_slice(&position.x.to_le_bytes());
            blob.extend_from_slice(&position.y.to_le_bytes());
            if has_z {
                blob.extend_from_slice(&position.z.to_le_bytes());
            }
        }
    }
    (bounds, has_z)
}

/// Byte order and type of a geometry.
fn head(blob: &mut Vec<u8>, code: u32, has_z: bool) {
    blob.push(1);
    blob.extend_from_slice(&(code + if has_z { 1000 } else { 0 }).to_le_bytes());
}
