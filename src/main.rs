//! The `halfsplit` program; everything it does is in the library.

/// Many threads that take and give back small pieces: the simulated bench.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> std::process::ExitCode {
    halfsplit::cli::main()
}
