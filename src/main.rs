//! The `takebook` program: parse, run, print one error, exit code.

fn main() -> std::process::ExitCode {
    give_memory_back();
    takebook::cli::main()
}

/// Lets large blocks go back to the system when they are freed.
///
/// By itself glibc serves blocks as large as the largest that was freed (up to 32 MiB) from the
/// heap, where one small block above them keeps them all (mallopt(3), `M_MMAP_THRESHOLD`): a take
/// of an hour then holds a third more memory. Setting one limit ends its adjusting of both.
#[cfg(all(target_os = "linux", target_env = "gnu"))]
fn give_memory_back() {
    /// Bytes; smaller blocks would be mapped and cleared too often.
    const LARGE: libc::c_int = 4 << 20;
    #[expect(unsafe_code, reason = "there is no safe way to set it")]
    // SAFETY: only sets two numbers of the allocator, before there is another thread. One that
    // is not taken leaves things as they were.
    unsafe {
        libc::mallopt(libc::M_MMAP_THRESHOLD, LARGE);
        libc::mallopt(libc::M_TRIM_THRESHOLD, 2 * LARGE);
    }
}

#[cfg(not(all(target_os = "linux", target_env = "gnu")))]
fn give_memory_back() {}
