//! The observation equations of one component: rows whitened to unit variance, at the current estimate.
//!
//! A reading gives one row; a position gives two or three, whitened by Cholesky's decomposition of its covariance
//! (L⁻¹ (observed − computed), Σ = L Lᵀ); priors of orientations, scales and constants give one each.

use super::components::Component;
use super::layout::{Layout, NONE};
use super::observations::{Model, STEEP_RAD, STEEP_SHARE, predict, steep_azimuth, steep_inclination};
use super::state::State;
use super::types::{Kind, Network, Observation};
use crate::geodesy::frame::{Geodetic, LocalFrame, half_circle_rad};
use crate::numeric::cholesky::decompose;
use crate::shots::reduce::Bend;

/// Standard error that a direction of a known position has at least, in metres: keeps a covariance with a zero
/// direction solvable; a hundredth of a millimetre.
const FLOOR_M: f64 = 1e-5;

/// What an equation comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// A reading, by index.
    Observation(usize),
    /// The position of a station, by index.
    Control(usize),
    /// The prior of a base's orientation, by the station's index.
    Orientation(usize),
    /// The prior of an instrument's scale, by index.
    Scale(usize),
    /// The prior of an instrument's constant, by index.
    Constant(usize),
    /// The prior of an error that readings share, by index.
    Shared(usize),
}

/// The most unknowns that a row names: two places, and a scale and a constant, or an orientation, and two shared errors.
pub(crate) const WIDEST: usize = 10;

/// A whitened row.
#[derive(Debug, Clone, Copy)]
pub(crate) struct EquationRow {
    pub columns: [u32; WIDEST],
    pub partials: [f64; WIDEST],
    pub len: u8,
    /// Observed minus computed, over the standard error.
    pub misclosure: f64,
}

impl EquationRow {
    fn new() -> EquationRow {
        EquationRow { columns: [NONE; WIDEST], partials: [0.0; WIDEST], len: 0, misclosure: 0.0 }
    }

    fn push(&mut self, column: u32, partial: f64) {
        if let (Some(c), Some(p)) = (self.columns.get_mut(self.len as usize), self.partials.get_mut(self.len as usize)) {
            *c = column;
            *p = partial;
            self.len += 1;
        }
    }

    /// Column and partial of each unknown that it names.
    pub fn entries(&self) -> impl Iterator<Item = (usize, f64)> + Clone + '_ {
        self.columns.iter().zip(&self.partials).take(self.len as usize).map(|(c, p)| (*c as usize, *p))
    }
}

/// An observation in the wide sense: its rows and its weight.
#[derive(Debug, Clone, Copy)]
pub(crate) struct WeightedRows {
    pub source: Source,
    pub model: Model,
    pub first: u32,
    pub rows: u8,
    /// Weight factor: 1, less where robust estimation says so, 0 where it is taken out.
    pub weight: f64,
    /// The lower Cholesky factor of its covariance; for one row the standard error first.
    pub lower: [[f64; 3]; 3],
}

/// The equations of one component.
#[derive(Debug, Clone)]
pub(crate) struct Equations<'a> {
    pub network: &'a Network,
    pub layout: &'a Layout,
    pub local: &'a [u32],
    pub items: Vec<WeightedRows>,
    pub rows: Vec<EquationRow>,
}

impl<'a> Equations<'a> {
    /// Lists the equations of a component.
    pub fn list(
        network: &'a Network,
        component: &Component,
        layout: &'a Layout,
        local: &'a [u32],
        state: &State,
    ) -> Equations<'a> {
        let mut items: Vec<WeightedRows> = Vec::new();
        let mut rows = 0u32;
        let mut add = |source, model, count: u8, lower| {
            items.push(WeightedRows { source, model, first: rows, rows: count, weight: 1.0, lower });
            rows += u32::from(count);
        };
        let alone = |sigma: f64| [[sigma, 0.0, 0.0], [0.0; 3], [0.0; 3]];
        let plain = Model::Plain(Kind::Azimuth);
        for (&s, place) in component.stations.iter().zip(&layout.places) {
            let station = &network.stations[s];
            if let (Some(control), true) = (&station.control, place.size > 0) {
                let count = if control.has_height() && place.size == 3 { 3 } else { 2 };
                add(Source::Control(s), plain, count, factor(control, count));
            }
            if place.azimuths != NONE && station.sigma_orientation_rad.is_finite() {
                add(Source::Orientation(s), plain, 1, alone(station.sigma_orientation_rad));
            }
        }
        for (k, (columns, instrument)) in layout.instruments.iter().zip(&network.instruments).enumerate() {
            if columns[0] != NONE && instrument.sigma_scale.is_finite() {
                add(Source::Scale(k), plain, 1, alone(instrument.sigma_scale));
            }
            if columns[1] != NONE && instrument.sigma_constant_m.is_finite() {
                add(Source::Constant(k), plain, 1, alone(instrument.sigma_constant_m));
            }
        }
        for (k, (column, shared)) in layout.shared.iter().zip(&network.shared).enumerate() {
            if *column != NONE {
                add(Source::Shared(k), plain, 1, alone(shared.sigma));
            }
        }
        let steep = SteepSights::find(network, component);
        for &i in &component.observations {
            let o = &network.observations[i];
            let model = steep.model(o, || state.orientation(layout, local, o));
            add(Source::Observation(i), model, 1, alone(o.sigma));
        }
        Equations { network, layout, local, items, rows: vec![EquationRow::new(); rows as usize] }
    }

    /// Computes all rows at a state. The index of the first reading that cannot be computed is returned with an error.
    pub fn linearise(&mut self, state: &State) {
        for k in 0..self.items.len() {
            let item = self.items[k];
            match item.source {
                Source::Observation(i) => {
                    self.rows[item.first as usize] = self.reading(&self.network.observations[i], &item, state);
                }
                Source::Control(s) => self.position(s, &item, state),
                Source::Orientation(s) => {
                    let column = self.layout.places[self.local[s] as usize].azimuths;
                    self.prior(column, &item, state);
                }
                Source::Scale(i) => self.prior(self.layout.instruments[i][0], &item, state),
                Source::Constant(i) => self.prior(self.layout.instruments[i][1], &item, state),
                Source::Shared(k) => self.prior(self.layout.shared[k], &item, state),
            }
        }
    }

    fn prior(&mut self, column: u32, item: &WeightedRows, state: &State) {
        let sigma = item.lower[0][0];
        let mut row = EquationRow::new();
        row.push(column, 1.0 / sigma);
        row.misclosure = -state.others[column as usize] / sigma;
        self.rows[item.first as usize] = row;
    }

    fn position(&mut self, s: usize, item: &WeightedRows, state: &State) {
        let Some(control) = &self.network.stations[s].control else { return };
        let place = self.local[s] as usize;
        let at = Geodetic::from_earth_centred(control.position, &self.network.ellipsoid);
        let frame = LocalFrame::at(&at, &self.network.ellipsoid);
        let off = frame.from_earth_centred(state.positions[place]).map(|x| -x);
        let turn = between(&frame, &state.frames[place]);
        let PositionColumns { first, size } = PositionColumns::find(self.layout, place);
        let count = item.rows as usize;
        for r in 0..count {
            let mut row = EquationRow::new();
            let whiten = |column: &dyn Fn(usize) -> f64| forward(&item.lower, count, column)[r];
            (0..size).for_each(|c| row.push(first + c as u32, whiten(&|k| turn[k][c])));
            row.misclosure = whiten(&|k| off[k]);
            self.rows[item.first as usize + r] = row;
        }
    }

    fn reading(&self, o: &Observation, item: &WeightedRows, state: &State) -> EquationRow {
        let (from, to) = (self.local[o.from] as usize, self.local[o.to] as usize);
        let mut row = EquationRow::new();
        let weight = 1.0 / o.sigma;
        if o.kind == Kind::HeightDifference {
            let rise = state.heights_m[to] - state.heights_m[from] + o.target_height_m - o.instrument_height_m;
            for (place, sign) in [(from, -weight), (to, weight)] {
                let p = &self.layout.places[place];
                // The height answers to up alone.
                if p.size == 3 {
                    row.push(p.first + 2, sign);
                }
            }
            for column in o.shared.iter().flatten().map(|k| self.layout.shared[*k]) {
                row.push(column, -weight);
            }
            row.misclosure = (o.value + state.shared(self.layout, o) - rise) * weight;
            return row;
        }
        let frame = &state.frames[from];
        let mut sight = frame.from_earth_centred(state.positions[to]);
        sight[2] += o.target_height_m - o.instrument_height_m;
        let bend = Bend::from_refraction(self.network.refraction, state.radii_m[from]);
        let turned = o.value + state.orientation(self.layout, self.local, o);
        let computed = match item.model {
            Model::Plain(kind) => predict(kind, sight, bend),
            Model::SteepAzimuth { horizontal_m } => Some(steep_azimuth(turned, sight, horizontal_m)),
            Model::SteepInclination { azimuth_rad } => steep_inclination(azimuth_rad, sight, bend),
        };
        // A sight without length has no say in the place.
        let Some(computed) = computed else { return row };
        let range = o.instrument.filter(|_| o.kind.is_range()).map(|k| self.layout.instruments[k]);
        let (scale, constant) = range.map_or((0.0, 0.0), |columns| (state.other(columns[0]), state.other(columns[1])));
        let by = computed.by.map(|p| p * weight * (1.0 + scale));
        let PositionColumns { first, size } = PositionColumns::find(self.layout, from);
        for (c, p) in by.iter().enumerate().take(size) {
            row.push(first + c as u32, -p);
        }
        let target = PositionColumns::find(self.layout, to);
        let turn = between(frame, &state.frames[to]);
        (0..target.size).for_each(|c| row.push(target.first + c as u32, (0..3).map(|r| by[r] * turn[r][c]).sum()));
        let place = &self.layout.places[from];
        let misclosure = match item.model {
            Model::SteepAzimuth { .. } => computed.value,
            _ if o.kind.is_bearing() => half_circle_rad(turned - computed.value),
            Model::SteepInclination { .. } | Model::Plain(_) => {
                o.value + state.shared(self.layout, o) - (1.0 + scale) * computed.value - constant
            }
        };
        if let Some(column) = match o.kind {
            Kind::Azimuth => Some(place.azimuths),
            Kind::Direction => Some(place.directions),
            _ => None,
        } && column != NONE
        {
            // Reading + orientation = azimuth: the computed reading falls as the orientation grows.
            row.push(column, -weight);
        }
        for column in o.shared.iter().flatten().map(|k| self.layout.shared[*k]) {
            row.push(column, -weight);
        }
        if let Some([scale_column, constant_column]) = range {
            if scale_column != NONE {
                row.push(scale_column, computed.value * weight);
            }
            if constant_column != NONE {
                row.push(constant_column, weight);
            }
        }
        row.misclosure = misclosure * weight;
        row
    }

    /// Σ w v².
    pub fn objective(&self) -> f64 {
        self.items
            .iter()
            .map(|item| {
                let rows = &self.rows[item.first as usize..item.first as usize + item.rows as usize];
                item.weight * rows.iter().map(|r| r.misclosure * r.misclosure).sum::<f64>()
            })
            .sum()
    }
}

struct PositionColumns {
    first: u32,
    size: usize,
}

impl PositionColumns {
    fn find(layout: &Layout, place: usize) -> PositionColumns {
        let p = &layout.places[place];
        PositionColumns { first: p.first, size: p.size as usize }
    }
}

/// The rotation from one frame's axes to another's: rows of `to`, columns of `own`.
pub(crate) fn between(to: &LocalFrame, own: &LocalFrame) -> [[f64; 3]; 3] {
    let (to, own) = (to.axes(), own.axes());
    std::array::from_fn(|r| std::array::from_fn(|c| (0..3).map(|k| to[r][k] * own[c][k]).sum()))
}

/// L⁻¹ b for a small lower factor.
pub(crate) fn forward(lower: &[[f64; 3]; 3], count: usize, b: &dyn Fn(usize) -> f64) -> [f64; 3] {
    let mut x = [0.0; 3];
    for i in 0..count.min(3) {
        let done: f64 = (0..i).map(|k| lower[i][k] * x[k]).sum();
        x[i] = (b(i) - done) / lower[i][i];
    }
    x
}

/// The lower Cholesky factor of a position's covariance, with a floor.
fn factor(control: &super::types::Control, count: u8) -> [[f64; 3]; 3] {
    let c = &control.covariance;
    let full = [[c.ee, c.en, c.eu], [c.en, c.nn, c.nu], [c.eu, c.nu, c.uu]];
    let mut lower = [[0.0; 3]; 3];
    let root = |left: f64| Some(left.max(FLOOR_M * FLOOR_M).sqrt());
    decompose(lower.as_flattened_mut(), 3, count.into(), |i, j| full[i][j], root);
    lower
}

/// Steep shots: azimuth and inclination of one shot above the limit.
struct SteepSights {
    /// (from, to, source) → inclination, azimuth, slope or horizontal distance.
    shots: std::collections::HashMap<(usize, usize, usize), [Option<f64>; 4]>,
}

impl SteepSights {
    fn find(network: &Network, component: &Component) -> SteepSights {
        let mut shots = std::collections::HashMap::new();
        let readings = || component.observations.iter().map(|&i| &network.observations[i]);
        for o in readings().filter(|o| o.kind == Kind::Inclination && o.value.abs() > STEEP_RAD) {
            shots.insert((o.from, o.to, o.source), [Some(o.value), None, None, None]);
        }
        if !shots.is_empty() {
            for o in readings() {
                let slot = match o.kind {
                    Kind::Azimuth | Kind::Direction => 1,
                    Kind::Slope => 2,
                    Kind::Horizontal => 3,
                    _ => continue,
                };
                if let Some(shot) = shots.get_mut(&(o.from, o.to, o.source)) {
                    shot[slot] = Some(o.value);
                }
            }
        }
        SteepSights { shots }
    }

    fn model(&self, o: &Observation, orientation: impl Fn() -> f64) -> Model {
        let plain = Model::Plain(o.kind);
        let Some([Some(inclination), Some(azimuth), slope, horizontal]) = self.shots.get(&(o.from, o.to, o.source)) else {
            return plain;
        };
        let cos = inclination.cos().max(STEEP_SHARE);
        let Some(horizontal_m) = horizontal.or(slope.map(|s| s * cos)) else { return plain };
        match o.kind {
            Kind::Azimuth | Kind::Direction => Model::SteepAzimuth { horizontal_m },
            Kind::Inclination => Model::SteepInclination { azimuth_rad: azimuth + orientation() },
            _ => plain,
        }
    }
}

#[cfg(test)]
pub(crate) mod tests;
