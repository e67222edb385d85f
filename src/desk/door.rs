//! The door: lets in what the gate lets pass, and gives every answer its headers.

use super::error::{ApiError, ApiResult};
use super::gate::{Gate, Verdict};
use super::{DeskError, headers, visitors};
use axum::body::to_bytes;
use axum::extract::{Request, State};
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

/// The longest body that is read, bytes: a decision is a few hundred.
pub(super) const LONGEST_BODY: usize = 64 * 1024;

/// Where a folder's page sends a file, the only body that may be longer.
const ADD_FILE: &str = "/api/add";

/// Called with the next link whenever one was used up.
pub(super) type OnLink = Box<dyn Fn(&str) + Send + Sync>;

/// What every request comes through.
pub(super) struct Door {
    gate: Gate,
    on_link: OnLink,
}

impl Door {
    pub(super) fn new(port: u16, on_link: OnLink) -> Result<Self, DeskError> {
        Ok(Self {
            gate: Gate::new(port)?,
            on_link,
        })
    }

    /// The link that opens the page, good once.
    pub(super) fn link(&self) -> String {
        self.gate.link()
    }
}

/// Lets in what may come in, and gives every answer its headers.
pub(super) async fn guard(State(door): State<Arc<Door>>, request: Request, next: Next) -> Response {
    // the songs of a folder have their own below /song/NAME
    let is_api = request.uri().path().contains("/api/");
    let is_chart = request.uri().path().ends_with("/api/chart");
    let judged = door
        .gate
        .judge(request.method(), request.uri(), request.headers());
    let mut response = match judged {
        Verdict::Pass => {
            let_in(&request);
            match acceptable(&request) {
                Ok(()) => in_words(next.run(request).await, is_api).await,
                Err(error) => error.into_response(),
            }
        }
        Verdict::Welcome {
            cookie,
            next_link,
            from_elsewhere: true,
        } => {
            (door.on_link)(&next_link);
            // a strict cookie does not come along on a redirection that began
            // elsewhere: the page itself goes on
            let about = [
                (header::SET_COOKIE, cookie),
                (header::CONTENT_TYPE, "text/html; charset=utf-8".to_owned()),
            ];
            (about, GO_ON).into_response()
        }
        Verdict::Welcome {
            cookie, next_link, ..
        } => {
            (door.on_link)(&next_link);
            let to_page = [
                (header::LOCATION, "/".to_owned()),
                (header::SET_COOKIE, cookie),
            ];
            (StatusCode::SEE_OTHER, to_page).into_response()
        }
        Verdict::ToPage => (StatusCode::SEE_OTHER, [(header::LOCATION, "/")]).into_response(),
        Verdict::Malformed(why) => refused(StatusCode::BAD_REQUEST, why, is_api),
        Verdict::Refused(why) => refused(StatusCode::FORBIDDEN, why, is_api),
    };
    headers::secure(response.headers_mut(), is_chart);
    response
}

/// A page that leads on to the desk.
const GO_ON: &str = "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><meta http-equiv=\"refresh\" content=\"0;url=/\"><title>takebook</title><p><a href=\"/\">Open the desk</a></p></html>\n";

/// Whoever shows the cookie keeps the connection.
fn let_in(request: &Request) {
    if let Some(visitor) = request.extensions().get::<Arc<visitors::Visitor>>() {
        visitor.is_let_in();
    }
}

/// What the router refuses by itself is an error in words as any other: a method that an
/// address does not take (the router adds which it does take), a query that cannot be read.
async fn in_words(response: Response, is_api: bool) -> Response {
    let status = response.status();
    if status == StatusCode::METHOD_NOT_ALLOWED {
        let text = "the desk does not take this method at this address";
        return ApiError::new(status, text).into_response();
    }
    let kind = response.headers().get(header::CONTENT_TYPE);
    let is_plain = kind.is_some_and(|k| k.as_bytes().starts_with(b"text/plain"));
    if !(is_api && is_plain && status == StatusCode::BAD_REQUEST) {
        return response;
    }
    match to_bytes(response.into_body(), LONGEST_BODY).await {
        Ok(text) => ApiError::bad(String::from_utf8_lossy(&text)).into_response(),
        Err(_) => ApiError::bad("the request makes no sense").into_response(),
    }
}

fn refused(status: StatusCode, why: &'static str, is_api: bool) -> Response {
    let mut response = if is_api {
        ApiError::new(status, why).into_response()
    } else {
        (status, format!("{why}\n")).into_response()
    };
    // whatever body was on its way is not read
    response
        .headers_mut()
        .insert(header::CONNECTION, HeaderValue::from_static("close"));
    response
}

/// Refuses, before anything of it is read, a body that is too long or of another kind.
fn acceptable(request: &Request) -> ApiResult<()> {
    if request.method() != Method::POST {
        return Ok(());
    }
    let headers = request.headers();
    let length = headers
        .get(header::CONTENT_LENGTH)
        .and_then(|v| v.to_str().ok())
        .and_then(|v| v.parse::<u64>().ok());
    let is_file = request.uri().path() == ADD_FILE;
    if !is_file && length.is_some_and(|n| n > LONGEST_BODY as u64) {
        return Err(too_long());
    }
    let kind = headers
        .get(header::CONTENT_TYPE)
        .and_then(|v| v.to_str().ok())
        .unwrap_or("");
    let kind = kind.split(';').next().unwrap_or("").trim();
    // neither kind can be sent by a form of another page
    let expected = if is_file {
        "application/octet-stream"
    } else {
        "application/json"
    };
    if !kind.eq_ignore_ascii_case(expected) {
        return Err(ApiError::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            format!("a request that changes something must be {expected}"),
        ));
    }
    Ok(())
}

pub(super) fn too_long() -> ApiError {
    ApiError::new(
        StatusCode::PAYLOAD_TOO_LARGE,
        format!("a request may have {LONGEST_BODY} bytes at most"),
    )
}
