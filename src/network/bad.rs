//! Why a network or its settings make no sense.

/// A network that cannot be read: an index or a value that makes no sense.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{flaw}")]
pub struct BadNetwork {
    /// The reading at fault, by index, where one is.
    pub observation: Option<usize>,
    /// What is wrong.
    pub flaw: Flaw,
}

/// What is wrong with a network, or with its settings.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Flaw {
    /// A setting that is no probability.
    #[error("The setting {name} is {value}; it must lie between 0 and 1.")]
    Setting {
        /// Its name.
        name: &'static str,
        /// Its value.
        value: f64,
    },
    /// A station's standard error of the orientation.
    #[error("Station {0}: the standard error of the orientation must be 0 or more.")]
    Orientation(String),
    /// A station's rough position.
    #[error("Station {0}: the rough position is not a position.")]
    Start(String),
    /// A station's known position.
    #[error("Station {0}: the known position or its covariance makes no sense.")]
    Control(String),
    /// An instrument's standard errors.
    #[error("Instrument {0}: the standard errors must be 0 or more.")]
    Instrument(String),
    /// The standard error of an error that readings share.
    #[error("The standard error of {0} must be above 0.")]
    Shared(String),
    /// A reading of a station that there is not.
    #[error("Reading {0} names a station that is not in the network.")]
    NoStation(usize),
    /// A reading.
    #[error("The {kind} from {from} to {to} {flaw}")]
    Reading {
        /// Its kind.
        kind: &'static str,
        /// The station that it was read at.
        from: String,
        /// The station that it is to.
        to: String,
        /// What is wrong with it.
        flaw: ReadingFlaw,
    },
}

/// What is wrong with a reading.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ReadingFlaw {
    /// Both its stations are one.
    #[error("begins and ends at one station.")]
    OneStation,
    /// Its instrument there is not.
    #[error("names an instrument that is not in the network.")]
    NoInstrument,
    /// An error that it shares there is not.
    #[error("names a shared error that is not in the network.")]
    NoSharedError,
    /// It is no number.
    #[error("is not a number, or its instrument or target height is not.")]
    NoNumber,
    /// Its standard error.
    #[error("has the standard error {0}; it must be above 0.")]
    Sigma(f64),
    /// A distance of 0 or less.
    #[error("is {0} m; a distance must be above 0.")]
    NoDistance(f64),
    /// An inclination beyond plumb.
    #[error("is {:.3}°; it must lie within 90° of level.", .0.to_degrees())]
    BeyondPlumb(f64),
}
