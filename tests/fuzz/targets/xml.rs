//! Any bytes as a score in MusicXML, packed or plain.
#![no_main]

mod imports;

use libfuzzer_sys::fuzz_target;
use takebook::foreign::Kind;

fuzz_target!(|data: &[u8]| {
    imports::read_back(Kind::MusicXml, data);
});
