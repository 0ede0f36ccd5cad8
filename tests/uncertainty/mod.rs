//! The law of propagation over the register of shared errors: published worked examples of correlated inputs, lengths and areas of strings.

mod gum;
mod strings;
