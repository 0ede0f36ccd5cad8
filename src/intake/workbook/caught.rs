//! The reader of workbooks asserts what a damaged file need not hold: there its panic is caught, and is a refusal of the file.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

thread_local! {
    static IS_CAUGHT: Cell<bool> = const { Cell::new(false) };
}

/// Nothing is printed of a panic that is caught; of all others what was printed before.
fn install_hook() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let former = panic::take_hook();
        panic::set_hook(Box::new(move |about| {
            if !IS_CAUGHT.get() {
                former(about);
            }
        }));
    });
}

/// Does `work`; none where it panicked.
pub(super) fn caught<T>(work: impl FnOnce() -> T) -> Option<T> {
    install_hook();
    let was_caught = IS_CAUGHT.replace(true);
    // What `work` left half done is dropped with it.
    let done = panic::catch_unwind(AssertUnwindSafe(work));
    IS_CAUGHT.set(was_caught);
    done.ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_is_none_and_all_else_is_given() {
        assert_eq!(caught(|| 3), Some(3));
        assert_eq!(caught(|| -> u8 { panic!("a damaged part") }), None);
        assert_eq!(caught(|| caught(|| -> u8 { panic!("within") })), Some(None));
        assert!(!IS_CAUGHT.get());
    }
}
