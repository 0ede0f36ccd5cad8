//! The law of propagation over the register of shared errors: published worked examples of correlated inputs, lengths and areas of strings, draws of
//! every error through whole jobs.

mod edges;
mod gum;
mod oriented;
mod sources;
mod strings;
mod whole_jobs;
