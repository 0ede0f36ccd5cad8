//! A program that is told to end, by Ctrl-C or by the system, leaves nothing half-made behind.

/// From now on SIGINT and SIGTERM remove what is not finished before they end the program.
#[cfg(unix)]
pub fn clean_up_before_the_end() {
    use signal_hook::consts::{SIGINT, SIGTERM};
    use signal_hook::iterator::Signals;
    use signal_hook::low_level::emulate_default_handler;

    // Where it cannot be had, the next run cleans up.
    let Ok(mut signals) = Signals::new([SIGINT, SIGTERM]) else { return };
    std::thread::spawn(move || {
        let Some(signal) = signals.forever().next() else { return };
        let _nothing_begins = crate::output::write::abandon();
        crate::geodesy::crs::remove_copies();
        // As if nothing had been listening, so that the caller sees which signal it was.
        let _ = emulate_default_handler(signal);
        std::process::exit(128 + signal);
    });
}

/// Elsewhere the next run cleans up.
#[cfg(not(unix))]
pub fn clean_up_before_the_end() {}
