//! The `takebook` program: parse, run, print one error, exit code.

fn main() -> std::process::ExitCode {
    takebook::cli::main()
}
