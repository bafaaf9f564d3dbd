//! The `halfsplit` program; everything it does is in the library.

fn main() -> std::process::ExitCode {
    halfsplit::cli::main()
}
