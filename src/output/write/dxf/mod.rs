//! DXF, release 12, as text: one drawing with the geometry of all layers, each on a drawing layer of its name. A point is a block with
//! attributes: its name, which is shown, its code and its heights; the other formats have all fields.
//!
//! Group codes are those of the published DXF reference: 0 entity, 1 text, 2 name or tag, 3 prompt, 8 layer, 10 20 30 coordinates, 11 21 31
//! alignment point, 40 text height, 66 what follows, 70 flags, 74 vertical alignment. GDAL's writer is not used because it wants template files
//! at run time, which a single program file does not have.
//!
//! An aligned text stands at its alignment point, from which CAD computes its first point. A GIS takes each text for a point and puts it at
//! its first point: that is the point of the block, so that nothing lies beside what was measured.

mod one_line;

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use super::antimeridian::{self, Globe};
use super::extent::Extent;
use super::said::{self, find, text};
use super::{Ending, FormatWriter, WriteError};
use crate::geodesy::crs::CrsKind;
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Batch, Layer, Position};
use crate::output::contract::Setup;
use crate::output::style::label_of;
use one_line::{CODE_PAGE, OneLine};

/// Colour numbers of the drawing layers, in turn: black on white and white on black, blue, green, violet, ochre, pink. All can be seen on
/// either ground, at a contrast of 3 and more.
const COLOURS: [u8; 6] = [7, 150, 92, 200, 42, 230];
/// Lines of sight are grey, and stay behind the rest.
const GREY: u8 = 8;
/// A polyline that is closed.
const CLOSED: u8 = 1;
/// A polyline whose corners have heights of their own, and such a corner.
const IN_SPACE: u8 = 8;
const CORNER_IN_SPACE: u8 = 32;
/// A vertex that follows: on entities with vertices.
const VERTICES_FOLLOW: u8 = 1;

/// An attribute that is not shown, and a block that has attributes.
const HIDDEN: u8 = 1;
const HAS_ATTRIBUTES: u8 = 2;

/// Height of names in metres: 2.5 mm on a plot of 1 : 500. Common practice, no source.
const TEXT_M: f64 = 1.25;
/// Metres in a degree of latitude, for drawings in degrees.
const METRES_A_DEGREE: f64 = 111_320.0;
/// Most signs of a name in release 12.
const LONGEST_NAME: usize = 31;
/// How points are shown: a circle with a cross in it.
const POINT_MARK: u8 = 34;
/// From one line of attributes to the next, in heights of a text. Common practice, no source.
const LINE: f64 = 1.6;
/// Vertical alignment of an attribute: its bottom stands at the alignment point.
const BOTTOM: u8 = 1;

/// The drawing of a run. Its entities are written to a file of their own while the run goes on, since what stands before them depends on what
/// the layers come to hold.
pub struct Drawing {
    path: PathBuf,
    part: PathBuf,
    writer: BufWriter<File>,
    has_z: bool,
    globe: Option<Globe>,
    decimals: usize,
    /// Height of names in the unit of the coordinates.
    text_height: f64,
    /// How many texts do not say all, and the first: its tag and its layer.
    cut: u64,
    first_cut: Option<(&'static str, String)>,
}

impl Drawing {
    /// Creates the file of the entities.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn create(folder: &Path, setup: &Setup) -> Result<Drawing, WriteError> {
        let path = folder.join(format!("{}.dxf", setup.job.name));
        let part = folder.join(format!("{}.dxf.part", setup.job.name));
        let file = File::create(&part).map_err(WriteError::file(&part, "creating"))?;
        Ok(Drawing {
            path,
            part,
            writer: BufWriter::new(file),
            has_z: setup.has_z,
            globe: Globe::from_crs(setup.crs),
            decimals: if setup.crs.kind() == CrsKind::Projected { 4 } else { 9 },
            text_height: match setup.crs.kind() {
                CrsKind::Projected => TEXT_M / setup.crs.unit_factor(),
                CrsKind::Geographic => TEXT_M / METRES_A_DEGREE,
            },
            cut: 0,
            first_cut: None,
        })
    }

    /// What stands before the entities: how points are shown, what is drawn in all, the drawing layers and the blocks.
    fn head(&self, out: &mut impl Write, layers: &[Layer], extents: &[Extent]) -> io::Result<()> {
        write!(out, "0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1009\n9\n$DWGCODEPAGE\n3\n{CODE_PAGE}\n")?;
        let join = |a: [f64; 4], b: [f64; 4]| [a[0].min(b[0]), a[1].min(b[1]), a[2].max(b[2]), a[3].max(b[3])];
        if let Some([west, south, east, north]) = extents.iter().filter_map(|extent| extent.bounds).reduce(join) {
            let digits = self.decimals;
            for (name, x, y) in [("$EXTMIN", west, south), ("$EXTMAX", east, north)] {
                write!(out, "9\n{name}\n10\n{x:.digits$}\n20\n{y:.digits$}\n30\n0.0\n")?;
            }
        }
        let height = self.text_height;
        write!(out, "9\n$PDMODE\n70\n{POINT_MARK}\n9\n$PDSIZE\n40\n{height}\n0\nENDSEC\n")?;
        let drawn: Vec<(&Layer, bool)> = layers
            .iter()
            .zip(extents)
            .filter(|(layer, _)| layer.geometry != GeometryKind::None)
            .map(|(layer, extent)| (layer, extent.records > 0))
            .collect();
        write!(out, "0\nSECTION\n2\nTABLES\n")?;
        write!(
            out,
            "0\nTABLE\n2\nLTYPE\n70\n1\n0\nLTYPE\n2\nCONTINUOUS\n70\n0\n3\nSolid line\n72\n65\n73\n0\n40\n0.0\n0\nENDTAB\n"
        )?;
        write!(out, "0\nTABLE\n2\nLAYER\n70\n{}\n", drawn.iter().filter(|(_, has_records)| *has_records).count())?;
        let mut colours = COLOURS.iter().cycle();
        for (layer, has_records) in &drawn {
            let is_sight = layer.key == LayerName::SightLines.into();
            // A layer without records is left out and moves no colours.
            let colour = if is_sight { GREY } else { colours.next().copied().unwrap_or(COLOURS[0]) };
            if !has_records {
                continue;
            }
            write!(out, "0\nLAYER\n2\n{}\n70\n0\n62\n{colour}\n6\nCONTINUOUS\n", named(&layer.id))?;
        }
        write!(
            out,
            "0\nENDTAB\n0\nTABLE\n2\nSTYLE\n70\n1\n0\nSTYLE\n2\nSTANDARD\n70\n0\n40\n0.0\n41\n1.0\n50\n0.0\n71\n0\n42\n1.0\n3\ntxt\n4\n\n0\nENDTAB\n0\nENDSEC\n\
             0\nSECTION\n2\nBLOCKS\n"
        )?;
        for (layer, _) in drawn.iter().filter(|(layer, has_records)| *has_records && layer.geometry == GeometryKind::Point) {
            let block = block_of(layer);
            // What is on layer 0 in a block comes to lie on the layer of its insertion.
            write!(out, "0\nBLOCK\n8\n0\n2\n{block}\n70\n{HAS_ATTRIBUTES}\n10\n0.0\n20\n0.0\n30\n0.0\n3\n{block}\n1\n\n")?;
            write!(out, "0\nPOINT\n8\n0\n10\n0.0\n20\n0.0\n30\n0.0\n")?;
            for (line, attribute) in BlockAttribute::list(layer).iter().enumerate() {
                let (tag, flags) = (attribute.tag, attribute.flags());
                let [right, up] = beside(line).map(|heights| heights * height);
                write!(
                    out,
                    "0\nATTDEF\n8\n0\n10\n0.0\n20\n0.0\n30\n0.0\n40\n{height}\n1\n\n3\n{tag}\n2\n{tag}\n70\n{flags}\n\
                     11\n{right}\n21\n{up}\n31\n0.0\n74\n{BOTTOM}\n"
                )?;
            }
            write!(out, "0\nENDBLK\n8\n0\n")?;
        }
        write!(out, "0\nENDSEC\n0\nSECTION\n2\nENTITIES\n")
    }

    /// A point with its attributes, the name beside it.
    fn insert(&mut self, layer: &Layer, batch: &Batch, i: usize, point: &Position) -> io::Result<()> {
        write!(self.writer, "0\nINSERT\n8\n{}\n66\n{VERTICES_FOLLOW}\n2\n{}\n", named(&layer.id), block_of(layer))?;
        self.coordinates(point, 0)?;
        let height = self.text_height;
        for (line, attribute) in BlockAttribute::list(layer).iter().enumerate() {
            let value = match attribute.field {
                Some(field) => text(layer, batch, i, field),
                None => said::name(layer, batch, i),
            };
            let value = OneLine::new(&value.unwrap_or_default());
            if !value.is_whole {
                self.cut += 1;
                self.first_cut.get_or_insert_with(|| (attribute.tag, named(&layer.id)));
            }
            write!(self.writer, "0\nATTRIB\n8\n{}\n", named(&layer.id))?;
            self.coordinates(point, 0)?;
            write!(self.writer, "40\n{height}\n1\n")?;
            self.writer.write_all(&value.bytes)?;
            let (tag, flags) = (attribute.tag, attribute.flags());
            write!(self.writer, "\n2\n{tag}\n70\n{flags}\n")?;
            let [right, up] = beside(line).map(|heights| heights * height);
            self.coordinates(&Position { x: point.x + right, y: point.y + up, ..*point }, 1)?;
            write!(self.writer, "74\n{BOTTOM}\n")?;
        }
        write!(self.writer, "0\nSEQEND\n8\n{}\n", named(&layer.id))
    }

    fn coordinates(&mut self, position: &Position, last_digit: u8) -> io::Result<()> {
        let digits = self.decimals;
        let z = if self.has_z { position.stand_in_z } else { 0.0 };
        let (x, y) = (position.x, position.y);
        write!(self.writer, "1{last_digit}\n{x:.digits$}\n2{last_digit}\n{y:.digits$}\n3{last_digit}\n{z:.4}\n")
    }

    fn entity(&mut self, layer: &Layer, positions: &[Position]) -> io::Result<()> {
        match (layer.geometry, positions) {
            (GeometryKind::None | GeometryKind::Point, _) | (_, []) => Ok(()),
            (GeometryKind::Line, [from, to]) => {
                write!(self.writer, "0\nLINE\n8\n{}\n", named(&layer.id))?;
                self.coordinates(from, 0)?;
                self.coordinates(to, 1)
            }
            (kind, _) => {
                // The last corner of a ring is the first again. Areas are drawn flat, lines in space.
                let (corners, flags, corner_flags) = match kind {
                    GeometryKind::Area => (&positions[..positions.len() - 1], CLOSED, 0),
                    _ => (positions, IN_SPACE, CORNER_IN_SPACE),
                };
                write!(
                    self.writer,
                    "0\nPOLYLINE\n8\n{}\n66\n{VERTICES_FOLLOW}\n10\n0.0\n20\n0.0\n30\n0.0\n70\n{flags}\n",
                    named(&layer.id)
                )?;
                for corner in corners {
                    write!(self.writer, "0\nVERTEX\n8\n{}\n", named(&layer.id))?;
                    let z = if kind == GeometryKind::Area { 0.0 } else { corner.stand_in_z };
                    self.coordinates(&Position { stand_in_z: z, ..*corner }, 0)?;
                    write!(self.writer, "70\n{corner_flags}\n")?;
                }
                write!(self.writer, "0\nSEQEND\n8\n{}\n", named(&layer.id))
            }
        }
    }
}

impl FormatWriter for Drawing {
    fn write(&mut self, _: usize, layer: &Layer, batch: &Batch) -> Result<(), WriteError> {
        for i in 0..batch.len {
            if let (GeometryKind::Point, [point, ..]) = (layer.geometry, batch.positions(i)) {
                self.insert(layer, batch, i, point).map_err(WriteError::file(&self.path, "writing"))?;
                continue;
            }
            // A shape over ±180° is several entities.
            for part in antimeridian::parts(self.globe, layer.geometry, batch.positions(i)).iter() {
                self.entity(layer, part).map_err(WriteError::file(&self.path, "writing"))?;
            }
        }
        Ok(())
    }

    fn losses(&self, _: &[Layer]) -> Vec<String> {
        let Some((tag, layer)) = &self.first_cut else { return Vec::new() };
        let (texts, were) = if self.cut == 1 { ("text", "was") } else { ("texts", "were") };
        vec![format!(
            "DXF: {} {texts}, such as {tag} on the layer {layer}, {were} cut or changed: a text of the format is one line of 250 signs at most, with \
             no signs beyond U+FFFF. The other formats have them whole.",
            self.cut
        )]
    }

    fn finish(mut self: Box<Self>, layers: &[Layer], ending: &Ending) -> Result<(), WriteError> {
        self.writer.flush().map_err(WriteError::file(&self.part, "finishing"))?;
        let written = File::create(&self.path).and_then(|file| {
            let mut out = BufWriter::new(file);
            self.head(&mut out, layers, ending.extents)?;
            io::copy(&mut File::open(&self.part)?, &mut out)?;
            out.write_all(b"0\nENDSEC\n0\nEOF\n")?;
            out.flush()
        });
        written.map_err(WriteError::file(&self.path, "writing"))?;
        fs::remove_file(&self.part).map_err(WriteError::file(&self.part, "removing"))
    }
}

/// An attribute of the block of a layer of points.
struct BlockAttribute {
    tag: &'static str,
    /// The field; none for what the point is called.
    field: Option<usize>,
}

impl BlockAttribute {
    /// Those of a layer, as far as it has the fields.
    fn list(layer: &Layer) -> Vec<BlockAttribute> {
        let name = label_of(layer).map(|_| BlockAttribute { tag: "NAME", field: None });
        let others =
            [("CODE", "code"), ("ELLIPSOID_HEIGHT", "ellipsoid_height_m"), ("ORTHOMETRIC_HEIGHT", "orthometric_height_m")];
        let other = |(tag, field)| Some(BlockAttribute { tag, field: Some(find(layer, field)?) });
        name.into_iter().chain(others.into_iter().filter_map(other)).collect()
    }

    /// The name alone is shown.
    fn flags(&self) -> u8 {
        if self.field.is_none() { 0 } else { HIDDEN }
    }
}

fn block_of(layer: &Layer) -> String {
    named(&format!("POINT_{}", layer.id))
}

/// A name of a drawing layer or a block as release 12 can hold it. A longer one ends in the beginning of its BLAKE3 hash, so that two
/// that begin alike stay apart.
fn named(name: &str) -> String {
    const SUM: usize = 8;
    if name.len() <= LONGEST_NAME {
        return name.to_owned();
    }
    let sum = blake3::hash(name.as_bytes()).to_hex();
    // Identifiers of layers are ASCII.
    let kept: String = name.chars().take(LONGEST_NAME - SUM - 1).collect();
    format!("{kept}_{}", &sum[..SUM])
}

/// Where a line of attributes begins, in heights of a text right of the point and above it: the name is the first line.
fn beside(line: usize) -> [f64; 2] {
    [1.0, 1.0 - LINE * line as f64]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The longest name and one that is longer.
    #[test]
    fn names_of_31_signs() {
        let longest = "a".repeat(LONGEST_NAME);
        assert_eq!(named(&longest), longest);
        let [one, other] = ["one", "two"].map(|end| named(&format!("{longest}_{end}")));
        assert!(one.len() == LONGEST_NAME && one != other && one[..22] == other[..22], "{one} {other}");
    }
}
