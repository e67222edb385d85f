//! Who may come in: only the page that this desk served, opened by its own link.
//!
//! * **Host** must be this desk's address (another name that leads here, DNS
//!   rebinding, is refused).
//! * **Key**: the link's key is good once and buys a session cookie.
//! * **Cookie**: `HttpOnly`, `SameSite=Strict`, named after the port, since
//!   cookies of one machine are shared by all its ports.
//! * **Origin** of whatever changes something must be this desk's own, and a
//!   browser that says the request comes from another site is refused.
//!
//! Keys and cookies are compared in constant time.

use super::DeskError;
use axum::http::{HeaderMap, Method, Uri, header};
use std::sync::{Mutex, PoisonError};

/// Random bytes of a key or session.
const N_BYTES: usize = 32;

/// Keeps the keys.
#[derive(Debug)]
pub(super) struct Gate {
    port: u16,
    session: String,
    key: Mutex<String>,
}

/// What a request is to be answered with.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Verdict {
    /// It may pass.
    Pass,
    /// The key was good: set this cookie and send to the page.
    Welcome {
        /// Value of `Set-Cookie`.
        cookie: String,
        /// Link with the next key.
        next_link: String,
        /// Another page or a file led here.
        from_elsewhere: bool,
    },
    /// It has the cookie, and a key it no longer needs: send to the page.
    ToPage,
    /// It is malformed (400).
    Malformed(&'static str),
    /// It may not (403).
    Refused(&'static str),
}

impl Gate {
    pub(super) fn new(port: u16) -> Result<Self, DeskError> {
        Ok(Self {
            port,
            session: random()?,
            key: Mutex::new(random()?),
        })
    }

    /// The link that opens the page once.
    pub(super) fn link(&self) -> String {
        let key = self.key.lock().unwrap_or_else(PoisonError::into_inner);
        format!("http://127.0.0.1:{}/?key={}", self.port, *key)
    }

    /// Judges a request by its head.
    pub(super) fn judge(&self, method: &Method, uri: &Uri, headers: &HeaderMap) -> Verdict {
        let mut hosts = headers.get_all(header::HOST).iter();
        let (Some(host), None) = (hosts.next(), hosts.next()) else {
            return Verdict::Malformed("a request must name one host");
        };
        let Some(host) = self.own_host(host.as_bytes()) else {
            return Verdict::Refused("this desk answers only at its own address on this machine");
        };
        if uri.authority().is_some_and(|a| a.as_str() != host) {
            return Verdict::Refused("this desk answers only at its own address on this machine");
        }
        let own = format!("http://{host}");
        let safe = matches!(*method, Method::GET | Method::HEAD);
        for origin in headers.get_all(header::ORIGIN) {
            if origin.as_bytes() != own.as_bytes() {
                return Verdict::Refused("another page may not reach this desk");
            }
        }
        if !safe && !headers.contains_key(header::ORIGIN) {
            return Verdict::Refused("a request that changes something must come from the page");
        }
        let at_page = uri.path() == "/";
        let foreign = headers
            .get("sec-fetch-site")
            .is_some_and(|site| !matches!(site.as_bytes(), b"same-origin" | b"none"));
        if foreign && !(at_page && safe) {
            return Verdict::Refused("another page may not reach this desk");
        }
        let known = self.has_session(headers);
        match key_in(uri).filter(|_| at_page && *method == Method::GET) {
            Some(key) => match self.take_key(key) {
                Some(()) => Verdict::Welcome {
                    cookie: format!(
                        "{}={}; HttpOnly; SameSite=Strict; Path=/",
                        self.cookie_name(),
                        self.session
                    ),
                    next_link: self.link(),
                    from_elsewhere: foreign,
                },
                None if known => Verdict::ToPage,
                None => Verdict::Refused(
                    "this link was used already or is not this desk's: take the newest one from the terminal",
                ),
            },
            None if known => Verdict::Pass,
            None => {
                Verdict::Refused("this desk opens only by the link in the terminal that started it")
            }
        }
    }

    fn own_host(&self, host: &[u8]) -> Option<String> {
        ["127.0.0.1", "localhost"]
            .into_iter()
            .map(|name| format!("{name}:{}", self.port))
            .find(|own| own.as_bytes() == host)
    }

    fn cookie_name(&self) -> String {
        format!("desk-{}", self.port)
    }

    fn has_session(&self, headers: &HeaderMap) -> bool {
        let name = self.cookie_name();
        headers
            .get_all(header::COOKIE)
            .iter()
            .filter_map(|v| v.to_str().ok())
            .flat_map(|v| v.split(';'))
            .filter_map(|pair| pair.trim().split_once('='))
            .filter(|(n, _)| *n == name)
            .any(|(_, value)| same(value.as_bytes(), self.session.as_bytes()))
    }

    /// Spends the key if it is this one; the next one takes its place.
    fn take_key(&self, key: &str) -> Option<()> {
        let mut now = self.key.lock().unwrap_or_else(PoisonError::into_inner);
        if !same(key.as_bytes(), now.as_bytes()) {
            return None;
        }
        *now = random().ok()?;
        Some(())
    }
}

/// The `key` of a query.
fn key_in(uri: &Uri) -> Option<&str> {
    uri.query()?
        .split('&')
        .find_map(|pair| pair.strip_prefix("key="))
}

/// Whether two secrets are the same, in a time that tells nothing of where they differ.
fn same(a: &[u8], b: &[u8]) -> bool {
    if a.len() != b.len() {
        return false;
    }
    let differing = a
        .iter()
        .zip(b)
        .fold(0u8, |bits, (x, y)| std::hint::black_box(bits | (x ^ y)));
    std::hint::black_box(differing) == 0
}

fn random() -> Result<String, DeskError> {
    let mut bytes = [0u8; N_BYTES];
    getrandom::fill(&mut bytes).map_err(|_| DeskError::Key)?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}
