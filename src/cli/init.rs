//! stub
use super::{Failure, Outcome};
/// x
#[derive(Debug, clap::Args)]
pub struct Args {}
/// x
pub fn run(_: &Args) -> Result<Outcome, Failure> { Ok(Outcome::Done) }
