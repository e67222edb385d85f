//! The desk's answers without a socket, to whoever shows its cookie.
//!
//! For programs that try many requests in one process (`tests/fuzz`, `tests/it/damaged.rs`).

use super::{Desk, DeskError};
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, header};
use axum::response::Response;
use hyper::service::Service;
use hyper_util::service::TowerToHyperService;

/// The longest answer that is read, bytes: a plucked chord is a few hundred thousand.
const LONGEST_ANSWER: usize = 64 * 1024 * 1024;

/// A desk that is asked by function calls.
pub struct Answering {
    runtime: tokio::runtime::Runtime,
    service: TowerToHyperService<Router>,
    host: String,
    cookie: String,
}

/// An answer: its HTTP status and its body. News that go on are not waited for: their body
/// is empty.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// The status, 200 for one that worked.
    pub status: u16,
    /// The whole body.
    pub body: Vec<u8>,
}

impl Desk {
    /// The same desk, asked by function calls; its port is given back.
    ///
    /// # Errors
    /// * [`DeskError::Key`] if its own link does not open it.
    pub fn answering(self) -> Result<Answering, DeskError> {
        let link = self.link();
        let (host, target) = link
            .strip_prefix("http://")
            .and_then(|l| l.split_once('/'))
            .ok_or(DeskError::Key)?;
        let mut asked = Answering {
            service: TowerToHyperService::new(self.app()),
            runtime: self.runtime,
            host: host.into(),
            cookie: String::new(),
        };
        let response = asked
            .respond("GET", &format!("/{target}"), Vec::new())
            .ok_or(DeskError::Key)?;
        let cookie = response.headers().get(header::SET_COOKIE);
        let pair = cookie.and_then(|c| c.to_str().ok()?.split(';').next());
        asked.cookie = pair.ok_or(DeskError::Key)?.into();
        Ok(asked)
    }
}

impl Answering {
    /// What the desk answers its page; none if this is no request at all (a method or an address
    /// that HTTP does not know).
    pub fn answer(&self, method: &str, target: &str, body: Vec<u8>) -> Option<Answer> {
        let response = self.respond(method, target, body)?;
        let status = response.status().as_u16();
        let kind = response.headers().get(header::CONTENT_TYPE);
        let goes_on = kind.is_some_and(|k| k.as_bytes().starts_with(b"text/event-stream"));
        let body = match goes_on {
            true => Vec::new(),
            false => self
                .runtime
                .block_on(to_bytes(response.into_body(), LONGEST_ANSWER))
                .ok()?
                .to_vec(),
        };
        Some(Answer { status, body })
    }

    fn respond(&self, method: &str, target: &str, body: Vec<u8>) -> Option<Response> {
        let request = Request::builder()
            .method(method)
            .uri(target)
            .header(header::HOST, &self.host)
            .header(header::ORIGIN, format!("http://{}", self.host))
            .header(header::COOKIE, &self.cookie)
            .header(header::CONTENT_TYPE, "application/json")
            .body(Body::from(body))
            .ok()?;
        self.runtime.block_on(self.service.call(request)).ok()
    }
}
