//! DXF, release 12, as text: one drawing with the geometry of all layers, each on a drawing layer of its name. A point is a block with
//! attributes: its name, which is shown, its code and its height; the other formats have all fields.
//!
//! Group codes are those of the published DXF reference: 0 entity, 1 text, 2 name or tag, 3 prompt, 8 layer, 10 20 30 coordinates, 40 text
//! height, 66 what follows, 70 flags. GDAL's writer is not used because it wants template files at run time, which a single
//! program file does not have.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use super::antimeridian::{self, Globe};
use super::said::{find, text};
use super::{Ending, FormatWriter, WriteError};
use crate::geodesy::crs::Kind;
use crate::job::LayerName;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Batch, Layer, Position};
use crate::output::contract::Setup;
use crate::output::style::label_of;

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
/// Longest text of release 12.
const MOST_SIGNS: usize = 250;

/// The drawing of a run.
pub struct Drawing {
    path: PathBuf,
    writer: BufWriter<File>,
    has_z: bool,
    globe: Option<Globe>,
    decimals: usize,
    /// Height of names in the unit of the coordinates.
    text_height: f64,
}

impl Drawing {
    /// Creates the file with its table of drawing layers.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn create(folder: &Path, layers: &[Layer], setup: &Setup) -> Result<Drawing, WriteError> {
        let path = folder.join(format!("{}.dxf", setup.job.name));
        let file = File::create(&path).map_err(WriteError::file(&path, "creating"))?;
        let mut drawing = Drawing {
            writer: BufWriter::new(file),
            has_z: setup.has_z,
            globe: Globe::from_crs(setup.crs),
            decimals: if setup.crs.kind() == Kind::Projected { 4 } else { 9 },
            text_height: match setup.crs.kind() {
                Kind::Projected => TEXT_M / setup.crs.unit_factor(),
                Kind::Geographic => TEXT_M / METRES_A_DEGREE,
            },
            path,
        };
        drawing.head(layers).map_err(WriteError::file(&drawing.path, "writing"))?;
        Ok(drawing)
    }

    fn head(&mut self, layers: &[Layer]) -> std::io::Result<()> {
        let drawn: Vec<&Layer> = layers.iter().filter(|layer| layer.geometry != GeometryKind::None).collect();
        let out = &mut self.writer;
        write!(out, "0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1009\n0\nENDSEC\n0\nSECTION\n2\nTABLES\n")?;
        write!(
            out,
            "0\nTABLE\n2\nLTYPE\n70\n1\n0\nLTYPE\n2\nCONTINUOUS\n70\n0\n3\nSolid line\n72\n65\n73\n0\n40\n0.0\n0\nENDTAB\n"
        )?;
        write!(out, "0\nTABLE\n2\nLAYER\n70\n{}\n", drawn.len())?;
        let mut colours = COLOURS.iter().cycle();
        for layer in &drawn {
            let is_sight = layer.key == LayerName::SightLines.into();
            let colour = if is_sight { GREY } else { colours.next().copied().unwrap_or(COLOURS[0]) };
            write!(out, "0\nLAYER\n2\n{}\n70\n0\n62\n{colour}\n6\nCONTINUOUS\n", layer.id)?;
        }
        write!(
            out,
            "0\nENDTAB\n0\nTABLE\n2\nSTYLE\n70\n1\n0\nSTYLE\n2\nSTANDARD\n70\n0\n40\n0.0\n41\n1.0\n50\n0.0\n71\n0\n42\n1.0\n3\ntxt\n4\n\n0\nENDTAB\n0\nENDSEC\n\
             0\nSECTION\n2\nBLOCKS\n"
        )?;
        let height = self.text_height;
        for layer in drawn.iter().filter(|layer| layer.geometry == GeometryKind::Point) {
            let block = block_of(layer);
            // What is on layer 0 in a block comes to lie on the layer of its insertion.
            write!(out, "0\nBLOCK\n8\n0\n2\n{block}\n70\n{HAS_ATTRIBUTES}\n10\n0.0\n20\n0.0\n30\n0.0\n3\n{block}\n1\n\n")?;
            write!(out, "0\nPOINT\n8\n0\n10\n0.0\n20\n0.0\n30\n0.0\n")?;
            for attribute in Attribute::list(layer) {
                let (tag, flags) = (attribute.tag, attribute.flags());
                write!(
                    out,
                    "0\nATTDEF\n8\n0\n10\n{height}\n20\n{height}\n30\n0.0\n40\n{height}\n1\n\n3\n{tag}\n2\n{tag}\n70\n{flags}\n"
                )?;
            }
            write!(out, "0\nENDBLK\n8\n0\n")?;
        }
        write!(out, "0\nENDSEC\n0\nSECTION\n2\nENTITIES\n")
    }

    /// A point with its attributes, the name beside it.
    fn insert(&mut self, layer: &Layer, batch: &Batch, i: usize, point: &Position) -> std::io::Result<()> {
        write!(self.writer, "0\nINSERT\n8\n{}\n66\n{VERTICES_FOLLOW}\n2\n{}\n", layer.id, block_of(layer))?;
        self.coordinates(point, 0)?;
        let height = self.text_height;
        let beside = Position { x: point.x + height, y: point.y + height, ..*point };
        for attribute in Attribute::list(layer) {
            let value = text(layer, batch, i, attribute.field).unwrap_or_default();
            write!(self.writer, "0\nATTRIB\n8\n{}\n", layer.id)?;
            self.coordinates(&beside, 0)?;
            let (tag, flags) = (attribute.tag, attribute.flags());
            write!(self.writer, "40\n{height}\n1\n{}\n2\n{tag}\n70\n{flags}\n", plain(&value))?;
        }
        write!(self.writer, "0\nSEQEND\n8\n{}\n", layer.id)
    }

    fn coordinates(&mut self, position: &Position, last_digit: u8) -> std::io::Result<()> {
        let digits = self.decimals;
        let z = if self.has_z { position.stand_in_z } else { 0.0 };
        let (x, y) = (position.x, position.y);
        write!(self.writer, "1{last_digit}\n{x:.digits$}\n2{last_digit}\n{y:.digits$}\n3{last_digit}\n{z:.4}\n")
    }

    fn entity(&mut self, layer: &Layer, positions: &[Position]) -> std::io::Result<()> {
        match (layer.geometry, positions) {
            (GeometryKind::None | GeometryKind::Point, _) | (_, []) => Ok(()),
            (GeometryKind::Line, [from, to]) => {
                write!(self.writer, "0\nLINE\n8\n{}\n", layer.id)?;
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
                    layer.id
                )?;
                for corner in corners {
                    write!(self.writer, "0\nVERTEX\n8\n{}\n", layer.id)?;
                    let z = if kind == GeometryKind::Area { 0.0 } else { corner.stand_in_z };
                    self.coordinates(&Position { stand_in_z: z, ..*corner }, 0)?;
                    write!(self.writer, "70\n{corner_flags}\n")?;
                }
                write!(self.writer, "0\nSEQEND\n8\n{}\n", layer.id)
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

    fn finish(mut self: Box<Self>, _: &[Layer], _: &Ending) -> Result<(), WriteError> {
        let end = self.writer.write_all(b"0\nENDSEC\n0\nEOF\n").and_then(|()| self.writer.flush());
        end.map_err(WriteError::file(&self.path, "finishing"))
    }
}

/// An attribute of the block of a layer of points.
struct Attribute {
    tag: &'static str,
    field: usize,
    is_shown: bool,
}

impl Attribute {
    /// Those of a layer, as far as it has the fields.
    fn list(layer: &Layer) -> Vec<Attribute> {
        let label = label_of(layer).and_then(|label| layer.fields.iter().position(|field| field.name == label.name));
        let known = [
            ("NAME", label),
            ("CODE", find(layer, "code")),
            ("ELLIPSOID_HEIGHT", find(layer, "ellipsoid_height_m")),
            ("ORTHOMETRIC_HEIGHT", find(layer, "orthometric_height_m")),
        ];
        known.into_iter().filter_map(|(tag, field)| Some(Attribute { tag, field: field?, is_shown: tag == "NAME" })).collect()
    }

    fn flags(&self) -> u8 {
        if self.is_shown { 0 } else { HIDDEN }
    }
}

fn block_of(layer: &Layer) -> String {
    format!("POINT_{}", layer.id)
}

/// A text as release 12 can hold it: one line, other signs than those of ASCII by their numbers.
fn plain(text: &str) -> String {
    let mut made = String::new();
    for sign in text.chars() {
        let shown = match sign {
            ' '..='~' => sign.to_string(),
            sign if sign.is_control() => " ".to_owned(),
            sign if u32::from(sign) <= 0xffff => format!("\\U+{:04X}", u32::from(sign)),
            _ => "?".to_owned(),
        };
        if made.len() + shown.len() > MOST_SIGNS {
            break;
        }
        made += &shown;
    }
    made
}
