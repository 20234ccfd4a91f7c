//! The thin binary: everything lives in the library.

fn main() -> std::process::ExitCode {
    coldtrap::cli::main()
}
