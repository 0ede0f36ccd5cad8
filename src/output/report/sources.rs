//! What the uncertainty of the points mapped comes from: by source its mean share in their variances.

use schemars::JsonSchema;
use serde::Serialize;

use crate::geodesy::register::{ErrorSource, SourceShares};
use crate::output::numbers::fixed;

/// Sources that a sentence names.
const NAMED: usize = 3;

/// What the uncertainty of the points mapped comes from.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
pub struct UncertaintySources {
    /// Of their places: east and north together.
    pub horizontal: SharesOfSources,
    /// Of their heights.
    pub vertical: SharesOfSources,
}

/// Shares of sources in the variances of points.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
pub struct SharesOfSources {
    /// Points that the shares are the means of: those of one shot, of several and of a network, each once; without points that have no height, in
    /// `vertical`.
    pub points: u64,
    /// The sources that have a share, the greatest first; together 1.
    pub shares: Vec<SourceShare>,
}

/// The share of a source.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SourceShare {
    /// The source.
    pub source: ErrorSource,
    /// The mean of its shares in the points' variances, 0 to 1.
    pub share: f64,
}

impl From<&SourceShares> for UncertaintySources {
    fn from(shares: &SourceShares) -> UncertaintySources {
        let of = |(points, shares): (u64, Vec<(ErrorSource, f64)>)| SharesOfSources {
            points,
            shares: shares.into_iter().map(|(source, share)| SourceShare { source, share }).collect(),
        };
        let [horizontal, vertical] = shares.means().map(of);
        UncertaintySources { horizontal, vertical }
    }
}

impl SharesOfSources {
    /// The share of a source; 0 of one that has none.
    pub fn share(&self, source: ErrorSource) -> f64 {
        self.shares.iter().find(|share| share.source == source).map_or(0.0, |share| share.share)
    }

    /// The greatest of them: `positions of the bases 62 %, azimuth readings 21 %, declination 9 %`.
    fn sentence(&self) -> String {
        // What rounds to nothing is not worth a word.
        let named = self.shares.iter().take(NAMED).filter(|share| share.share >= 0.005);
        named.map(|share| format!("{} {}", share.source.words(), percent(share.share))).collect::<Vec<_>>().join(", ")
    }
}

impl UncertaintySources {
    /// The greatest sources in sentences: of places, of heights.
    pub fn lines(&self) -> Vec<String> {
        let of = |(what, shares): (&str, &SharesOfSources)| {
            let sentence = shares.sentence();
            (!sentence.is_empty()).then(|| format!("in {what}: {sentence}"))
        };
        [("place", &self.horizontal), ("height", &self.vertical)].into_iter().filter_map(of).collect()
    }
}

/// A share in hundredths.
pub fn percent(share: f64) -> String {
    format!("{} %", fixed(100.0 * share, 0))
}
