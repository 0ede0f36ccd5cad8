//! Error ellipses as areas: for the eye and for small jobs. Points have the axes in their fields, by which styles draw the same ellipses; as
//! areas they take more room and time than all other layers together, so a large job has them where it asks for them.

use std::borrow::Cow;

use crate::job::{ELLIPSES_UP_TO_BYTES, Job, LayerName};

/// The job without ellipses as areas where its shot logs are large and it names no layers.
pub fn limited(job: &Job) -> Cow<'_, Job> {
    if !is_beyond(job) {
        return Cow::Borrowed(job);
    }
    let mut own = job.clone();
    own.layers.retain(|layer| *layer != LayerName::Ellipses);
    Cow::Owned(own)
}

fn is_beyond(job: &Job) -> bool {
    let bytes = |(path, _): &(std::path::PathBuf, String)| std::fs::metadata(path).map_or(0, |known| known.len());
    job.layers == LayerName::ALL && job.shots.resolved.iter().map(bytes).sum::<u64>() > ELLIPSES_UP_TO_BYTES
}

/// What the person is to know of it: `asked` is the job as it was given.
pub fn note(asked: &Job) -> Option<String> {
    is_beyond(asked).then(|| {
        format!(
            "The layer ellipses is left out, since the shot logs are larger than {} MB; the features have the axes in their fields, and their style \
             draws them. To have it as areas, name it among the layers: layers = [\"features\", \"ellipses\"] and what else is wanted.",
            ELLIPSES_UP_TO_BYTES / 1_000_000
        )
    })
}
