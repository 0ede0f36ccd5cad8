//! DXF, release 12, as text: one drawing with the geometry of all layers, each on a drawing layer of
//! its name. The format has no attributes; the other formats have.
//!
//! Group codes are those of the published DXF reference: 0 entity, 8 layer, 10 20 30 coordinates,
//! 70 flags. GDAL's writer is not used because it wants template files at run time, which a single
//! program file does not have.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use super::antimeridian::{self, Globe};
use super::{Ending, FormatWriter, WriteError};
use crate::geodesy::crs::Kind;
use crate::job::catalogue::GeometryKind;
use crate::output::columns::{Batch, Layer, Position};
use crate::output::contract::Setup;

/// Colour numbers of the drawing layers, in turn: white, cyan, yellow, magenta, green.
const COLOURS: [u8; 5] = [7, 4, 2, 6, 3];
/// A polyline that is closed.
const CLOSED: u8 = 1;
/// A polyline whose corners have heights of their own, and such a corner.
const IN_SPACE: u8 = 8;
const CORNER_IN_SPACE: u8 = 32;
/// A vertex that follows: on entities with vertices.
const VERTICES_FOLLOW: u8 = 1;

/// The drawing of a run.
pub struct Drawing {
    path: PathBuf,
    writer: BufWriter<File>,
    has_z: bool,
    globe: Option<Globe>,
    decimals: usize,
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
            globe: Globe::of(setup.crs),
            decimals: if setup.crs.kind() == Kind::Projected { 4 } else { 9 },
            path,
        };
        drawing.head(layers).map_err(WriteError::file(&drawing.path, "writing"))?;
        Ok(drawing)
    }

    fn head(&mut self, layers: &[Layer]) -> std::io::Result<()> {
        let drawn: Vec<&Layer> = layers.iter().filter(|layer| layer.geometry != GeometryKind::None).collect();
        let out = &mut self.writer;
        write!(out, "0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1009\n0\nENDSEC\n0\nSECTION\n2\nTABLES\n")?;
        write!(out, "0\nTABLE\n2\nLAYER\n70\n{}\n", drawn.len())?;
        for (layer, colour) in drawn.iter().zip(COLOURS.iter().cycle()) {
            write!(out, "0\nLAYER\n2\n{}\n70\n0\n62\n{colour}\n6\nCONTINUOUS\n", layer.id)?;
        }
        write!(out, "0\nENDTAB\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n")
    }

    fn coordinates(&mut self, position: &Position, last_digit: u8) -> std::io::Result<()> {
        let digits = self.decimals;
        let z = if self.has_z { position.stand_in_z } else { 0.0 };
        let (x, y) = (position.x, position.y);
        write!(self.writer, "1{last_digit}\n{x:.digits$}\n2{last_digit}\n{y:.digits$}\n3{last_digit}\n{z:.4}\n")
    }

    fn entity(&mut self, layer: &Layer, positions: &[Position]) -> std::io::Result<()> {
        match (layer.geometry, positions) {
            (GeometryKind::None, _) | (_, []) => Ok(()),
            (GeometryKind::Point, [point, ..]) => {
                write!(self.writer, "0\nPOINT\n8\n{}\n", layer.id)?;
                self.coordinates(point, 0)
            }
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
