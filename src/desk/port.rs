//! The port that the desk of a song listens on: the same each time, so that a page that is
//! still open finds the desk again after a restart.

use std::net::Ipv4Addr;
use std::path::Path;
use tokio::net::TcpListener;

/// Ports of desks: below those that systems hand out by themselves (49152 up by the IANA,
/// 32768 up on Linux; from memory).
const FIRST: u16 = 24_000;
const N_PORTS: u16 = 8_000;
/// Ports of one song; each is tried if another program has those before it.
const N_TRIED: u16 = 8;
/// From one of them to the next.
const STEP: u16 = 997;

/// The ports of a song, the usual one first.
fn ports_of(log: &Path) -> impl Iterator<Item = u16> {
    let path = log.canonicalize().unwrap_or_else(|_| log.into());
    let name = path.as_os_str().as_encoded_bytes();
    // FNV-1a of 64 bits, by its authors (from memory): the same in every version and on every machine
    let hash = name.iter().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3)
    });
    let first = (hash % u64::from(N_PORTS)) as u16;
    (0..N_TRIED).map(move |i| FIRST + (first + i * STEP) % N_PORTS)
}

/// Listens on a port that was asked for (any free one for 0), or on the song's own.
pub(super) async fn listen(log: &Path, port: Option<u16>) -> std::io::Result<TcpListener> {
    let bind = |port: u16| TcpListener::bind((Ipv4Addr::LOCALHOST, port));
    if let Some(port) = port {
        return bind(port).await;
    }
    for port in ports_of(log) {
        if let Ok(listener) = bind(port).await {
            return Ok(listener);
        }
    }
    bind(0).await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_song_keeps_its_ports_and_another_has_others() {
        let of = |name: &str| ports_of(Path::new(name)).collect::<Vec<_>>();
        let own = of("/no/such/evening.takebook");
        assert_eq!(own, of("/no/such/evening.takebook"));
        assert_ne!(own[0], of("/no/such/morning.takebook")[0]);
        let mut all = own.clone();
        all.dedup();
        assert_eq!(all.len(), usize::from(N_TRIED));
        let range = FIRST..FIRST + N_PORTS;
        assert!(own.iter().all(|port| range.contains(port)), "{own:?}");
    }
}
