//! Any bytes as a Standard MIDI File.
#![no_main]

mod imports;

use libfuzzer_sys::fuzz_target;
use takebook::foreign::Kind;

fuzz_target!(|data: &[u8]| {
    imports::read_back(Kind::Midi, data);
});
