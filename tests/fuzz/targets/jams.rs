//! Any bytes as JAMS annotations.
#![no_main]

mod imports;

use libfuzzer_sys::fuzz_target;
use takebook::foreign::Kind;

fuzz_target!(|data: &[u8]| {
    imports::read_back(Kind::Jams, data);
});
