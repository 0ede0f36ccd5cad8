//! The rows as types, and the account of each: what is read, where it went, why it was held.
//!
//! Neither reading nor computing lives here.

pub mod base_row;
pub mod echo;
pub mod fix;
pub mod kit;
pub mod ledger;
pub mod names;
pub mod roles;
pub mod shot;
pub mod shown;
pub mod triangle;
pub mod when;
