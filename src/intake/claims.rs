//! The claims of a log's columns on quantities, found by quantity without a search: a row asks for some twenty.

use super::columns::Quantity;
use super::plan::Claim;

/// One for each quantity.
const QUANTITIES: usize = Quantity::Conditions as usize + 1;

/// At most one claim for a quantity, in the order of the quantities.
#[derive(Debug, Clone)]
pub(super) struct Claims([Option<Box<(Quantity, Claim)>>; QUANTITIES]);

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
