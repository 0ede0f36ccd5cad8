//! What a log's column, or a value of its settings, is claimed as: [`Claim`]; and the claims of a log, found by quantity without a
//! search, since a row asks for some twenty: [`Claims`].

use crate::intake::columns::{ColumnUnit, Quantity};
use crate::intake::dates;
use crate::numeric::signs::Signs;

/// A claimed quantity.
#[derive(Debug, Clone)]
pub struct Claim {
    /// Canonical name.
    pub name: String,
    /// The log's own header, for messages.
    pub header: String,
    /// Unit.
    pub unit: ColumnUnit,
    /// How its numbers are written.
    pub signs: Signs,
    /// How its dates and times are written.
    pub style: dates::Style,
    pub(in crate::intake) source: ClaimSource,
}

/// Where the values of a claim are.
#[derive(Debug, Clone)]
pub(in crate::intake) enum ClaimSource {
    /// A column.
    Column(usize),
    /// Several columns that make one name together.
    Columns(Vec<usize>),
    Constant(String),
}

impl Claim {
    pub(super) fn new(name: String, header: String, unit: ColumnUnit, source: ClaimSource) -> Claim {
        Claim { name, header, unit, signs: Signs::POINT, style: dates::Style::default(), source }
    }
}

/// One for each quantity.
const QUANTITIES: usize = Quantity::Conditions as usize + 1;

/// At most one claim for a quantity, in the order of the quantities.
#[derive(Debug, Clone)]
pub(in crate::intake) struct Claims([Option<Box<(Quantity, Claim)>>; QUANTITIES]);

impl Default for Claims {
    fn default() -> Claims {
        Claims([const { None }; QUANTITIES])
    }
}

impl Claims {
    /// The claim on a quantity.
    pub fn get(&self, quantity: Quantity) -> Option<&Claim> {
        self.0[quantity as usize].as_deref().map(|(_, claim)| claim)
    }

    /// The claim on a quantity, to change it.
    pub fn get_mut(&mut self, quantity: Quantity) -> Option<&mut Claim> {
        self.0[quantity as usize].as_deref_mut().map(|(_, claim)| claim)
    }

    /// Whether there is a claim on a quantity.
    pub fn has(&self, quantity: Quantity) -> bool {
        self.0[quantity as usize].is_some()
    }

    /// Puts a claim in the place of what was there, which it gives back.
    pub fn put(&mut self, quantity: Quantity, claim: Claim) -> Option<Claim> {
        self.0[quantity as usize].replace(Box::new((quantity, claim))).map(|former| former.1)
    }

    /// All claims, in the order of the quantities.
    pub fn iter(&self) -> impl Iterator<Item = (Quantity, &Claim)> {
        self.0.iter().flatten().map(|known| (known.0, &known.1))
    }
}
