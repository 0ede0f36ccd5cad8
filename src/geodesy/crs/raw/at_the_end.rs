//! What runs when the program ends.

use std::ffi::c_int;

/// Has a function run when the program ends by itself. It must not panic.
pub fn at_the_end(run: extern "C" fn()) {
    unsafe extern "C" {
        /// Of the C library: registers a function for the normal end of the process.
        fn atexit(run: extern "C" fn()) -> c_int;
    }
    // SAFETY: the C library keeps the pointer to a function, which lives as long as the program. A
    // refusal (no room) means that the function does not run.
    unsafe { atexit(run) };
}
