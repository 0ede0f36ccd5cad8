//! GeoPackage geometry blobs: the header of clause 2.1.3 and ISO WKB, little-endian.

use crate::job::catalogue::GeometryKind;
use crate::output::columns::Position;

/// Encodes a geometry into `blob`; returns its bounds (west, south, east, north) and whether it has
/// third coordinates. A geometry has them where all its positions do.
pub fn encode(blob: &mut Vec<u8>, srs_id: i32, kind: GeometryKind, positions: &[Position]) -> ([f64; 4], bool) {
    let has_z = positions.iter().all(|position| !position.z.is_nan());
    let bounds =
        positions.iter().fold([f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY], |[w, s, e, n], p| {
            [w.min(p.x), s.min(p.y), e.max(p.x), n.max(p.y)]
        });
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
    blob.push(1);
    blob.extend_from_slice(&(code + if has_z { 1000 } else { 0 }).to_le_bytes());
    if kind == GeometryKind::Area {
        blob.extend_from_slice(&1u32.to_le_bytes());
    }
    if !is_point {
        blob.extend_from_slice(&(positions.len() as u32).to_le_bytes());
    }
    for position in positions {
        blob.extend_from_slice(&position.x.to_le_bytes());
        blob.extend_from_slice(&position.y.to_le_bytes());
        if has_z {
            blob.extend_from_slice(&position.z.to_le_bytes());
        }
    }
    (bounds, has_z)
}
