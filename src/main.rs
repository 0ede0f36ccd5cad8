//! The program: a thin face over the library.

fn main() -> std::process::ExitCode {
    standoff::cli::main()
}
